"""Windows: when a sweep is due, resolved to instants.

A window belongs to the night it opens in, and its weekdays and dates are those of that night's
first date.
Moments become instants once, here, and all that follows is arithmetic on Unix seconds, so that
22:00 to 06:00 has its true 7, 8 or 9 hours.

`until` is the first such time after `from`.
Where the two are of different kinds, one drifts past the other in the course of the year: from
sunset until 21:00 is nothing in June, and not the 23 hours until tomorrow.
So what would be expected to last more than `LONGEST_MIXED` is taken to be of the same day, and the
window stays closed in nights where it would end before it begins.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import lru_cache
from zoneinfo import ZoneInfo

from vfod.errors import UsageError
from vfod.plan.dates import Season, Span
from vfod.plan.localtime import ONE_DAY, has_date, local, night_of
from vfod.plan.moments import (
    Lasting,
    Moment,
    SunTime,
    instant_in,
    position,
    remark_in,
    steady_noon,
    wall_in,
    words,
)
from vfod.radio.sun import DAY, Site
from vfod.units import format_duration

#: In the order of `datetime.date.weekday`.
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
EVERY_DAY = frozenset(range(7))

#: Windows in a night that are remembered, because whoever looks what is due asks for the same few
#: every some seconds: a week of a hundred windows.
_KEPT = 1000

#: Longest expected length of a window between moments of two kinds, seconds: sunset, expected at
#: six in the evening, is as early as two and as late as ten where most listeners live.
LONGEST_MIXED = 20 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Guest:
    """A sweep that shares a window with the window's own; one of the two is given.

    `every` is a revisit time to keep, in seconds: a pass is begun so often. `share` is a part of
    the window's time, from 0 to 1. The window's own sweep has what is left.
    """

    sweep: str
    every: float | None = None
    share: float | None = None

    def __post_init__(self) -> None:
        if (self.every is None) is (self.share is None):
            raise UsageError(
                f"sweep {self.sweep!r} beside another needs a revisit time or a share",
                remedy="write one of every: 2m and share: 30%",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A stretch of every chosen night in which `sweep` is due.

    `start` and `end` are moments, local ones in `zone`; two equal clock times are a whole day.
    A night is chosen by its weekday (0 is Monday), by being in one of `dates` if there are any, in
    none of `left_out`, and by the broadcast season at the opening. Where windows overlap, the
    higher `priority` has the dial, then the one listed first. `guests` are swept beside `sweep`.
    """

    name: str
    sweep: str
    start: Moment
    end: Moment | Lasting
    zone: ZoneInfo
    site: Site | None = None
    weekdays: frozenset[int] = EVERY_DAY
    dates: tuple[Span, ...] = ()
    left_out: tuple[Span, ...] = ()
    season: Season | None = None
    priority: int = 0
    guests: tuple[Guest, ...] = ()

    def __post_init__(self) -> None:
        if not self.weekdays or not self.weekdays <= EVERY_DAY:
            raise UsageError(
                f"window {self.name!r} has no weekdays",
                remedy=f"write some of {', '.join(WEEKDAYS)}, or leave them out for every night",
            )
        if self.site is None and any(isinstance(m, SunTime) for m in (self.start, self.end)):
            raise UsageError(
                f"window {self.name!r} goes by the sun, and the place is not known",
                remedy="write latitude and longitude under place",
            )
        if isinstance(self.end, Lasting) and not 0 < self.end.seconds <= DAY:
            raise UsageError(f"window {self.name!r} lasts no time or more than a day")

    def chooses(self, night: date) -> bool:
        """Whether weekdays and dates let it open in a night; the season is not asked."""
        return (
            night.weekday() in self.weekdays
            and (not self.dates or any(span.holds(night) for span in self.dates))
            and not any(span.holds(night) for span in self.left_out)
            and has_date(night, self.zone)
        )

    def in_night(self, night: date) -> "Occurrence | None":
        """The window in that night; None where it is not to open, or would end as it begins."""
        found = _bounds(self, night)
        if found is None or found[1] <= found[0]:
            return None
        opens, closes, written = found
        return Occurrence(window=self, night=night, opens=opens, closes=closes, written=written)

    def idle_in(self, night: date) -> "Idle | None":
        """That it was chosen in that night and does not open all the same, and why."""
        if not self.chooses(night):
            return None
        opens = self._opens(night)
        if opens is None:
            noon, _ = steady_noon(night, self.zone)
            reason = f"there is no {words(self.start)} in this night"
            return Idle(window=self, night=night, when=noon, reason=reason)
        found = _bounds(self, night)
        if found is None or found[1] > found[0]:
            return None
        start, end = (f"{local(when, self.zone):%H:%M}" for when in found[:2])
        reason = f"does not open, because it would begin at {start} and end at {end}"
        return Idle(window=self, night=night, when=opens, reason=reason)

    def end_night(self, night: date) -> date:
        """The night whose `end` is meant, for the window that opens in `night`."""
        assert not isinstance(self.end, Lasting)
        begins = position(self.start, night, self.zone)
        ends = position(self.end, night, self.zone)
        lasts = (ends - begins) % DAY
        if type(self.start) is type(self.end):
            # Of one kind: equal times are a whole day, equal events the same event.
            lasts = lasts or (0.0 if isinstance(self.start, SunTime) else DAY)
        elif lasts > LONGEST_MIXED:
            lasts -= DAY
        return night + (begins + lasts) // DAY * ONE_DAY

    def _opens(self, night: date) -> float | None:
        return instant_in(self.start, night, self.zone, self.site)

    def bounds(self, night: date) -> tuple[float, float, float] | None:
        """Opening, closing, and the length by the clock on the wall."""
        opens = self._opens(night) if self.chooses(night) else None
        if opens is None or (self.season is not None and not self.season.holds(opens)):
            return None
        if isinstance(self.end, Lasting):
            return self._until_again(night, opens, opens + self.end.seconds)
        other = self.end_night(night)
        closes = instant_in(self.end, other, self.zone, self.site)
        if closes is None:
            # The zone moved its clocks over it: as long as it is expected to be.
            expected = position(self.end, other, self.zone) - position(self.start, night, self.zone)
            closes = opens + expected % DAY
        if not (isinstance(self.start, time) and isinstance(self.end, time)):
            return self._until_again(night, opens, min(closes, opens + DAY))
        start, end = self.walls(night)
        written = (end - start).total_seconds()
        # Where both lie in the hour that the clocks leap over it keeps the length it was given,
        # because a window that is listed for a night shall come in that night.
        closes = opens + written if closes <= opens else closes
        return opens, self._until_again(night, opens, closes)[1], written

    def _until_again(self, night: date, opens: float, closes: float) -> tuple[float, float, float]:
        """It ends where it opens again, when the sun or the clocks moved that over its end."""
        again = self._opens(night + ONE_DAY) if self.chooses(night + ONE_DAY) else None
        closes = closes if again is None else min(closes, again)
        return opens, closes, closes - opens

    def walls(self, night: date) -> tuple[datetime, datetime]:
        """Start and end of a window between two clock times, whatever the clocks do."""
        start = wall_in(self.start, night, self.zone, self.site)
        assert not isinstance(self.end, Lasting)
        end = wall_in(self.end, self.end_night(night), self.zone, self.site)
        assert start is not None
        assert end is not None
        return start, end


@lru_cache(maxsize=_KEPT)
def _bounds(window: Window, night: date) -> tuple[float, float, float] | None:
    return window.bounds(night)


@dataclass(frozen=True, slots=True, kw_only=True)
class Idle:
    """A night in which a window was to open, at `when`, and does not."""

    window: Window
    night: date
    when: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Occurrence:
    """A window in one night; `written` is its length by the clock on the wall, seconds."""

    window: Window
    night: date
    opens: float
    closes: float
    written: float

    @property
    def length(self) -> float:
        """True length, seconds."""
        return self.closes - self.opens

    def remarks(self) -> tuple[str, ...]:
        """What the sun or a change of the clocks does to it, in words."""
        item = self.window
        found = [remark_in(item.start, self.night, item.zone, item.site)]
        if not isinstance(item.end, Lasting):
            found.append(remark_in(item.end, item.end_night(self.night), item.zone, item.site))
        if self.length != self.written:
            way = "forward" if self.length < self.written else "back"
            found.append(
                f"{format_duration(self.length)} instead of {format_duration(self.written)}, "
                f"because the clocks go {way} in this night"
            )
        return tuple(remark for remark in found if remark is not None)


def nights_between(since: float, until: float, zone: ZoneInfo) -> Sequence[date]:
    """Every night whose windows may share time with [since, until)."""
    # A window begins at most 18 hours before its noon (the sun's noon and the clock's may be half
    # a day apart, and an offset a quarter) and has ended three days after it.
    first = night_of(since, zone) - 3 * ONE_DAY
    count = (night_of(until, zone) + 2 * ONE_DAY - first).days
    return [first + place * ONE_DAY for place in range(count)]


def occurrences(windows: Sequence[Window], since: float, until: float) -> list[Occurrence]:
    """Every occurrence that shares time with [since, until), by opening, then as listed."""
    found = []
    for window in windows:
        for night in nights_between(since, until, window.zone):
            item = window.in_night(night)
            if item is not None and item.opens < until and item.closes > since:
                found.append(item)
    return sorted(found, key=lambda item: item.opens)
