"""One open connection to the journal, and what writes a batch into its tables.

What it remembers of the file (the numbers of the run and of channels) holds because nobody else
writes to it.
"""

import contextlib
import sqlite3

from vfod import events as e
from vfod.events.plain import kind
from vfod.store.rows import event_json, is_promised, key_of, pack, sound
from vfod.store.upkeep import Upkeep

#: Channels whose numbers are remembered, more than a sweep has; 15 MB at most.
_REMEMBERED = 50_000


class Tables:
    """The journal's tables, for writing."""

    def __init__(self, db: sqlite3.Connection, run: int | None = None) -> None:
        #: The number of the daemon's run in this file; None until its first event is written.
        self.run = run
        self.upkeep = Upkeep(db)
        self._db = db
        self._channels: dict[tuple[int | str, ...], int] = {}
        self._asked = self._given = 0

    def write(self, batch: list[e.Stamped]) -> None:
        """Write a batch in one transaction; durable if somebody was promised a row of it.

        Raises sqlite3.Error; nothing of the batch is written then.
        """
        # Of the write-ahead log: FULL syncs it at every commit, NORMAL only when it is copied
        # into the file (sqlite.org/wal.html, "Performance Considerations").
        durable = any(is_promised(stamped) for stamped in batch)
        self._db.execute(f"PRAGMA synchronous = {'FULL' if durable else 'NORMAL'}")
        run = self.run
        self._db.execute("BEGIN IMMEDIATE")
        try:
            for stamped in batch:
                if isinstance(stamped.event, e.ChannelObserved):
                    self._write_observation(stamped, stamped.event)
                else:
                    self._write_event(stamped)
            self._db.execute("COMMIT")
        except BaseException:
            # Numbers that were given out in this transaction mean nothing any more.
            self.run = run
            self._channels.clear()
            self.upkeep.forget()
            with contextlib.suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")
            raise

    def empty_log(self) -> None:
        """Copy the write-ahead log into the file, wherever that is now, and leave it empty."""
        with contextlib.suppress(sqlite3.Error):
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def close(self) -> None:
        """Close the connection; what was not committed is rolled back."""
        with contextlib.suppress(sqlite3.Error):
            self._db.close()

    def _write_event(self, stamped: e.Stamped) -> None:
        event = stamped.event
        if self.run is None:
            self.run = self._insert(
                "INSERT INTO runs (started, version, config_digest) VALUES (?, '', '')",
                stamped.time,
            )
        match event:
            case e.DaemonStarted(version=version, config_digest=digest):
                self._db.execute(
                    "UPDATE runs SET started = ?, version = ?, config_digest = ? WHERE id = ?",
                    (stamped.time, version, digest, self.run),
                )
            case e.DaemonStopped():
                self._db.execute(
                    "UPDATE runs SET stopped = ? WHERE id = ?", (stamped.time, self.run)
                )
        self._insert(
            "INSERT INTO events (run, sequence, time, vfo, kind, data, cause, doubted)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            self.run,
            stamped.sequence,
            stamped.time,
            sound(stamped.vfo),
            kind(event),
            event_json(event),
            None if stamped.cause is None else sound(stamped.cause),
            stamped.doubted,
        )

    def _write_observation(self, stamped: e.Stamped, observed: e.ChannelObserved) -> None:
        channel = self._channel(stamped.vfo, observed, stamped.doubted)
        measured, late = pack(observed), round(observed.lateness * 1000)
        asked = key = key_of(stamped.time)
        if asked == self._asked:
            key = max(key, self._given + 1)
        # The wall clock may stand, or go back to where there are observations already.
        while not self._db.execute(
            "INSERT INTO observations VALUES (?, ?, ?, ?) ON CONFLICT (key) DO NOTHING",
            (key, channel, measured, late),
        ).rowcount:
            key += 1
        self._asked, self._given = asked, key
        if not stamped.doubted:
            self.upkeep.written(key)

    def _channel(self, vfo: str, observed: e.ChannelObserved, doubted: bool) -> int:
        names = (vfo, observed.sweep, observed.band or "", observed.unit)
        wanted: tuple[int | str, ...] = (
            observed.dial,
            *[sound(name) for name in names],
            doubted,
        )
        number = self._channels.get(wanted)
        if number is None:
            row = self._db.execute(
                "SELECT id FROM channels"
                " WHERE (dial, vfo, sweep, band, unit, doubted) = (?, ?, ?, ?, ?, ?)",
                wanted,
            ).fetchone()
            number = (
                row[0]
                if row
                else self._insert(
                    "INSERT INTO channels (dial, vfo, sweep, band, unit, doubted)"
                    " VALUES (?, ?, ?, ?, ?, ?)",
                    *wanted,
                )
            )
            if len(self._channels) >= _REMEMBERED:
                self._channels.clear()
            self._channels[wanted] = number
        return number

    def _insert(self, sql: str, *values: object) -> int:
        number = self._db.execute(sql, values).lastrowid
        assert number is not None
        return number
