"""The journal's version: what this program knows, and how an older journal is brought up to it.

Each numbered file in `migrations/` leads from the version before to its own, in one exclusive
transaction, so that a journal is always of exactly one version. Files are never changed once
released; a new version is a new file. A journal of a newer version is refused: reading it by old
rules would give wrong answers, and writing to it would spoil it.
"""

import functools
import sqlite3
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

from vfod import __version__
from vfod.errors import StoreError

#: The four letters "vfod" at offset 68 of the file (SQLite's file format, section 1.3), by which
#: `file` and this program tell our journals from other databases.
APPLICATION_ID = int.from_bytes(b"vfod", "big")


@functools.cache
def migrations() -> tuple[tuple[int, str], ...]:
    """Version and SQL of each step, in order; versions count up from 1."""
    found = sorted(
        (int(file.name.partition("_")[0]), file.read_text(encoding="utf-8"))
        for file in files("vfod.store").joinpath("migrations").iterdir()
        if file.name.endswith(".sql")
    )
    assert [n for n, _ in found] == list(range(1, len(found) + 1)), "a migration is missing"
    return tuple(found)


def version_of(db: sqlite3.Connection, path: Path) -> int:
    """The journal's version, 0 for a database in which there is nothing yet.

    Raises StoreError for another program's database and for a version that this one does not know.
    """
    (mark,) = db.execute("PRAGMA application_id").fetchone()
    (version,) = db.execute("PRAGMA user_version").fetchone()
    (tables,) = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    assert isinstance(version, int)
    if mark != APPLICATION_ID and (mark, version, tables) != (0, 0, 0):
        raise StoreError(
            f"{path} is a database of another program",
            remedy="name another file for the journal; this one was left as it is",
        )
    known = len(migrations())
    if version > known:
        raise StoreError(
            f"{path} was written by vfod {_writer(db)} (journal version {version});"
            f" this is vfod {__version__}, which knows version {known}",
            remedy="run that vfod or a newer one, or name another file for the journal",
        )
    return version


def migrate(db: sqlite3.Connection, path: Path, now: float) -> None:
    """Bring the journal to the newest version; `now` is kept as the time of it.

    The connection must not begin transactions by itself. Raises as `version_of` does.
    """
    for number, sql in migrations()[version_of(db, path) :]:
        step(db, number, sql, now)


def step(db: sqlite3.Connection, number: int, sql: str, now: float) -> None:
    """Take one step to version `number`, wholly or not at all."""
    db.execute("BEGIN EXCLUSIVE")
    try:
        for statement in statements(sql):
            db.execute(statement)
        db.execute("INSERT INTO migrations VALUES (?, ?, ?)", (number, now, __version__))
        db.execute(f"PRAGMA user_version = {number}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def statements(sql: str) -> Iterator[str]:
    """The statements of a script one by one; sqlite3's own way would commit before the first."""
    statement = ""
    for line in sql.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
    assert not statement.strip(), f"a statement has no end: {statement}"


def _writer(db: sqlite3.Connection) -> str:
    try:
        row = db.execute("SELECT program FROM migrations ORDER BY version DESC LIMIT 1").fetchone()
    except sqlite3.Error:
        row = None
    return str(row[0]) if row else "(unknown)"
