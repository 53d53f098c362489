"""The writer core: takes stamped events, and writes them when told. Synchronous, no thread.

`add` only queues; `commit` writes all that is queued in short transactions, events first. A change
by a hand or a person makes its transaction outlive a power cut; of the rest a power cut may take
the last moments, but a crash of the program takes nothing that was committed.

Trouble with the disk never leaves this file as an exception: what could not be written waits on,
the next commit tries anew with a new connection, and `commit` returns the events that tell of it.
"""

import os
import sqlite3
from pathlib import Path

from vfod import events as e
from vfod.errors import VfodError
from vfod.store.file import (
    identity,
    is_damage,
    is_passing,
    leave,
    lock,
    open_for_writing,
    reason_of,
    set_aside,
)
from vfod.store.tables import Tables
from vfod.store.upkeep import Keeping
from vfod.store.waiting import Batch, Waiting

#: The journal's name among the doors.
DOOR = "journal"


class Writer:
    """One journal, open for writing by one process; one run of the daemon from open to close."""

    def __init__(self, path: Path) -> None:
        self.path = path
        #: Every event up to this sequence number is on the disk.
        self.last_commit = 0
        #: The last attempt to write did not succeed.
        self.failing = False
        self._waiting = Waiting()
        self._news: list[e.Event] = []
        self._told_dropped = 0
        self._lock: int | None = None
        self._tables: Tables | None = None
        self._identity: tuple[int, int] | None = None
        self._upkeep_failed = False
        #: The run's number in the file, once that is committed.
        self._run: int | None = None

    @property
    def queued(self) -> int:
        """Rows that wait to be written."""
        return len(self._waiting)

    @property
    def dropped(self) -> int:
        """Rows that are lost for ever, because too many waited."""
        return self._waiting.dropped

    def open(self, now: float) -> None:
        """Lock and open the journal; make or migrate it where needed. `now` is the wall clock.

        Raises AlreadyRunningError or StoreError. What happened on the way (`JournalSetAside`) is
        told by the next `commit`.
        """
        self._lock = lock(self.path)
        try:
            self._connect(now)
        except BaseException:
            self._unlock()
            raise
        self._news.append(e.DoorOpened(door=DOOR, where=str(self.path)))

    def add(self, stamped: e.Stamped) -> None:
        """Queue an event. Never waits, never fails."""
        self._waiting.add(stamped)

    def commit(self) -> list[e.Event]:
        """Write all that is queued. Returns what there is to tell."""
        while True:
            batch, newest = self._waiting.take()
            if batch and not self._attempt(batch):
                self._waiting.give_back(batch)
                break
            self._waiting.written()
            self.last_commit = newest
            if not batch:
                break
        news, self._news = self._news, []
        return news

    def tend(self, now: float, keeping: Keeping) -> bool:
        """Do a piece of the upkeep; whether there is more. Never fails: what did not work waits."""
        if self._tables is None or self.failing or self._upkeep_failed or self._is_gone():
            return False
        try:
            return self._tables.upkeep.piece(now, keeping)
        except sqlite3.Error as error:
            if is_damage(error):
                # Damage in an old night is no reason to set the file aside in the middle of a new.
                self._upkeep_failed = True
                detail = f"{self.path}: {error}; nights are not summed up; run vfod journal check"
                self._news.append(e.DoorFailed(door=DOOR, reason="damaged", detail=detail))
                self._news.append(e.DoorOpened(door=DOOR, where=str(self.path)))
            return False

    def close(self) -> None:
        """Write all that is queued, close the file, free the lock. What still waits is lost."""
        self.commit()
        self._disconnect()
        self._unlock()

    def _attempt(self, batch: Batch) -> bool:
        now = batch[-1].time
        try:
            try:
                self._write(batch, now)
            except sqlite3.DatabaseError as error:
                if not is_damage(error):
                    raise
                self._disconnect()
                self._begin_anew(set_aside(self.path, now, error))
                self._write(batch, now)
        except (sqlite3.Error, OSError, VfodError) as error:
            if not is_passing(error):
                self._disconnect()
            self._tell_failed(error)
            return False
        self._tell_recovered()
        return True

    def _write(self, batch: Batch, now: float) -> None:
        if self._is_gone():
            self._leave()
        tables = self._connect(now)
        tables.write(batch)
        self._run = tables.run

    def _connect(self, now: float) -> Tables:
        if self._tables is None:
            db, aside = open_for_writing(self.path, now)
            if aside is not None:
                self._begin_anew(aside)
            self._tables = Tables(db, self._run)
            self._identity = identity(self.path)
        return self._tables

    def _is_gone(self) -> bool:
        """Whether the open file is no longer the one of that name: deleted, moved, exchanged."""
        return self._tables is not None and self._identity != identity(self.path)

    def _leave(self) -> None:
        detail = (
            f"{self.path} was deleted, moved or exchanged while it was open;"
            " what was in it is there no more, and the journal begins anew"
        )
        self._news.append(e.DoorFailed(door=DOOR, reason="deleted", detail=detail))
        self._news.append(e.DoorOpened(door=DOOR, where=str(self.path)))
        assert self._tables is not None
        self._tables.empty_log()
        self._disconnect()
        leave(self.path)
        self._run = None

    def _begin_anew(self, aside: e.JournalSetAside) -> None:
        self._run = None
        self._news.append(aside)

    def _disconnect(self) -> None:
        tables, self._tables = self._tables, None
        if tables is not None:
            tables.close()

    def _unlock(self) -> None:
        descriptor, self._lock = self._lock, None
        if descriptor is not None:
            os.close(descriptor)

    def _tell_failed(self, error: Exception) -> None:
        if self.failing:
            return
        self.failing = True
        first = error.__cause__ or error
        detail = f"{self.path}: {error}"
        self._news.append(e.DoorFailed(door=DOOR, reason=reason_of(first), detail=detail))

    def _tell_recovered(self) -> None:
        if not self.failing:
            return
        self.failing = False
        if lost := self.dropped - self._told_dropped:
            self._told_dropped = self.dropped
            detail = f"the {lost} oldest entries that waited for the disk could not be kept"
            self._news.append(e.DoorFailed(door=DOOR, reason="lost", detail=detail))
        self._news.append(e.DoorOpened(door=DOOR, where=str(self.path)))
