"""A copy of the journal while the daemon writes it: of one moment, whole or not at all.

The copy is read in one transaction, in which the write-ahead log keeps what is written meanwhile;
the daemon waits for nothing.
"""

import contextlib
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

from vfod.errors import StoreError, UsageError
from vfod.store.reader import connect

#: Pages copied from one call of `progress` to the next: 8 MB.
_PAGES = 2000

#: Told while long work is done: the part that is done, 0 to 1.
Done = Callable[[float], None]


def backup(source: Path, target: Path, *, overwrite: bool, progress: Done) -> int:
    """Copy the journal to `target`; gives its size in bytes.

    Raises UsageError where there is such a file already, StoreError where the copy cannot be made;
    what was there before is untouched then.
    """
    if target.is_dir():
        raise UsageError(f"{target} is a folder", remedy="name a file for the copy")
    if target.exists() and target.samefile(source):
        raise UsageError(f"{target} is the journal itself", remedy="name another file")
    if target.exists() and not overwrite:
        raise UsageError(f"there is a file {target} already", remedy="name another, or --overwrite")
    part = target.with_name(f".{target.name}.part")

    def step(_: int, left: int, pages: int) -> None:
        progress(1 - left / max(1, pages))

    try:
        with contextlib.closing(connect(source, older=True)) as db:
            part.unlink(missing_ok=True)
            with contextlib.closing(sqlite3.connect(part)) as copy:
                db.execute("BEGIN")
                db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
                db.backup(copy, pages=_PAGES, progress=step)
                # So that it is one file, readable where nothing can be written.
                copy.execute("PRAGMA journal_mode = DELETE")
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.replace(target)
    except (sqlite3.Error, OSError) as error:
        raise StoreError(
            f"{target} cannot be written: {error}",
            remedy="look whether there is room, and whether this user may write there",
        ) from error
    finally:
        with contextlib.suppress(OSError):
            for left in ("", "-journal", "-wal", "-shm"):
                Path(f"{part}{left}").unlink(missing_ok=True)
    return target.stat().st_size
