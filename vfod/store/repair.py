"""What can be read of a damaged journal, read into a fresh one; the damaged one is set aside.

A table is a tree by the number of its rows. Where a page of it is damaged, SQLite stops; reading
goes on behind that page, which the pages above it tell (sqlite.org/fileformat2.html, section 1.6).
Nothing is guessed: a row is read as it was written, or it is lost.
"""

import bisect
import contextlib
import mmap
import os
import shutil
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from vfod.errors import StoreError
from vfod.store.backup import Done
from vfod.store.file import lock, open_for_writing, set_aside
from vfod.store.upkeep import CHANNEL_BITS

#: Tables in an order in which what is named comes first, each with the number of its rows.
TABLES = {
    "runs": "id",
    "channels": "id",
    "nights": "id",
    "events": "id",
    "observations": "key",
    "channel_nights": "id",
    "band_hours": "night",
}
#: Rows written at once.
_ROWS = 5000
#: Bytes at the beginning of the file that say what it is (sqlite.org/fileformat2.html, 1.3), and
#: where in them the number of pages and the list of free pages stand.
_HEAD, _PAGES, _FREE = 100, slice(28, 32), slice(32, 40)
_PAGE = 4096
#: The type of a page above others in the tree of a table, and where its parts are.
_ABOVE = 5

_LOWEST, _HIGHEST = -(2**63), 2**63 - 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """What came of one table: rows that were read, and stretches of numbers that could not be."""

    name: str
    read: int
    gaps: tuple[tuple[int, int], ...]
    #: Rows that were read and could not be kept, because what they belong to is lost.
    orphans: int = 0


@dataclass(frozen=True, kw_only=True, slots=True)
class Repaired:
    """What came of it; the damaged file is now `kept_as`."""

    tables: tuple[Table, ...]
    kept_as: str

    @property
    def whole(self) -> bool:
        """Nothing was lost."""
        return not any(table.gaps or table.orphans for table in self.tables)


def repair(path: Path, now: float, progress: Done) -> Repaired:
    """Put a sound journal in the place of a damaged one.

    Raises AlreadyRunningError while a daemon writes it, StoreError where there is none or nothing
    can be read; it is left as it is then.
    """
    if not path.is_file():
        raise StoreError(f"there is no journal {path}", remedy="name the file")
    held = lock(path)
    fresh = path.with_name(f".{path.name}.repaired")
    patched = path.with_name(f".{path.name}.patched")
    try:
        _remove(fresh, patched)
        db, _ = open_for_writing(fresh, now)
        with contextlib.closing(db), contextlib.closing(_open(path, patched, fresh)) as damaged:
            tables = tuple(_copy_all(damaged, db, progress))
            if not any(table.read for table in tables):
                raise _hopeless(path)
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        _give_owner(path, fresh)
        with fresh.open("rb") as file:
            os.fsync(file.fileno())
        kept = set_aside(path, now, sqlite3.DatabaseError("repaired"))
        fresh.replace(path)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(
            f"{path} cannot be repaired: {error}",
            remedy="look whether there is room for a second journal beside it",
        ) from error
    finally:
        with contextlib.suppress(OSError):
            _remove(fresh, patched)
        os.close(held)
    return Repaired(tables=tables, kept_as=kept.kept_as)


def _remove(*paths: Path) -> None:
    for path in paths:
        for companion in ("", "-wal", "-shm"):
            Path(f"{path}{companion}").unlink(missing_ok=True)


def _give_owner(path: Path, fresh: Path) -> None:
    """Whoever repairs it, the daemon's own user must be able to write it afterwards."""
    was = path.stat()
    shutil.copymode(path, fresh)
    with contextlib.suppress(PermissionError):
        os.chown(fresh, was.st_uid, was.st_gid)


def _hopeless(path: Path) -> StoreError:
    return StoreError(
        f"nothing can be read of {path}",
        remedy="take a backup if there is one; the file was left as it is",
    )


def _open(path: Path, patched: Path, fresh: Path) -> sqlite3.Connection:
    """The damaged file, for reading; where its head is damaged, a copy with a sound one."""
    for attempt in (path, patched):
        if attempt == patched:
            _give_head(path, patched, fresh)
        # Nobody writes; where there is a log it is read, and else nothing is put beside the file.
        how = "mode=ro" if Path(f"{attempt}-wal").exists() else "immutable=1"
        db = sqlite3.connect(f"{attempt.absolute().as_uri()}?{how}", uri=True)
        try:
            if db.execute("SELECT name FROM sqlite_schema WHERE name = 'channels'").fetchone():
                return db
        except sqlite3.Error:
            pass
        db.close()
    raise _hopeless(path)


def _give_head(path: Path, patched: Path, fresh: Path) -> None:
    size = path.stat().st_size
    if size < 2 * _PAGE:
        raise _hopeless(path)
    shutil.copyfile(path, patched)
    head = bytearray(fresh.read_bytes()[:_HEAD])
    head[_PAGES] = (size // _PAGE).to_bytes(4, "big")
    head[_FREE] = bytes(8)
    with patched.open("r+b") as file:
        file.write(head)


def _copy_all(damaged: sqlite3.Connection, db: sqlite3.Connection, done: Done) -> Iterator[Table]:
    db.execute("PRAGMA synchronous = OFF")  # the file is synced before it takes its place
    found: dict[str, Table] = {}
    for number, (name, key) in enumerate(TABLES.items()):
        done(number / len(TABLES))
        found[name] = _copy(damaged, db, name, key)
    db.execute("BEGIN")
    # Which program wrote when is lost then, but not what it wrote.
    db.execute(
        "INSERT OR IGNORE INTO runs SELECT run, min(time), NULL, '', '' FROM events GROUP BY run"
    )
    orphans = {
        name: db.execute(
            f"DELETE FROM {name} WHERE {what} NOT IN (SELECT id FROM {other})"  # noqa: S608 - names from below
        ).rowcount
        for name, what, other in (
            ("observations", "channel", "channels"),
            ("channel_nights", f"id >> {CHANNEL_BITS}", "nights"),
            ("band_hours", "night", "nights"),
        )
    }
    if any(found[name].gaps or orphans.get(name) for name in ("channel_nights", "band_hours")):
        # Nights whose observations are there are summed up anew; of others the sums are all.
        kept = "SELECT id FROM nights WHERE kept"
        db.execute(f"DELETE FROM channel_nights WHERE id >> {CHANNEL_BITS} IN ({kept})")  # noqa: S608 - from above
        db.execute(f"DELETE FROM band_hours WHERE night IN ({kept})")  # noqa: S608 - from above
        db.execute("UPDATE nights SET summed = begin WHERE kept")
    db.execute("COMMIT")
    done(1.0)
    for name, table in found.items():
        lost = orphans.get(name, 0)
        yield Table(name=name, read=table.read - lost, gaps=table.gaps, orphans=lost)


def _copy(damaged: sqlite3.Connection, db: sqlite3.Connection, name: str, key: str) -> Table:
    wanted = [row[1] for row in db.execute(f"PRAGMA table_info({name})")]
    try:
        there = {row[1] for row in damaged.execute(f"PRAGMA table_info({name})")}
    except sqlite3.Error:
        there = set()
    if not there:
        return Table(name=name, read=0, gaps=())
    # An older journal has no marks of a doubted clock; nothing of it was doubted.
    columns = ", ".join(column if column in there else "0" for column in wanted)
    insert = (
        f"INSERT OR IGNORE INTO {name} ({', '.join(wanted)})"  # noqa: S608 - names of our own tables
        f" VALUES ({', '.join('?' * len(wanted))})"
    )
    (root,) = damaged.execute(
        "SELECT rootpage FROM sqlite_schema WHERE name = ?", (name,)
    ).fetchone()
    select = f"SELECT {columns} FROM {name}"  # noqa: S608 - names of our own tables
    (_, _, file) = damaged.execute("PRAGMA database_list").fetchone()
    reading = _Reading(select, key, wanted.index(key), _bounds(Path(file), root))
    read = 0
    for rows in _by(_ROWS, reading.rows(damaged)):
        read += _insert(db, insert, rows)
    return Table(name=name, read=read, gaps=tuple(_joined(reading.gaps)))


def _insert(db: sqlite3.Connection, sql: str, rows: list[tuple[object, ...]]) -> int:
    written = 0
    db.execute("BEGIN")
    for row in rows:
        # A row that was read as nonsense does not fit the types of the table.
        with contextlib.suppress(sqlite3.IntegrityError):
            written += db.execute(sql, row).rowcount
    db.execute("COMMIT")
    return written


class _Reading:
    """The reading of one table; `gaps` are the numbers between which nothing could be read.

    `bounds` are the last numbers of its pages, as far as known.
    """

    def __init__(self, select: str, key: str, place: int, bounds: list[int]) -> None:
        self.gaps: list[tuple[int, int]] = []
        self._sql = f"{select} WHERE {key} BETWEEN ? AND ? ORDER BY {key} "
        self._place = place
        self._bounds = bounds

    def rows(self, db: sqlite3.Connection) -> Iterator[tuple[object, ...]]:
        """All rows that can be read."""
        low, high = _LOWEST, _HIGHEST
        while True:
            try:
                for row in db.execute(self._sql + "ASC", (low, high)):
                    yield row
                    low = row[self._place] + 1
            except sqlite3.DatabaseError:
                behind = bisect.bisect_left(self._bounds, low)
                if behind == len(self._bounds):
                    break
                self.gaps.append((low, self._bounds[behind]))
                low = self._bounds[behind] + 1
            else:
                return
        # What is behind the last damaged page is read from the other end.
        try:
            for row in db.execute(self._sql + "DESC", (low, high)):
                yield row
                high = row[self._place] - 1
        except sqlite3.DatabaseError:
            self.gaps.append((low, high))


def _bounds(path: Path, root: int) -> list[int]:
    """The last numbers of the pages of a table, in order; of a damaged page above them, none."""
    found: list[int] = []
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        size = int.from_bytes(content[16:18], "big")
        size = 65536 if size == 1 else size or _PAGE
        left, seen = [root], set[int]()
        while left:
            page = left.pop()
            start = (page - 1) * size
            if page in seen or not 0 <= start <= len(content) - size or content[start] != _ABOVE:
                continue
            seen.add(page)
            cells = int.from_bytes(content[start + 3 : start + 5], "big")
            for place in range(start + 12, min(start + 12 + 2 * cells, start + size), 2):
                cell = start + int.from_bytes(content[place : place + 2], "big")
                left.append(int.from_bytes(content[cell : cell + 4], "big"))
                found.append(_number(content[cell + 4 : cell + 13]))
            left.append(int.from_bytes(content[start + 8 : start + 12], "big"))
    return sorted(found)


def _number(octets: bytes) -> int:
    """A number as SQLite packs it: seven bits a byte, eight of the ninth."""
    value = 0
    for place, octet in enumerate(octets):
        if place == 8:
            value = value << 8 | octet
            break
        value = value << 7 | octet & 0x7F
        if octet < 0x80:
            break
    return value - 2**64 if value >= 2**63 else value


def _joined(gaps: Iterable[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    last: tuple[int, int] | None = None
    for low, high in sorted(gaps):
        if last is not None and low <= last[1] + 1:
            last = last[0], max(high, last[1])
            continue
        if last is not None:
            yield last
        last = low, high
    if last is not None:
        yield last


def _by(size: int, rows: Iterable[tuple[object, ...]]) -> Iterator[list[tuple[object, ...]]]:
    some: list[tuple[object, ...]] = []
    for row in rows:
        some.append(row)
        if len(some) == size:
            yield some
            some = []
    if some:
        yield some
