"""Sums over long times: nights that are summed up by their sums, the rest by its observations.

So a year is told in no time, and years of which only the sums are left are told at all. Of a night
that a stretch of time cuts through there are no sums of a part, only its observations while they
are kept; its hours are told by the hour.
"""

from collections.abc import Callable
from dataclasses import dataclass
from sqlite3 import Row

from vfod.store.upkeep import CHANNEL_BITS, TIME_BITS

#: A question to the database and its values → all rows.
Ask = Callable[..., list[Row]]

#: SQL and its values.
Query = tuple[str, list[object]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Cover:
    """A stretch of time (keys, the end excluded) as the journal has it.

    `nights` are first and last of those that are summed up, without a gap between them. `rest` is
    what no such night covers.
    `cut` are nights that reach beyond the stretch and have no observations any more.
    """

    begin: int
    end: int
    nights: tuple[tuple[int, int], ...]
    rest: tuple[tuple[int, int], ...]
    cut: tuple[int, ...]


def cover(ask: Ask, begin: int, end: int) -> Cover:
    """What the sums of nights cover of a stretch of time."""
    nights: list[tuple[int, int]] = []
    rest: list[tuple[int, int]] = []
    cut: list[int] = []
    at = begin
    for night in ask(
        "SELECT id, begin, until, kept FROM nights"
        " WHERE until > ? AND begin < ? AND summed = until ORDER BY begin",
        begin,
        end,
    ):
        number = night["id"]
        if begin > night["begin"] or night["until"] > end:
            if not night["kept"]:
                cut.append(number)
            continue
        if at < night["begin"]:
            rest.append((at, night["begin"]))
        if nights and nights[-1][1] == number - 1 and at == night["begin"]:
            nights[-1] = nights[-1][0], number
        else:
            nights.append((number, number))
        at = night["until"]
    if at < end:
        rest.append((at, end))
    return Cover(begin=begin, end=end, nights=tuple(nights), rest=tuple(rest), cut=tuple(cut))


_CHANNELS_SUMMED = f"""
SELECT s.id & ((1 << {CHANNEL_BITS}) - 1) AS channel, sum(visits) AS visits,
    sum(judged) AS judged, sum(active) AS active,
    max((best >> {TIME_BITS}) << 42 | ((best & ((1 << {TIME_BITS}) - 1)) + begin)) AS best,
    sum(level) AS level, sum(square) AS square,
    min(first_active + begin) AS first_active, max(last_active + begin) AS last_active
FROM channel_nights AS s JOIN nights ON nights.id = s.id >> {CHANNEL_BITS}
WHERE s.id >= ? AND s.id < ? GROUP BY channel"""  # noqa: S608 - numbers from above

#: `best` packs the level, 13 bits, above its key, 42 bits, so that one maximum finds both.
_CHANNELS_REST = """
SELECT channel, count(*) AS visits, sum(measured & 3 != 2) AS judged,
    sum(measured & 3 = 1) AS active, max(((measured >> 35) + 4096) << 42 | key) AS best,
    sum(iif(measured & 3 = 1, measured >> 35, 0)) AS level,
    sum(iif(measured & 3 = 1, (measured >> 35) * (measured >> 35), 0)) AS square,
    min(CASE measured & 3 WHEN 1 THEN key END) AS first_active,
    max(CASE measured & 3 WHEN 1 THEN key END) AS last_active
FROM observations WHERE key >= ? AND key < ? GROUP BY channel"""

_HOURS_SUMMED = """
SELECT hour, vfo, band, judged, active FROM band_hours WHERE night >= ? AND night <= ?"""

_HOURS_CUT = """
SELECT hour, vfo, band, judged, active FROM band_hours
WHERE night = ? AND hour * 3600000 >= ? AND hour * 3600000 < ?"""

_HOURS_REST = """
SELECT hour, vfo, band, sum(judged) AS judged, sum(active) AS active
FROM (SELECT channel, key / 3600000 AS hour, sum(measured & 3 != 2) AS judged,
    sum(measured & 3 = 1) AS active
    FROM observations WHERE key >= ? AND key < ? GROUP BY channel, hour)
JOIN channels ON channels.id = channel WHERE NOT doubted GROUP BY hour, vfo, band"""


def channels(there: Cover) -> Query:
    """Rows of channel, visits, judged, active, best, level, square, first and last active.

    A channel may have several; see `upkeep` for what they mean. Times and `best` hold keys.
    """
    parts: list[Query] = [
        (_CHANNELS_SUMMED, [first << CHANNEL_BITS, (last + 1) << CHANNEL_BITS])
        for first, last in there.nights
    ]
    parts += [(_CHANNELS_REST, list(stretch)) for stretch in there.rest]
    return _together(parts, _CHANNELS_REST)


def hours(there: Cover) -> Query:
    """Rows of hour, vfo, band, judged, active; an hour may have several."""
    parts: list[Query] = [(_HOURS_SUMMED, list(some)) for some in there.nights]
    parts += [(_HOURS_CUT, [night, there.begin, there.end]) for night in there.cut]
    parts += [(_HOURS_REST, list(stretch)) for stretch in there.rest]
    return _together(parts, _HOURS_REST)


def _together(parts: list[Query], empty: str) -> Query:
    some = parts or [(empty, [0, 0])]
    values = [value for _, values in some for value in values]
    return " UNION ALL ".join(f"SELECT * FROM ({sql})" for sql, _ in some), values  # noqa: S608 - from above
