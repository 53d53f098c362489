"""A daemon that is killed loses nothing that it has acknowledged."""

import random
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING
from vfod.store import Keeping, Reader, Writer

ROOT = Path(__file__).parents[2]

#: Random moments in `make test`; `make bench` has 200 of the whole daemon (tests/bench/killing.py).
MOMENTS = 20

#: Writes and tends without end, a night of 26 batches after the other, and says after each commit
#: how far it has come.
UNDER_LOAD = """
import sys
from pathlib import Path
from tests.store.samples import EVENING, observed, stamped, started, tuned
from vfod.store import Keeping, Writer

writer = Writer(Path(sys.argv[1]))
writer.open(EVENING)
writer.add(stamped(1, started(), time=EVENING))
number, visits = 1, 0
while True:
    for _ in range(20):
        number, visits = number + 1, visits + 1
        seen = observed(5_000_000 + number % 700 * 5000)
        writer.add(stamped(number, seen, time=EVENING + number * 160))
    number += 1
    writer.add(stamped(number, tuned(9_420_000), time=EVENING + number * 160))
    writer.commit()
    print(writer.last_commit, visits, flush=True)
    writer.tend(EVENING + number * 160, Keeping(keep=6 * 86400.0))
"""


@pytest.mark.parametrize("seed", range(MOMENTS))
@pytest.mark.no_leaks
def test_kill_9_loses_nothing_acknowledged(seed: int, tmp_path: Path) -> None:
    """Killed at a random moment under load, upkeep and all: the file is sound, and has every
    change that was acknowledged and is not too old; the sums agree with what they are of.
    """
    chance = random.Random(seed)
    # From the first commit to well beyond the first copying of the log into the file (at 1000
    # pages, which is some 150 commits), then a moment of what comes next.
    commits, moment = int(400 ** chance.random()), chance.uniform(0.0, 0.01)
    path = tmp_path / "journal.sqlite3"
    words = [sys.executable, "-c", UNDER_LOAD, str(path)]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        said = [process.stdout.readline() for _ in range(commits)]
        killing = threading.Timer(moment, process.kill)
        killing.start()
        # Whatever it said before it died counts; a line without an end was not said.
        said += [line for line in process.stdout if line.endswith(b"\n")]
        killing.join()
    acknowledged, visits = map(int, said[-1].split())
    assert -signal.SIGKILL == process.returncode

    with Reader(path) as reader:
        seen = [entry.sequence for entry in reader.events()]
        summed = sum(one.visits for one in reader.channels())
    with closing(sqlite3.connect(path)) as db:
        (given_up,) = db.execute(
            "SELECT coalesce(max(until), 0) / 1000.0 FROM nights WHERE kept = 0 OR id ="
            " (SELECT min(id) FROM nights WHERE kept AND summed = until)"
        ).fetchone()
    changes = range(22, acknowledged + 1, 21)
    young = [n for n in changes if EVENING + n * 160 >= given_up]
    assert young == [n for n in seen if 1 < n <= acknowledged and EVENING + n * 160 >= given_up]
    assert 1 == seen[0]
    # All visits are told, by the sums where the observations were given up; and at most one batch
    # that was committed and not acknowledged any more.
    assert visits <= summed <= visits + 20

    writer = Writer(path)
    writer.open(EVENING)
    while writer.tend(EVENING + acknowledged * 160 + 86400, Keeping()):
        pass
    writer.close()
    assert [path, path.with_name("journal.sqlite3.lock")] == sorted(tmp_path.iterdir())
    with Reader(path) as reader:
        assert summed == sum(one.visits for one in reader.channels())
    with closing(sqlite3.connect(path)) as db:
        assert [("ok",)] == db.execute("PRAGMA integrity_check").fetchall()
        assert [] == db.execute("PRAGMA foreign_key_check").fetchall()
