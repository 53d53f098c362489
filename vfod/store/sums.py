"""Sums over the observations of a stretch of time: what the reports are made of.

The database adds up; of a night of forty thousand visits some hundred rows come out. Keys are
milliseconds, see `rows`; `measured & 3` is 0 for quiet, 1 for active, 2 for not known.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from vfod.store import nights
from vfod.store.nights import Ask


@dataclass(frozen=True, kw_only=True, slots=True)
class ChannelNight:
    """What the visits of one channel came to in a night.

    `strongest` at `strongest_at` is the highest level of a visit, None where none was measured.
    `mean` and `spread` (standard deviation, dB) are of the levels of active visits.
    """

    dial: int
    band: str | None
    unit: str
    visits: int
    judged: int
    active: int
    strongest: float | None
    strongest_at: float | None
    mean: float | None
    spread: float | None
    first_active: float | None
    last_active: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Cell:
    """The visits of a channel in one column of time; `level` is the strongest of them."""

    dial: int
    unit: str
    column: int
    level: float | None
    judged: int
    active: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Spell:
    """A stretch in which a band had active visits without a long pause; times of the visits."""

    band: str
    begins: float
    ends: float
    active: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Extent:
    """How long something was looked at: from the first to the last visit."""

    begins: float
    ends: float
    visits: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Hour:
    """The visits of a band in one hour, counted since 1970 UTC."""

    hour: int
    band: str | None
    judged: int
    active: int


class Verdict(NamedTuple):
    """A visit that could be judged, and its level, decibels."""

    dial: int
    time: float
    active: bool
    level: float | None


#: The observations of a VFO in a stretch of time, without those whose time cannot be believed;
#: values: begin, end, VFO.
_OF = """ FROM observations JOIN channels ON channels.id = channel
    WHERE key >= ? AND key < ? AND vfo = ? AND NOT doubted"""

# Each query below is put together of such pieces alone; values are bound.

#: From what `nights.channels` gives.
_CHANNELS = """
SELECT dial, nullif(max(band), '') AS band, unit, sum(visits) AS visits, sum(judged) AS judged,
    sum(active) AS active, nullif((max(best) >> 42) - 4096, -4096) / 10.0 AS strongest,
    (max(best) & ((1 << 42) - 1)) / 1000.0 AS strongest_at,
    sum(level) / 10.0 AS level, sum(square) / 100.0 AS square,
    min(first_active) / 1000.0 AS first_active, max(last_active) / 1000.0 AS last_active
FROM ({0}) JOIN channels ON channels.id = channel
WHERE vfo = ? AND NOT doubted GROUP BY dial, unit ORDER BY dial, unit"""

_CELLS = f"""
SELECT dial, unit, (key - ?) / ? AS column, nullif(max(measured >> 35), -4096) / 10.0 AS level,
    sum(measured & 3 != 2) AS judged, sum(measured & 3 = 1) AS active {_OF}
GROUP BY dial, unit, column ORDER BY dial, unit, column"""

_SPELLS = f"""
SELECT band, min(key) / 1000.0 AS begins, max(key) / 1000.0 AS ends, count(*) AS active
FROM (
    SELECT band, key, sum(fresh) OVER (PARTITION BY band ORDER BY key) AS spell
    FROM (
        SELECT band, key,
            coalesce(key - lag(key) OVER (PARTITION BY band ORDER BY key) > ?, 1) AS fresh
        {_OF} AND measured & 3 = 1 AND band != ''
    )
) GROUP BY band, spell ORDER BY min(key)"""  # noqa: S608 - see above

_EXTENTS = f"""
SELECT nullif(band, '') AS band, min(key) / 1000.0 AS begins, max(key) / 1000.0 AS ends,
    count(*) AS visits {_OF} AND measured & 3 != 2 GROUP BY band"""

_SPAN = f"""
SELECT min(key) / 1000.0 AS begins, max(key) / 1000.0 AS ends, count(*) AS visits {_OF}"""

_DAYS = f"SELECT count(DISTINCT (key - ?) / 86400000) AS days {_OF}"

_VFOS = """
SELECT vfo, sum(visits) AS visits
FROM (SELECT channel, count(*) AS visits FROM observations
    WHERE key >= ? AND key < ? GROUP BY channel)
JOIN channels ON channels.id = channel WHERE NOT doubted GROUP BY vfo ORDER BY vfo"""

_PAUSES = f"""
SELECT before / 1000.0 AS begins, key / 1000.0 AS ends
FROM (SELECT key, lag(key) OVER (ORDER BY key) AS before {_OF})
WHERE key - before > ? ORDER BY key"""  # noqa: S608 - see above

_INTERVALS = f"""
SELECT (gap + 500) / 1000 AS seconds, count(*) AS times
FROM (SELECT key - lag(key) OVER (ORDER BY key) AS gap {_OF})
WHERE gap IS NOT NULL GROUP BY seconds ORDER BY seconds"""  # noqa: S608 - see above

_REVISITS = _INTERVALS.replace("OVER (", "OVER (PARTITION BY dial ")

#: From what `nights.hours` gives.
_HOURS = """
SELECT hour, nullif(band, '') AS band, sum(judged) AS judged, sum(active) AS active
FROM ({0}) WHERE vfo = ? GROUP BY hour, band ORDER BY hour, band"""

_VERDICTS = f"""
SELECT dial, key / 1000.0 AS time, measured & 3 AS active,
    nullif(measured >> 35, -4096) / 10.0 AS level {_OF} AND measured & 3 != 2
ORDER BY dial, key"""


class Sums:
    """The sums over the observations of one VFO from `begin` up to before `end` (keys)."""

    def __init__(self, ask: Ask, begin: int, end: int, vfo: str) -> None:
        self._ask = ask
        self._of = (begin, end, vfo)

    def channels(self) -> list[ChannelNight]:
        """By dial frequency."""
        sql, values = nights.channels(self._cover())
        rows = self._ask(_CHANNELS.format(sql), *values, self._of[2])
        return [_channel(dict(row)) for row in rows]

    def cells(self, width: float) -> list[Cell]:
        """By dial frequency and column; a column has `width` seconds."""
        rows = self._ask(_CELLS, self._of[0], round(width * 1000), *self._of)
        return [Cell(**row) for row in rows]

    def spells(self, pause: float) -> list[Spell]:
        """By time; active visits of a band that are at most `pause` seconds apart are one spell."""
        return [Spell(**row) for row in self._ask(_SPELLS, round(pause * 1000), *self._of)]

    def extents(self) -> dict[str | None, Extent]:
        """By band: when it was looked at so that it could be judged; None is the space between."""
        rows = [dict(row) for row in self._ask(_EXTENTS, *self._of)]
        return {row.pop("band"): Extent(**row) for row in rows}

    def span(self) -> Extent | None:
        """From the first visit to the last, whether or not it could be judged; None without any."""
        (row,) = self._ask(_SPAN, *self._of)
        return Extent(**row) if row["visits"] else None

    def days(self) -> int:
        """In how many stretches of 24 hours, counted from the beginning, there were visits."""
        (row,) = self._ask(_DAYS, self._of[0], *self._of)
        return int(row["days"])

    def vfos(self) -> dict[str, int]:
        """The visits of each VFO, also of others, by name."""
        return {row["vfo"]: row["visits"] for row in self._ask(_VFOS, *self._of[:2])}

    def pauses(self, longer: float) -> list[tuple[float, float]]:
        """Where no visit came for `longer` seconds: times of the visit before and the one after."""
        rows = self._ask(_PAUSES, *self._of, round(longer * 1000))
        return [(row["begins"], row["ends"]) for row in rows]

    def intervals(self) -> dict[int, int]:
        """Whole seconds from one visit to the next → how often."""
        return {row["seconds"]: row["times"] for row in self._ask(_INTERVALS, *self._of)}

    def revisits(self) -> dict[int, int]:
        """Whole seconds until the same channel was visited again → how often."""
        return {row["seconds"]: row["times"] for row in self._ask(_REVISITS, *self._of)}

    def hours(self) -> list[Hour]:
        """By hour and band."""
        sql, values = nights.hours(self._cover())
        return [Hour(**row) for row in self._ask(_HOURS.format(sql), *values, self._of[2])]

    def verdicts(self) -> Iterator[Verdict]:
        """Of each visit that could be judged; by dial and time."""
        for row in self._ask(_VERDICTS, *self._of):
            yield Verdict(row["dial"], row["time"], row["active"] == 1, row["level"])

    def _cover(self) -> nights.Cover:
        return nights.cover(self._ask, *self._of[:2])


def _channel(row: dict[str, Any]) -> ChannelNight:
    level, square, active = row.pop("level"), row.pop("square"), row["active"]
    mean = level / active if active else None
    spread = None if mean is None else max(0.0, square / active - mean * mean) ** 0.5
    if row["strongest"] is None:
        row["strongest_at"] = None
    return ChannelNight(**row, mean=mean, spread=spread)
