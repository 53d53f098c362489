"""Moments: how a listener writes from when until when, and the instants of a night they mean.

    22:00           local clock time
    19:58 UTC       universal time, as broadcasters' schedules have it
    sunset+45m      an event of the sun at the listener's place, with an offset
    dusk or 23:00   what is meant where there is no such event (else the hours below)

A night runs from local noon to the next.
For a sun event its noon is the sun's own, and for universal time the zone's noon without summer
time, because both come every 24 hours: so every night has each of them once, whatever the clocks
do.
"""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from vfod.errors import QuantityError, UsageError
from vfod.plan.dates import parse_date
from vfod.plan.localtime import NOON, ONE_DAY, instant, is_skipped, is_twice, local, parse_clock
from vfod.radio.sun import DAY, Site, SunEvent, event_of_day
from vfod.units import parse_duration

#: Meant where the sun does not do what was asked for, local time: late enough for white nights,
#: and in the polar night as good as any.
EVENING, MORNING = time(22), time(4)

#: Hours after noon at which a sun event is taken to be when it is asked which of two times comes
#: first: six in the evening and six in the morning, as at the equinoxes.
_EVENING_AT, _MORNING_AT = 6 * 3600.0, 18 * 3600.0

#: Longest offset from a sun event, seconds: beyond a quarter of a day it is another time of day.
LONGEST_OFFSET = 6 * 3600.0

_SUN = re.compile(r"([a-z-]+?)(?: ?([-+]) ?([0-9][0-9a-z. ]*?))?(?: or ([0-9:]+))?")


@dataclass(frozen=True, slots=True)
class UtcTime:
    """A clock time of UTC."""

    at: time

    def __str__(self) -> str:
        return f"{self.at:%H:%M} UTC"


@dataclass(frozen=True, slots=True)
class SunTime:
    """An event of the sun; `offset` in seconds, `otherwise` local time where there is none."""

    event: SunEvent
    offset: float = 0.0
    otherwise: time | None = None

    def __post_init__(self) -> None:
        if not abs(self.offset) <= LONGEST_OFFSET:
            raise UsageError(
                f"an offset of more than {LONGEST_OFFSET / 3600:g} h from {self.event}",
                remedy="take another event, or a clock time",
            )

    @property
    def fallback(self) -> time:
        """Local time that is meant where there is no such event."""
        if self.otherwise is not None:
            return self.otherwise
        return MORNING if self.event.is_rising else EVENING

    def __str__(self) -> str:
        sign = "-" if self.offset < 0 else "+"
        offset = f"{sign}{abs(self.offset) / 60:g}m" if self.offset else ""
        otherwise = f" or {self.otherwise:%H:%M}" if self.otherwise else ""
        return f"{self.event}{offset}{otherwise}"


#: When a window opens, and one way to say when it closes; a bare `time` is local.
Moment = time | UtcTime | SunTime


@dataclass(frozen=True, slots=True)
class Lasting:
    """The other way to say when a window closes: so many seconds after it opened."""

    seconds: float


def parse_moment(text: str) -> Moment:
    """A moment as written at the head of this file; UsageError otherwise."""
    text = text.strip()
    bare = text.removesuffix("Z").removesuffix("UTC").rstrip()
    if bare[:1].isdigit():
        clock = parse_clock(bare)
        return clock if bare == text else UtcTime(clock)
    found = _SUN.fullmatch(text)
    if found is None or found[1] not in set(SunEvent):
        raise UsageError(
            f"{text[:40]!r} is no time",
            remedy="write 22:00, 19:58 UTC, or sunset+45m with one of " + ", ".join(SunEvent),
        )
    try:
        offset = parse_duration(found[3]) if found[3] else 0.0
    except QuantityError as error:
        raise UsageError(f"{error.message} after {found[1]}", remedy="write sunset+45m") from None
    otherwise = parse_clock(found[4]) if found[4] else None
    return SunTime(SunEvent(found[1]), -offset if found[2] == "-" else offset, otherwise)


def parse_appointment(text: str) -> tuple[date, time | UtcTime]:
    """A calendar date and a clock time, local or UTC: `2026-11-25 19:58 UTC`; else UsageError."""
    day, _, clock = text.strip().partition(" ")
    if not clock:
        raise UsageError(
            f"{text[:40]!r} is no date with a clock time", remedy="write 2026-11-25 19:58 UTC"
        )
    found = parse_date(day), parse_moment(clock)
    if isinstance(found[1], SunTime):
        raise UsageError("the sun is not asked for one date", remedy="write 2026-11-25 19:58 UTC")
    return found[0], found[1]


def words(moment: Moment) -> str:
    """A moment as a person writes it."""
    return f"{moment:%H:%M}" if isinstance(moment, time) else str(moment)


# --- in a night ----------------------------------------------------------------------------------


@lru_cache(maxsize=8192)
def steady_noon(night: date, zone: ZoneInfo) -> tuple[float, float]:
    """Noon of a night by the zone's clocks without summer time, and their offset, seconds."""
    noon = datetime.combine(night, NOON, zone)
    offset = (noon.utcoffset() or timedelta()) - (noon.dst() or timedelta())
    seconds = offset.total_seconds()
    return datetime.combine(night, NOON, UTC).timestamp() - seconds, seconds


def position(moment: Moment, night: date, zone: ZoneInfo) -> float:
    """Seconds after noon at which a moment is to be expected, 0 to a day."""
    if isinstance(moment, SunTime):
        return _MORNING_AT if moment.event.is_rising else _EVENING_AT
    if isinstance(moment, UtcTime):
        return (_of_day(moment.at) + steady_noon(night, zone)[1] - _of_day(NOON)) % DAY
    return (_of_day(moment) - _of_day(NOON)) % DAY


def wall_in(moment: Moment, night: date, zone: ZoneInfo, site: Site | None) -> datetime | None:
    """The wall time that a moment is in that night, where it is one: a clock time, a fallback."""
    if isinstance(moment, SunTime):
        if event_in(moment, night, zone, site) is not None:
            return None
        clock = moment.fallback
        expected = position(moment, night, zone)
        # The fallback on that side of noon which is nearer to where the event is expected.
        days = round((expected - position(clock, night, zone)) / DAY)
        return wall_in(clock, night + days * ONE_DAY, zone, site)
    if isinstance(moment, UtcTime):
        return None
    return datetime.combine(night if moment >= NOON else night + ONE_DAY, moment)


def event_in(moment: SunTime, night: date, zone: ZoneInfo, site: Site | None) -> float | None:
    """The instant of the event itself, without the offset; None where there is none."""
    assert site is not None, "a window with sun events has a site"
    return event_of_day(moment.event, steady_noon(night, zone)[0], site)


def instant_in(moment: Moment, night: date, zone: ZoneInfo, site: Site | None) -> float | None:
    """The instant that a moment means in a night.

    None only where a zone moved its clocks for good over a time of UTC.
    """
    wall = wall_in(moment, night, zone, site)
    if wall is not None:
        return instant(wall, zone)
    if isinstance(moment, SunTime):
        event = event_in(moment, night, zone, site)
        return None if event is None else event + moment.offset
    assert isinstance(moment, UtcTime)
    noon, _ = steady_noon(night, zone)
    found = noon + (_of_day(moment.at) - noon) % DAY
    return found if found < steady_noon(night + ONE_DAY, zone)[0] else None


def night_with(day: date, moment: time | UtcTime, zone: ZoneInfo) -> date:
    """The night in which a clock time falls on that date: of the zone, or of UTC."""
    if isinstance(moment, time):
        return day if moment >= NOON else day - ONE_DAY
    meant = datetime.combine(day, moment.at, UTC).timestamp()
    near = (day + days * ONE_DAY for days in (-1, 0, 1))
    # The last one is what is left where a zone moved its clocks over it: the window says so.
    return next((n for n in near if instant_in(moment, n, zone, None) == meant), day)


def remark_in(moment: Moment, night: date, zone: ZoneInfo, site: Site | None) -> str | None:
    """What is not as written in that night, in words."""
    wall = wall_in(moment, night, zone, site)
    if wall is None:
        return None
    meant = local(instant(wall, zone), zone)
    if isinstance(moment, SunTime):
        return f"there is no {str(moment.event).replace('-', ' ')}, {meant:%H:%M} is meant"
    if is_skipped(wall, zone):
        return f"there is no {wall:%H:%M} in this night, {meant:%H:%M} is meant"
    if is_twice(wall, zone):
        return f"{wall:%H:%M} comes twice in this night, the first is meant"
    return None


def _of_day(clock: time) -> float:
    return clock.hour * 3600.0 + clock.minute * 60 + clock.second
