"""A journal looked through: is the file sound, do its tables fit together, can it be so?

Everything is told in sentences; what SQLite says of a damaged file is told in its own words.
"""

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from vfod.store.backup import Done
from vfod.store.file import is_damage
from vfod.store.reader import connect
from vfod.store.rows import key_of
from vfod.store.schema import migrations, version_of
from vfod.store.upkeep import CHANNEL_BITS

#: What SQLite tells of one damaged file at most; the first line says enough.
_MOST = 10
#: 2020-01-01: before this program there was nothing.
_FIRST = 1_577_836_800.0
#: A clock may be this much ahead without anything being wrong, seconds.
_AHEAD = 86400.0

_MEANING = {
    "observations": "observations are of a channel that is not there",
    "events": "events are of a run of the daemon that is not there",
    "band_hours": "hours are of a night that is not there",
}

#: What cannot be: a sentence with its count, and the question for it. Values: the newest key that
#: there may be, and the oldest.
_QUESTIONS = (
    (
        "observations are from the future, and yet their clock was believed",
        "SELECT count(*) FROM observation WHERE key > ?1 AND NOT doubted",
    ),
    (
        "observations are from before 2020, and yet their clock was believed",
        "SELECT count(*) FROM observation WHERE key < ?2 AND NOT doubted",
    ),
    (
        "events are from the future or from before 2020, and yet their clock was believed",
        "SELECT count(*) FROM events WHERE NOT doubted AND (time > ?1 / 1000.0"
        " OR time < ?2 / 1000.0)",
    ),
    (
        "observations have values that this program does not write",
        "SELECT count(*) FROM observations WHERE measured & 3 = 3 OR measured >> 48 NOT IN (0, -1)",
    ),
    (
        "channels are on no frequency",
        "SELECT count(*) FROM channels WHERE dial NOT BETWEEN 0 AND 3000000000",
    ),
    ("events cannot be read", "SELECT count(*) FROM events WHERE NOT json_valid(data)"),
    ("runs ended before they began", "SELECT count(*) FROM runs WHERE stopped < started"),
    (
        "nights have observations that are not in their sums",
        "SELECT count(*) FROM nights WHERE kept AND summed = until AND ("  # noqa: S608 - a number
        " SELECT count(*) FROM observations JOIN channels ON channels.id = channel"
        "  WHERE key >= begin AND key < until AND NOT doubted) > ("
        " SELECT coalesce(sum(visits), 0) FROM channel_nights"
        f"  WHERE channel_nights.id >= nights.id << {CHANNEL_BITS}"
        f"  AND channel_nights.id < (nights.id + 1) << {CHANNEL_BITS})",
    ),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """Something that is not as it should be; `damage` where the file itself is broken."""

    says: str
    damage: bool


def check(path: Path, now: float, progress: Done) -> list[Finding]:
    """All that is found; StoreError where it is no journal at all. Reads only."""
    with contextlib.closing(connect(path, older=True)) as db:
        return list(_check(db, path, now, progress))


def _check(db: sqlite3.Connection, path: Path, now: float, progress: Done) -> Iterator[Finding]:
    progress(0.0)
    sound = True
    for says in _damage(db, path):
        sound = False
        yield Finding(says=f"the file is damaged: {says}", damage=True)
    progress(0.5)
    yield from _misfits(db)
    if version_of(db, path) < len(migrations()):
        yield Finding(
            says="it is of an older version; the daemon brings it up to date", damage=False
        )
        return
    values = (key_of(now + _AHEAD), key_of(_FIRST))
    for number, (says, question) in enumerate(_QUESTIONS):
        progress(0.6 + 0.4 * number / len(_QUESTIONS))
        try:
            # Not every question has both values.
            bound = values[: 2 if "?2" in question else 1 if "?1" in question else 0]
            (count,) = db.execute(question, bound).fetchone()
        except sqlite3.Error as error:
            if sound or not is_damage(error):
                raise
            continue
        if count:
            yield Finding(says=f"{count} {says}", damage=False)
    progress(1.0)


def _damage(db: sqlite3.Connection, path: Path) -> Iterator[str]:
    try:
        (pages,), (size,) = (
            db.execute(f"PRAGMA {name}").fetchone() for name in ("page_count", "page_size")
        )
        told = [row[0] for row in db.execute(f"PRAGMA integrity_check({_MOST})")]
    except sqlite3.Error as error:
        yield str(error)
        return
    if told != ["ok"]:
        yield from told
    log = Path(f"{path}-wal")
    if path.stat().st_size < pages * size and not (log.exists() and log.stat().st_size):
        yield "its end is missing"


def _misfits(db: sqlite3.Connection) -> Iterator[Finding]:
    counts: dict[str, int] = {}
    with contextlib.suppress(sqlite3.Error):  # of a damaged file that was told already
        for table, *_ in db.execute("PRAGMA foreign_key_check"):
            counts[table] = counts.get(table, 0) + 1
    for table, count in counts.items():
        says = _MEANING.get(table, f"rows of {table} belong to nothing")
        yield Finding(says=f"{count} {says}", damage=True)
