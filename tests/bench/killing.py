"""The daemon killed (signal 9) at random moments while it sweeps, over and over on one journal.

In every other run notes are taken all the time, each of which is acknowledged after its commit; in
the others only observations are written, of which a crash may cost two seconds.
"""

import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

from tests.bench.figures import Bench, Figure, Promise
from tests.bench.processes import Daemon, Processes, configuration, environment
from vfod.store import Reader

#: How often; `make test` has 20 of the writer alone (tests/store/test_kill.py).
MOMENTS = 200
#: Longest life of a daemon from its first visit on, seconds: beyond several commits.
_LIFE = 1.5
#: Visits a second (tests/bench/processes.py).
_RATE = 10.0
_PATIENCE = 20.0


LOST = Promise(
    what=f"acknowledged changes lost to {MOMENTS} kills",
    most=0,
    means="what was answered is on the disk",
)
UNSOUND = Promise(
    what="journals that were not sound then",
    most=0,
    means="SQLite's own check, after each kill",
)
VISITS = Promise(
    what="observations lost to a kill, at most",
    unit="s",
    most=2.0,
    means="they are written in batches, to spare a memory card",
)


def measure(folder: Path) -> list[Figure]:
    chance = random.Random(9)
    journal = folder / "journal.sqlite"
    lost_notes = unsound = notes = 0
    lost_visits: list[int] = []
    with Processes(folder) as processes:
        config = configuration(folder, port=processes.simulator())
        before = 0
        for moment in range(MOMENTS):
            with_notes = moment % 2 == 0
            said, visits = _live_and_die(folder, config, journal, chance, with_notes, moment)
            with Reader(journal) as reader:
                kept = sum(1 for _ in reader.observations())
                texts = {entry.data["text"] for entry in reader.events(kinds=("note-taken",))}
            notes += len(said)
            lost_notes += len(set(said) - texts)
            if not with_notes:
                lost_visits.append(visits - (kept - before))
            before = kept
            with closing(sqlite3.connect(journal)) as db:
                found = db.execute("PRAGMA integrity_check").fetchall()
                unsound += found != [("ok",)] or bool(
                    db.execute("PRAGMA foreign_key_check").fetchall()
                )
    return [
        LOST.measured(lost_notes, f"of {notes} notes"),
        UNSOUND.measured(unsound),
        VISITS.measured(
            max(lost_visits) / _RATE,
            f"{max(lost_visits)} visits of {_RATE:g} a second, over {len(lost_visits)} kills",
        ),
    ]


def _live_and_die(
    folder: Path, config: Path, journal: Path, chance: random.Random, with_notes: bool, moment: int
) -> tuple[list[str], int]:
    """The notes that were acknowledged, and the visits that the daemon said it had made."""
    control = folder / "control.sock"
    words = ("serve", "--config", str(config), "--socket", str(control), "--journal", str(journal))
    with (folder / "killed.log").open("ab") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "vfod", *words],
            stdin=subprocess.DEVNULL, stdout=log, stderr=log, env=environment(),
        )  # fmt: skip
    daemon = Daemon(process.pid, control)
    limit = time.monotonic() + _PATIENCE
    while not daemon.is_ready("control", "journal"):
        if process.poll() is not None or time.monotonic() > limit:
            raise RuntimeError((folder / "killed.log").read_text()[-2000:])
        time.sleep(0.02)
    daemon.ask("sweep-start", sweep="fast")
    killing = threading.Timer(chance.uniform(0.0, _LIFE), process.kill)
    killing.start()
    said: list[str] = []
    visits = 0
    try:
        while True:
            if with_notes:
                text = f"{moment} {len(said)}"
                daemon.ask("note", text=text)
                said.append(text)
            else:
                visits = daemon.ask("status")["vfos"]["main"]["sweep"]["visits"]
                time.sleep(0.01)
    except (OSError, ValueError):
        pass  # it is dead, or died while it answered
    killing.join()
    if process.wait() != -signal.SIGKILL:
        raise RuntimeError((folder / "killed.log").read_text()[-2000:])
    return said, visits


BENCH = Bench(
    name="killing", promises=(LOST, UNSOUND, VISITS), measure=measure, takes="10 min", again=False
)
