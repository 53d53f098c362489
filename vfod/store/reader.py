"""Questions to the journal, for the shell and the reports. Reads only, also while a daemon writes.

Nothing here keeps a transaction open while the caller thinks: a reader that dawdles would make the
daemon's write-ahead log grow without end. Long answers are therefore fetched piece by piece.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from vfod.errors import StoreError
from vfod.store import nights
from vfod.store.file import BUSY, is_damage, primary_code
from vfod.store.rows import Entry, Observation, entry, key_of, observation
from vfod.store.schema import migrations, version_of
from vfod.store.sums import Sums

#: Observations fetched at once: some milliseconds of reading.
PIECE = 2000

#: Codes of SQLite when this user may not do what reading takes.
_CLOSED = {sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY}

#: From what `nights.channels` gives.
_CHANNELS = """
SELECT vfo, dial, nullif(max(band), '') AS band, unit, sum(visits) AS visits,
    sum(judged) AS judged_visits, sum(active) AS active_visits,
    nullif((max(best) >> 42) - 4096, -4096) / 10.0 AS strongest,
    min(first_active) / 1000.0 AS first_active, max(last_active) / 1000.0 AS last_active
FROM ({0}) JOIN channels ON channels.id = channel
WHERE coalesce(vfo = ?, TRUE) AND NOT doubted
GROUP BY vfo, dial, unit ORDER BY vfo, dial, unit"""

#: Before and after everything, as keys.
_FIRST, _LAST = -(2**63), 2**63 - 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Run:
    """A run of the daemon; `stopped` is None while it runs or when it did not end in order."""

    id: int
    started: float
    stopped: float | None
    version: str
    config_digest: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ChannelSummary:
    """What the visits of one channel came to.

    `judged_visits` are those of which it could be told whether the channel was active.
    `strongest` is the highest level of a visit in `unit`, None where none was measured;
    `first_active` and `last_active` are times, None where it never was.
    """

    vfo: str
    dial: int
    band: str | None
    unit: str
    visits: int
    judged_visits: int
    active_visits: int
    strongest: float | None
    first_active: float | None
    last_active: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class PastFloor:
    """The floor of a band in a half hour of the day, counted from midnight UTC, decibels."""

    sweep: str
    band: str | None
    half_hour: int
    floor: float


class Reader:
    """A journal, open for reading; close it, or use it in a `with` statement."""

    def __init__(self, path: Path) -> None:
        """Open the journal; StoreError names what is wrong with it and what to do."""
        self.path = path
        self._db = connect(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the file free."""
        self._db.close()

    def events(
        self,
        *,
        since: float | None = None,
        until: float | None = None,
        vfo: str | None = None,
        kinds: Sequence[str] = (),
        newest: int | None = None,
    ) -> list[Entry]:
        """Events in the order in which they happened, from `since` up to before `until`.

        `vfo` leaves the daemon's own events in. `kinds` are names from `vfod.events.KINDS`, all
        where none is given; `newest` keeps the last so many.
        """
        where, values = ["TRUE"], list[object]()
        for condition, value in (("time >= ?", since), ("time < ?", until)):
            if value is not None:
                where.append(condition)
                values.append(value)
        if vfo is not None:
            where.append("vfo IN (?, '')")
            values.append(vfo)
        if kinds:
            where.append(f"kind IN ({', '.join('?' * len(kinds))})")
            values += kinds
        sql = f"SELECT * FROM events WHERE {' AND '.join(where)} ORDER BY id DESC LIMIT ?"  # noqa: S608 - conditions from the lines above, values bound
        rows = self._all(sql, *values, -1 if newest is None else newest)
        return [entry(row) for row in reversed(rows)]

    def observations(
        self, *, since: float | None = None, until: float | None = None, vfo: str | None = None
    ) -> Iterator[Observation]:
        """Observations by time, from `since` up to before `until`."""
        begin, end = _keys(since, until)
        while rows := self._all(
            "SELECT * FROM observation WHERE key >= ? AND key < ? ORDER BY key LIMIT ?",
            begin,
            end,
            PIECE,
        ):
            begin = rows[-1]["key"] + 1
            for row in rows:
                if vfo is None or vfo == row["vfo"]:
                    yield observation(row)

    def last_event(self) -> Entry | None:
        """The event that happened last of those whose time can be believed."""
        rows = self._all("SELECT * FROM events WHERE NOT doubted ORDER BY id DESC LIMIT 1")
        return entry(rows[0]) if rows else None

    def last_observation(
        self, *, until: float, vfo: str, since: float | None = None, sweep: str | None = None
    ) -> Observation | None:
        """The newest observation of that time, of any sweep or of one; None where there is none.

        Those whose time cannot be believed are passed over.
        """
        rows = self._all(
            "SELECT * FROM observation WHERE key >= ? AND key < ? AND vfo = ?"
            " AND coalesce(sweep = ?, TRUE) AND NOT doubted ORDER BY key DESC LIMIT 1",
            *_keys(since, until),
            vfo,
            sweep,
        )
        return observation(rows[0]) if rows else None

    def floors(self, *, since: float, until: float, vfo: str) -> list[PastFloor]:
        """The floors of each sweep's bands through the day, by the observations of that time."""
        rows = self._all(
            "SELECT sweep, band, (key / 1800000) % 48 AS half_hour, avg(floor) AS floor"
            " FROM observation WHERE key >= ? AND key < ? AND vfo = ?"
            " AND floor IS NOT NULL AND NOT doubted"
            " GROUP BY sweep, band, half_hour ORDER BY sweep, band, half_hour",
            *_keys(since, until),
            vfo,
        )
        return [PastFloor(**row) for row in rows]

    def channels(
        self, *, since: float | None = None, until: float | None = None, vfo: str | None = None
    ) -> list[ChannelSummary]:
        """A summary of each channel visited in that time, by VFO and dial frequency.

        Visits whose time cannot be believed belong to no stretch of time and are left out. So is
        a night at either end of which only the sums of the whole are left.
        """
        sql, values = nights.channels(nights.cover(self._all, *_keys(since, until)))
        rows = self._all(_CHANNELS.format(sql), *values, vfo)
        return [ChannelSummary(**row) for row in rows]

    def sums(self, *, since: float, until: float, vfo: str) -> Sums:
        """What the reports are made of, from `since` up to before `until`."""
        return Sums(self._all, key_of(since), key_of(until), vfo)

    def gave_up(self, since: float, until: float) -> bool:
        """Whether observations of that time were given up because of their age."""
        (row,) = self._all(
            "SELECT EXISTS (SELECT * FROM nights WHERE until > ? AND begin < ? AND NOT kept)",
            key_of(since),
            key_of(until),
        )
        return bool(row[0])

    def vfos(self) -> list[str]:
        """The names of all VFOs that ever observed something."""
        rows = self._all("SELECT DISTINCT vfo FROM channels ORDER BY vfo")
        return [row["vfo"] for row in rows]

    def knows(self, vfo: str) -> bool:
        """Whether anything here is of the VFO of this name."""
        tables = "SELECT 1 FROM channels WHERE vfo = ? UNION ALL SELECT 1 FROM events WHERE vfo = ?"
        return bool(self._all(f"{tables} LIMIT 1", vfo, vfo))

    def newest(self) -> float | None:
        """The time of the newest observation, or else event; None in an empty journal."""
        for sql in ("SELECT max(key) / 1000.0 FROM observations", "SELECT max(time) FROM events"):
            (row,) = self._all(sql)
            if row[0] is not None:
                return float(row[0])
        return None

    def runs(self) -> list[Run]:
        """All runs of the daemon, oldest first."""
        return [Run(**row) for row in self._all("SELECT * FROM runs ORDER BY id")]

    def _all(self, sql: str, *values: object) -> list[sqlite3.Row]:
        try:
            return self._db.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise _unreadable(self.path, error) from error


def _keys(since: float | None, until: float | None) -> tuple[int, int]:
    return (
        _FIRST if since is None else key_of(since),
        _LAST if until is None else key_of(until),
    )


def connect(path: Path, *, older: bool = False) -> sqlite3.Connection:
    """A connection that only reads; StoreError says what is wrong with the file and what to do.

    A journal of an older version is refused unless `older`.
    """
    if path.is_dir():
        raise StoreError(f"{path} is a folder", remedy="name the journal's file")
    if not path.exists():
        raise StoreError(
            f"there is no journal {path}",
            remedy="start the daemon once, or name the file it writes to",
        )
    try:
        return _look(path, "mode=ro", older)
    except sqlite3.Error as error:
        if primary_code(error) not in _CLOSED or Path(f"{path}-wal").exists():
            raise _unreadable(path, error) from error
    try:
        # Nobody writes, and this user may not make the files that readers and writers share.
        return _look(path, "immutable=1", older)
    except sqlite3.Error as error:
        raise _unreadable(path, error) from error


def _look(path: Path, how: str, older: bool) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?{how}"
    db = sqlite3.connect(uri, uri=True, timeout=BUSY / 1000, isolation_level=None)
    try:
        version = version_of(db, path)
    except BaseException:
        db.close()
        raise
    if version < len(migrations()) and not (older and version):
        db.close()
        raise StoreError(
            f"the journal {path} is {'empty' if version == 0 else 'of an older version'}",
            remedy="start the daemon once, which brings it up to date",
        )
    db.row_factory = sqlite3.Row
    return db


def _unreadable(path: Path, error: sqlite3.Error) -> StoreError:
    if is_damage(error):
        return StoreError(
            f"{path} is no journal, or a damaged one: {error}",
            remedy="name the journal's file; the daemon sets a damaged one aside when it starts,"
            " and vfod journal repair reads what can be read of it",
        )
    if primary_code(error) in _CLOSED:
        remedy = "start the daemon, or ask as the user whose journal it is"
    else:
        remedy = "look whether the disk is full or damaged, and try again"
    return StoreError(f"the journal {path} cannot be read: {error}", remedy=remedy)
