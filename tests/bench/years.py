"""A journal after years: how quick the reports are, how large it is, that a night notices nothing.

Fifty million observations are made by SQL, as a daemon would have written them, in nights of forty
thousand visits at 700 channels, and summed up by the daemon's own upkeep; `VFOD_BENCH_ROWS` makes
another number of them. Nothing is kept in memory but what the system keeps by itself.
"""

import asyncio
import os
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
from tests.bench.figures import Figure, milliseconds, p99, ratio_of_pairs
from tests.bench.processes import MissingError, environment
from tests.store.samples import observed, stamped
from vfod.store import Keeping, Writer
from vfod.store.upkeep import CHANNEL_BITS, Upkeep

ROWS = int(os.environ.get("VFOD_BENCH_ROWS", "50000000"))
#: Issue figures.
_MOST_SECONDS, _MOST_BYTES = 3.0, 24.0
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
    size = path.stat().st_size
    since = _date(_END - 365 * 86400)
    told = [
        ("last night's report", ["night", "last"]),
        ("last night's page", ["night", "last", "--html", str(folder / "night.html")]),
        ("a year's report", ["nights", "--since", since]),
        (
            "a year's channels",
            ["journal", "channels", "--since", since],
        ),
    ]
    figures = [
        Figure(
            what=f"size of an observation of {_NIGHTS * _A_NIGHT / 1e6:g} million",
            value=size / (_NIGHTS * _A_NIGHT),
            unit="bytes",
            most=_MOST_BYTES,
            note=f"{size / 1e6:.0f} MB with the sums of {_NIGHTS} nights",
        )
    ]
    figures += [
        Figure(
            what=what,
            value=min(_seconds(path, words) for _ in range(2)),
            unit="s",
            most=_MOST_SECONDS,
            note="vfod " + " ".join(words[:2]) + ", the command as a whole",
        )
        for what, words in told
    ]
    figures.append(_pieces(path))
    figures.append(asyncio.run(_beside(folder, path)))
    return figures


def _date(when: float) -> str:
    return f"{datetime.fromtimestamp(when, UTC):%Y-%m-%d}"


def _make(path: Path) -> None:
    """The journal, its newest night included in the sums."""
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
        upkeep = Upkeep(db)
        for night in range(_NIGHTS):
            begin = end - (_NIGHTS - night) * _DAY
            db.execute(_MANY, (begin + _FROM, _A_NIGHT, _PACE, _CHANNELS))
            while upkeep.piece((begin + _DAY) / 1000 + 3600, Keeping()):
                pass
            if night % 100 == 0 and sys.stderr.isatty():
                print(f"\r{night / _NIGHTS:4.0%} of a journal", end="", file=sys.stderr)
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _seconds(path: Path, words: list[str]) -> float:
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "vfod", *words, "--journal", str(path)],
        check=True,
        stdout=subprocess.DEVNULL,
        env=environment() | {"TZ": "UTC"},
    )
    return time.perf_counter() - begun


def _pieces(path: Path) -> Figure:
    """How long a person's change may wait for a piece of the upkeep, of whatever kind."""
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("UPDATE nights SET summed = begin WHERE id > ?", (_NIGHTS - 10,))
        first = (_NIGHTS - 9) << CHANNEL_BITS
        db.execute("DELETE FROM channel_nights WHERE id >= ?", (first,))
        db.execute("DELETE FROM band_hours WHERE night > ?", (_NIGHTS - 10,))
    writer = Writer(path)
    writer.open(_END)
    writer.commit()
    took: list[float] = []
    limit = (_NIGHTS - 20) * 86400.0
    try:
        for _ in range(1000):
            begun = time.perf_counter()
            if not writer.tend(_END + 3600, Keeping(keep=limit)):
                break
            took.append(time.perf_counter() - begun)
    finally:
        writer.close()
    return Figure(
        what="a piece of the upkeep, p99",
        value=p99(took) * 1e3,
        unit="ms",
        most=100.0,
        note=f"{len(took)} pieces, median {statistics.median(took) * 1e3:.1f} ms",
    )


async def _beside(folder: Path, path: Path) -> Figure:
    """Lateness of a daemon that writes this journal and tends it, while reports read it.

    Beside as much other work of the machine, the same daemon on a journal of its own: the reports
    need a core wherever the daemon writes.
    """
    keeping = Keeping(keep=(_NIGHTS - 40) * 86400.0)
    other = folder / "lateness.sqlite"
    ours: list[float] = []
    bare: list[float] = []
    with _at_work(path):
        # In turns, so that a burst of other work on the machine spoils one of them only.
        for _ in range(_TURNS):
            ours += [p99(v) for v, _ in await lateness.lateness(path, folder, keeping, times=1)]
            bare += [p99(v) for v, _ in await lateness.lateness(other, folder, times=1)]
    return Figure(
        what="lateness of visits p99, in that journal, to a new one",
        value=ratio_of_pairs(ours, bare),
        most=2.0,
        note=f"{milliseconds(statistics.median(ours), statistics.median(bare))}, beside reports",
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
