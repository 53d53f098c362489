"""The journal's file: locked, opened, looked at, set aside when it is damaged.

Two daemons must not write one journal, so the writer holds a lock on a file beside it
(`NAME.lock`); the kernel frees it however the process ends, and readers never look at it.
A damaged file does not stop a night: it is renamed, not deleted, and a new one is begun.
A file that is sound but not ours is left alone, and so is one that this process may not write.
"""

import contextlib
import datetime
import fcntl
import os
import sqlite3
from pathlib import Path

from vfod.errors import AlreadyRunningError, StoreError
from vfod.events import JournalSetAside
from vfod.store.schema import migrate, version_of

#: The first SQLite with STRICT tables (sqlite.org/stricttables.html).
OLDEST = (3, 37, 0)
#: How long to wait for another program's transaction, milliseconds: longer than a reader needs,
#: and than a backup holds a lock on a slow card.
BUSY = 5000
#: Pages in the write-ahead log at which it is copied into the journal: 4 MB, SQLite's default.
CHECKPOINT = 1000
#: What is left of the write-ahead log after a long reader made it grow, bytes.
LOG_LIMIT = 8 * 2**20

#: Codes of SQLite (sqlite.org/rescode.html) after which the file is of no more use as it is.
_DAMAGE = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}
#: Codes that come from outside and leave the connection sound.
_PASSING = {sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}

_REASONS = {
    sqlite3.SQLITE_FULL: "disk-full",
    sqlite3.SQLITE_BUSY: "busy",
    sqlite3.SQLITE_LOCKED: "busy",
    sqlite3.SQLITE_READONLY: "read-only",
    sqlite3.SQLITE_CANTOPEN: "cannot-open",
    sqlite3.SQLITE_IOERR: "disk-error",
}


def primary_code(error: BaseException) -> int:
    """SQLite's primary result code of an error, or 0 where it has none."""
    return int(getattr(error, "sqlite_errorcode", None) or 0) & 0xFF


def is_damage(error: BaseException) -> bool:
    """Whether the error says that the file is damaged or no database."""
    return primary_code(error) in _DAMAGE


def is_passing(error: BaseException) -> bool:
    """Whether the connection is as good as before: the disk is full, or another holds the file.

    It is better kept: a reader on a full disk finds no place for what the two must share.
    """
    return primary_code(error) in _PASSING


def reason_of(error: BaseException) -> str:
    """A short word for machines."""
    return _REASONS.get(primary_code(error), "error")


def lock(path: Path) -> int:
    """Lock the journal for this process; the descriptor holds the lock until it is closed.

    Makes the folder where it is missing. Raises AlreadyRunningError when another process has the
    lock, StoreError when there can be no such file.
    """
    if path.is_dir():
        raise StoreError(f"{path} is a folder", remedy="name a file for the journal")
    beside = path.with_name(path.name + ".lock")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(beside, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    except OSError as error:
        raise StoreError(
            f"the journal {path} cannot be written: {beside}: {error.strerror}",
            remedy="let this user write to that folder, or name another file for the journal",
        ) from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        holder = f"{os.getpid()}\n".encode()
        if os.pread(descriptor, 32, 0) != holder:
            with contextlib.suppress(OSError):  # a full disk: only the number is missing
                os.ftruncate(descriptor, 0)
                os.pwrite(descriptor, holder, 0)
    except BlockingIOError:
        number = os.pread(descriptor, 32, 0).decode("ascii", "replace").strip()
        os.close(descriptor)
        raise AlreadyRunningError(
            f"another daemon (process {number or 'unknown'}) writes the journal {path}",
            remedy="stop it, or give this daemon a journal of its own",
        ) from None
    except BaseException:
        os.close(descriptor)
        raise
    return descriptor


def holder(path: Path) -> int | None:
    """The process that has locked the journal; None where none has, or its number is not told."""
    try:
        descriptor = os.open(path.with_name(path.name + ".lock"), os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        number = os.pread(descriptor, 32, 0).decode("ascii", "replace").strip()
        return int(number) if number.isdigit() else None
    finally:
        os.close(descriptor)
    return None


def open_for_writing(path: Path, now: float) -> tuple[sqlite3.Connection, JournalSetAside | None]:
    """A connection that is ready to write, and what happened to a damaged file on the way.

    Raises StoreError when there can be none.
    """
    if sqlite3.sqlite_version_info < OLDEST:
        raise StoreError(
            f"SQLite {sqlite3.sqlite_version} of this Python is too old for the journal",
            remedy=f"use a Python with SQLite {'.'.join(map(str, OLDEST))} or newer",
        )
    try:
        return _open(path, now), None
    except sqlite3.Error as error:
        if not is_damage(error):
            raise _cannot(path, error) from error
        aside = set_aside(path, now, error)
    try:
        return _open(path, now), aside
    except sqlite3.Error as error:
        raise _cannot(path, error) from error


def identity(path: Path) -> tuple[int, int] | None:
    """Which file has that name now, by device and inode; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def leave(path: Path) -> None:
    """Remove the companions of a file that has gone: a new file must not take them for its own.

    Those of a file that was put in its place stay: its log is not empty.
    """
    log = Path(f"{path}-wal")
    if path.exists() and log.exists() and log.stat().st_size:
        return
    for companion in ("-wal", "-shm"):
        with contextlib.suppress(OSError):
            Path(f"{path}{companion}").unlink()


def set_aside(path: Path, now: float, error: BaseException) -> JournalSetAside:
    """Rename a damaged journal and its companions, by the time and so that nothing is overwritten.

    The companions keep SQLite's names, so that what can be read is found with them.
    """
    stamp = datetime.datetime.fromtimestamp(now, datetime.UTC).strftime("%Y%m%dT%H%M%SZ")
    number = 1
    while True:
        again = f"-{number}" if number > 1 else ""
        kept = path.with_name(f"{path.stem}.set-aside-{stamp}{again}{path.suffix}")
        if not kept.exists():
            break
        number += 1
    try:
        for companion in ("-wal", "-shm"):
            with contextlib.suppress(FileNotFoundError):
                Path(f"{path}{companion}").rename(f"{kept}{companion}")
        path.rename(kept)
    except OSError as problem:
        raise StoreError(
            f"the damaged journal {path} cannot be renamed: {problem.strerror}",
            remedy="move it out of the way",
        ) from problem
    return JournalSetAside(kept_as=str(kept), reason=str(error))


def _open(path: Path, now: float) -> sqlite3.Connection:
    # The writer core may be opened in one thread and used in another, one at a time.
    db = sqlite3.connect(path, timeout=BUSY / 1000, isolation_level=None, check_same_thread=False)
    try:
        # Before anything else is set, because that may already change the file.
        if version_of(db, path) == 0:
            # So that retention can give space back bit by bit; an older file stays as it is.
            db.execute("PRAGMA auto_vacuum = INCREMENTAL")
        db.execute("PRAGMA journal_mode = WAL")
        db.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT}")
        db.execute(f"PRAGMA journal_size_limit = {LOG_LIMIT}")
        migrate(db, path, now)
        _look(db, path)
    except BaseException:
        db.close()
        raise
    return db


def _look(db: sqlite3.Connection, path: Path) -> None:
    """Find in no time what a bad card does most: a missing end, a damaged newest page."""
    busy, _, _ = db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    if not busy:
        (pages,) = db.execute("PRAGMA page_count").fetchone()
        (size,) = db.execute("PRAGMA page_size").fetchone()
        if path.stat().st_size < pages * size:
            missing = sqlite3.DatabaseError("the end of the file is missing")
            missing.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
            raise missing
    for table in ("runs", "events", "channels", "observations"):
        db.execute(f"SELECT * FROM {table} ORDER BY rowid DESC LIMIT 1").fetchone()  # noqa: S608 - names from the line above
    # Refused at once where this process may read the file but not write it.
    db.execute("BEGIN IMMEDIATE")
    db.execute("ROLLBACK")


def _cannot(path: Path, error: sqlite3.Error) -> StoreError:
    return StoreError(
        f"the journal {path} cannot be written: {error}",
        remedy="let this user write to it and to its folder, or name another file",
    )
