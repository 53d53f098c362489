"""What keeps a journal small and quick over years: nights are summed up, old ones given up.

All of it is done in pieces of some milliseconds, each a transaction of its own, because the thread
that does it is the one that a person's change waits for. A journal of an older version has no sums:
it is brought up to date in the same way, beside the night. Where it stopped stands in the file, so
that it goes on after a restart. Observations whose time cannot be believed are in no sum, and of
no known age: they stay.
"""

import contextlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from vfod.plan.localtime import NOON, ONE_DAY, instant, night_of
from vfod.store.rows import key_of

#: Bits of a channel's number in the id of its night; 16 million channels.
CHANNEL_BITS = 24
#: Bits of a time in a night, milliseconds; 37 hours, a night has at most 25.
TIME_BITS = 27

#: A night is summed up so long after its end, seconds: a clock that is set back by less changes
#: nothing in it.
SETTLED = 3600.0
#: Observations summed up at once, and rows given up at once: ten milliseconds, a hundred on a small
#: board. Fewer of the first would write the sums of the same channels again and again.
SUM_AT_ONCE, GIVE_UP_AT_ONCE = 10_000, 500
#: Pages given back to the system at once, 256 kB; and the share of the file that may lie idle,
#: because what is given up in the morning is written again the next night.
PAGES_AT_ONCE, IDLE = 64, 10

#: Kinds of events that stay for ever: the listener's own words, and which program wrote when.
FOR_EVER = ("note-taken", "daemon-started", "daemon-stopped", "journal-set-aside")

_SUM_CHANNELS = f"""
INSERT INTO channel_nights
SELECT ?1 << {CHANNEL_BITS} | channel, count(*), sum(measured & 3 != 2), sum(measured & 3 = 1),
    max(((measured >> 35) + 4096) << {TIME_BITS} | (key - ?2)),
    sum(iif(measured & 3 = 1, measured >> 35, 0)),
    sum(iif(measured & 3 = 1, (measured >> 35) * (measured >> 35), 0)),
    min(CASE measured & 3 WHEN 1 THEN key - ?2 END), max(CASE measured & 3 WHEN 1 THEN key - ?2 END)
FROM observations JOIN channels ON channels.id = channel
WHERE key >= ?3 AND key < ?4 AND NOT doubted GROUP BY channel
ON CONFLICT (id) DO UPDATE SET visits = visits + excluded.visits,
    judged = judged + excluded.judged, active = active + excluded.active,
    best = max(best, excluded.best), level = level + excluded.level,
    square = square + excluded.square,
    first_active = coalesce(first_active, excluded.first_active),
    last_active = coalesce(excluded.last_active, last_active)"""  # noqa: S608 - numbers from above

_SUM_HOURS = """
INSERT INTO band_hours
SELECT ?1, key / 3600000, vfo, band, count(*), sum(measured & 3 != 2), sum(measured & 3 = 1)
FROM observations JOIN channels ON channels.id = channel
WHERE key >= ?2 AND key < ?3 AND NOT doubted GROUP BY key / 3600000, vfo, band
ON CONFLICT DO UPDATE SET visits = visits + excluded.visits,
    judged = judged + excluded.judged, active = active + excluded.active"""

#: The key of the first or last observation whose time is believed.
_BELIEVED = """
SELECT key FROM observations JOIN channels ON channels.id = channel
WHERE NOT doubted ORDER BY key {} LIMIT 1"""

_OLD_OBSERVATIONS = """
DELETE FROM observations WHERE key IN (
    SELECT key FROM observations WHERE key >= ? AND key < ?
    AND channel NOT IN (SELECT id FROM channels WHERE doubted) ORDER BY key LIMIT ?)"""

_OLD_EVENTS = f"""
DELETE FROM events WHERE id IN (
    SELECT id FROM events WHERE time >= ? AND time < ? AND NOT doubted
    AND kind NOT IN ({", ".join("?" * len(FOR_EVER))}) ORDER BY time LIMIT ?)"""  # noqa: S608 - marks only


_UTC = ZoneInfo("UTC")


@dataclass(frozen=True, kw_only=True, slots=True)
class Keeping:
    """By which clock nights are counted, and for how many seconds observations are kept."""

    zone: ZoneInfo = _UTC
    #: None is for ever.
    keep: float | None = None
    #: Whether the wall clock has been right for long enough to call anything old by it. While it
    #: has not, nothing is given up, and a night is over only once there is a later observation.
    steady: bool = True


class Upkeep:
    """The upkeep of one open journal."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        #: Up to here nights are summed up: what is written before it opens its night again.
        self._settled: int | None = None

    def piece(self, now: float, keeping: Keeping) -> bool:
        """Do the next piece; False when nothing is left to do. `now` is the wall clock.

        Raises sqlite3.Error; the piece is not done then.
        """
        self._db.execute("PRAGMA synchronous = NORMAL")
        settled = key_of(now - SETTLED)
        keep = keeping.keep
        if not keeping.steady:
            settled, keep = min(settled, self._newest()), None
        return (
            self._sum_up(settled)
            or self._next_night(settled, keeping.zone)
            or (keep is not None and self._give_up(key_of(now - keep)))
            or self._give_back()
        )

    def written(self, key: int) -> None:
        """An observation was written there: a night that was summed up already is so no more.

        To be called in the transaction that wrote it.
        """
        if self._settled is None:
            self._settled = self._one("SELECT coalesce(max(summed), 0) FROM nights")
        if key >= self._settled:
            return
        for (night,) in self._db.execute(
            "SELECT id FROM nights WHERE begin <= ? AND ? < summed AND kept", (key, key)
        ).fetchall():
            first, after = night << CHANNEL_BITS, (night + 1) << CHANNEL_BITS
            self._db.execute("DELETE FROM channel_nights WHERE id >= ? AND id < ?", (first, after))
            self._db.execute("DELETE FROM band_hours WHERE night = ?", (night,))
            self._db.execute("UPDATE nights SET summed = begin WHERE id = ?", (night,))

    def forget(self) -> None:
        """A transaction was rolled back: what is known of the file is read anew."""
        self._settled = None

    def _sum_up(self, settled: int) -> bool:
        night = self._row(
            "SELECT id, begin, until, summed FROM nights WHERE summed < until AND until <= ?"
            " ORDER BY id LIMIT 1",
            settled,
        )
        if night is None:
            return False
        number, begin, until, summed = night
        more = self._row(
            "SELECT key FROM observations WHERE key >= ? AND key < ? ORDER BY key LIMIT 1 OFFSET ?",
            summed,
            until,
            SUM_AT_ONCE,
        )
        end = until if more is None else more[0]
        with self._transaction():
            self._db.execute(_SUM_CHANNELS, (number, begin, summed, end))
            self._db.execute(_SUM_HOURS, (number, summed, end))
            self._db.execute("UPDATE nights SET summed = ? WHERE id = ?", (end, number))
        self._settled = None
        return True

    def _next_night(self, settled: int, zone: ZoneInfo) -> bool:
        last = self._row("SELECT until FROM nights ORDER BY id DESC LIMIT 1")
        begin = last[0] if last else self._first_noon(zone)
        if begin is None:
            return False
        until = key_of(_noon_after(begin / 1000, zone))
        if until > settled:
            return False
        with self._transaction():
            self._db.execute(
                "INSERT INTO nights (begin, until, summed) VALUES (?1, ?2, ?1)", (begin, until)
            )
        return True

    def _newest(self) -> int:
        newest = self._row(_BELIEVED.format("DESC"))
        return newest[0] if newest else 0

    def _first_noon(self, zone: ZoneInfo) -> int | None:
        first = self._row(_BELIEVED.format("ASC"))
        if first is None:
            return None
        return key_of(instant(datetime.combine(night_of(first[0] / 1000, zone), NOON), zone))

    def _give_up(self, limit: int) -> bool:
        night = self._row(
            "SELECT id, begin, until FROM nights"
            " WHERE kept AND summed = until AND until <= ? ORDER BY id LIMIT 1",
            limit,
        )
        if night is None:
            return False
        number, begin, until = night
        with self._transaction():
            if self._delete(_OLD_OBSERVATIONS, begin, until, GIVE_UP_AT_ONCE):
                return True
            seconds = (begin / 1000, until / 1000)
            if self._delete(_OLD_EVENTS, *seconds, *FOR_EVER, GIVE_UP_AT_ONCE):
                return True
            self._db.execute("UPDATE nights SET kept = 0 WHERE id = ?", (number,))
        return True

    def _give_back(self) -> bool:
        idle, pages, way = (
            self._one(f"PRAGMA {name}") for name in ("freelist_count", "page_count", "auto_vacuum")
        )
        if way == 0 or idle <= pages // IDLE:
            return False
        self._db.execute(f"PRAGMA incremental_vacuum({PAGES_AT_ONCE})").fetchall()
        return True

    def _delete(self, sql: str, *values: float | str) -> int:
        return self._db.execute(sql, values).rowcount

    def _row(self, sql: str, *values: float) -> tuple[int, ...] | None:
        row: tuple[int, ...] | None = self._db.execute(sql, values).fetchone()
        return row

    def _one(self, sql: str) -> int:
        row = self._row(sql)
        assert row is not None
        return row[0]

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._db.execute("COMMIT")
        except BaseException:
            with contextlib.suppress(sqlite3.Error):
                self._db.execute("ROLLBACK")
            raise


def _noon_after(when: float, zone: ZoneInfo) -> float:
    return instant(datetime.combine(night_of(when, zone) + ONE_DAY, NOON), zone)
