"""A journal after years: how quick the reports are, how large it is, that a night notices nothing.

Fifty million observations are made by SQL, as a daemon would have written them, in nights of forty
thousand visits at 700 channels, without sums, as a journal is after an upgrade; they are summed up
as the daemon does it. `VFOD_BENCH_ROWS` makes another number of them. Nothing is kept in memory but
what the system keeps by itself.
"""

import asyncio
import os
import resource
import shutil
import sqlite3
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from tests.bench import lateness
from tests.bench.figures import Bench, Figure, Promise, milliseconds, p99, ratio_of_pairs
from tests.bench.processes import MissingError, environment
from tests.store.samples import observed, stamped
from vfod.clock import SystemClock
from vfod.outputs.journal import REST, Journal
from vfod.run.stream import Stream
from vfod.store import Keeping, Threaded, Writer
from vfod.store.upkeep import CHANNEL_BITS

ROWS = int(os.environ.get("VFOD_BENCH_ROWS", "50000000"))
SIZE = Promise(
    what="size of an observation",
    unit="bytes",
    most=24.0,
    means="on the disk, indices and sums included: years on a memory card",
)
UPGRADE = Promise(
    what="a year of nights summed up after an upgrade",
    unit="s",
    most=73.0,
    means="by a running daemon, 200,000 visits a second; time of the processor and the rests",
)
NIGHT, PAGE, YEAR, CHANNELS = (
    Promise(
        what=what,
        unit="s",
        most=3.0,
        means="of the processor, the command as a whole, on years of observations",
    )
    for what in (
        "last night's report",
        "last night's page",
        "a year's report",
        "a year's channels",
    )
)
PIECE = Promise(
    what="a piece of the upkeep, p99",
    unit="ms",
    most=100.0,
    means="how long a person's change may wait behind the journal's own work",
)
BESIDE = Promise(
    what="lateness of visits p99, in that journal, to a new one",
    most=2.0,
    means="a night notices neither the years before it nor the upkeep, beside reports without end",
)

#: How often a report is made, of which the best counts.
_REPORTS = 3
#: How often the upkeep is done of which a p99 is taken; the best of them counts.
_ROUNDS = 3
#: How often lateness is measured in the old journal and in a new one, in turns.
_TURNS = 7

_CHANNELS, _A_NIGHT = 700, 40_000
_NIGHTS = max(1, ROWS // _A_NIGHT)
#: The last night ended at noon UTC, at least an hour ago.
_END = (time.time() - 13 * 3600 - 60) // 86400 * 86400 + 12 * 3600
_DAY = 86_400_000
#: Milliseconds from a visit to the next: ten hours from 18:00 on.
_PACE, _FROM = 900, 6 * 3_600_000

_MANY = """
INSERT INTO observations
WITH RECURSIVE visit(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM visit WHERE n < ?2 - 1)
SELECT ?1 + n * ?3 + abs(random()) % 200, 1 + n % ?4,
    ((-1000 + abs(random()) % 240 - 120 + (abs(random()) % 10 = 0) * 300) << 35)
    | ((3196 + abs(random()) % 300) << 22) | ((2946 + abs(random()) % 80) << 9)
    | (8 << 2) | (abs(random()) % 10 = 0),
    abs(random()) % 6
FROM visit"""


def measure(folder: Path) -> list[Figure]:
    path = folder / "years.sqlite"
    room = shutil.disk_usage(folder).free
    if room < 60 * ROWS:
        raise MissingError(f"{60 * ROWS / 1e9:.0f} GB in {folder} (VFOD_BENCH_ROWS=1000000)")
    _make(path)
    upgrade = asyncio.run(_upgrade(path))
    size = path.stat().st_size
    since = _date(_END - 365 * 86400)
    told = [
        (NIGHT, ["night", "last"]),
        (PAGE, ["night", "last", "--html", str(folder / "night.html")]),
        (YEAR, ["nights", "--since", since]),
        (CHANNELS, ["journal", "channels", "--since", since]),
    ]
    return [
        SIZE.measured(
            size / (_NIGHTS * _A_NIGHT),
            f"{_NIGHTS * _A_NIGHT / 1e6:g} million, {size / 1e6:.0f} MB with the sums of"
            f" {_NIGHTS} nights",
        ),
        upgrade,
        *(_report(promise, path, words) for promise, words in told),
        _pieces(path),
        asyncio.run(_beside(folder, path)),
    ]


def _date(when: float) -> str:
    return f"{datetime.fromtimestamp(when, UTC):%Y-%m-%d}"


def _make(path: Path) -> None:
    """The journal, without sums."""
    writer = Writer(path)
    writer.open(0.0)
    end = round(_END * 1000)
    for channel in range(_CHANNELS):
        seen = observed(5_900_000 + channel * 5000, band=f"{channel // 100}m", lateness=0.0)
        writer.add(stamped(channel + 1, seen, time=_END - _NIGHTS * 86400 + channel))
    writer.close()
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA synchronous = OFF")
        db.execute("DELETE FROM observations")
        for night in range(_NIGHTS):
            begin = end - (_NIGHTS - night) * _DAY
            db.execute(_MANY, (begin + _FROM, _A_NIGHT, _PACE, _CHANNELS))
            if night % 100 == 0 and sys.stderr.isatty():
                print(f"\r{night / _NIGHTS:4.0%} of a journal", end="", file=sys.stderr)
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")


async def _upgrade(path: Path) -> Figure:
    """The journal of a daemon that has just started, until all nights but the last are summed up:
    that one waits until an hour has shown that the clock can be believed.
    """
    clock = SystemClock()
    store = Threaded(path)
    store.open(clock.wall())
    stream = Stream(clock, ["main"])
    journal = Journal(store, lambda event: None, clock)
    writing = asyncio.create_task(journal.run(stream.subscribe("journal")))
    begun, used = clock.monotonic(), time.process_time()
    done = 0
    while done < _NIGHTS - 1:
        await clock.sleep_until(clock.monotonic() + 0.25)
        with closing(sqlite3.connect(path)) as db:
            (done,) = db.execute("SELECT count(*) FROM nights WHERE summed = until").fetchone()
    wall, used = clock.monotonic() - begun, time.process_time() - used
    stream.close()
    await writing
    while await store.tend(clock.wall(), Keeping()):
        pass
    await store.close()
    return UPGRADE.measured(
        365 * used * (1 + REST) / done,
        f"{done} nights in {wall:.0f} s by the wall,"
        f" {done * _A_NIGHT / wall / 1000:.0f} thousand visits a second",
    )


def _report(promise: Promise, path: Path, words: list[str]) -> Figure:
    """Seconds of the processor that the command takes, children and system included."""
    rounds = []
    for _ in range(_REPORTS):
        before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "vfod", *words, "--journal", str(path)],
            check=True,
            stdout=subprocess.DEVNULL,
            env=environment() | {"TZ": "UTC"},
        )
        wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
        used = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
        rounds.append((used, wall))
    used, wall = min(rounds)
    return promise.measured(
        used, f"vfod {' '.join(words[:2])}, {wall:.2f} s by the wall, best of {_REPORTS}"
    )


def _pieces(path: Path) -> Figure:
    """Rounds in which the last nights are summed up anew and the next of the oldest given up."""
    rounds = []
    for number in range(1, _ROUNDS + 1):
        with closing(sqlite3.connect(path)) as db, db:
            db.execute("UPDATE nights SET summed = begin WHERE id > ?", (_NIGHTS - 10,))
            first = (_NIGHTS - 9) << CHANNEL_BITS
            db.execute("DELETE FROM channel_nights WHERE id >= ?", (first,))
            db.execute("DELETE FROM band_hours WHERE night > ?", (_NIGHTS - 10,))
        writer = Writer(path)
        writer.open(_END)
        keeping = Keeping(keep=(_NIGHTS - 3 * number) * 86400.0)
        took: list[float] = []
        more = True
        while more:
            begun = time.perf_counter()
            more = writer.tend(_END + 3600, keeping)
            took.append(time.perf_counter() - begun)
        writer.close()
        rounds.append((p99(took), statistics.median(took), len(took)))
    worst, middle, count = min(rounds)
    return PIECE.measured(
        worst * 1e3, f"{count} pieces, median {middle * 1e3:.1f} ms, best of {_ROUNDS} rounds"
    )


async def _beside(folder: Path, path: Path) -> Figure:
    """Lateness of a daemon that writes this journal and tends it, while reports read it.

    Beside as much other work of the machine, the same daemon on a journal of its own: the reports
    need a core wherever the daemon writes.
    """
    # So that there is something to give up until the end.
    keeping = Keeping(keep=_NIGHTS // 2 * 86400.0)
    other = folder / "lateness.sqlite"
    ours: list[float] = []
    bare: list[float] = []
    with _at_work(path):
        # In turns, so that a burst of other work on the machine spoils one of them only.
        for _ in range(_TURNS):
            ours += [p99(v) for v, _ in await lateness.lateness(path, folder, keeping, times=1)]
            bare += [p99(v) for v, _ in await lateness.lateness(other, folder, times=1)]
    return BESIDE.measured(
        ratio_of_pairs(ours, bare),
        f"{milliseconds(statistics.median(ours), statistics.median(bare))}, beside reports",
    )


@contextmanager
def _at_work(path: Path) -> Iterator[None]:
    """A shell that makes reports of the journal without end."""
    since = _date(_END - 365 * 86400)
    vfod = f"{sys.executable} -m vfod"
    script = (
        f"while :; do {vfod} night last --journal {path}; "
        f"{vfod} nights --since {since} --journal {path}; done >/dev/null"
    )
    with subprocess.Popen(
        ["sh", "-c", script], env=environment() | {"TZ": "UTC"}, start_new_session=True
    ) as shell:
        try:
            yield
        finally:
            os.killpg(shell.pid, 15)


BENCH = Bench(
    name="years",
    promises=(SIZE, UPGRADE, NIGHT, PAGE, YEAR, CHANNELS, PIECE, BESIDE),
    measure=measure,
    takes="10 min",
    again=False,
)
