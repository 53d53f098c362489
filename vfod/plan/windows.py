"""Windows: when a sweep is due, resolved from local clock times to instants.

A window belongs to the night it opens in, and its weekdays are those of that night's date.
Local times become instants once, here, and all that follows is arithmetic on Unix seconds, so
that 22:00 to 06:00 has its true 7, 8 or 9 hours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from vfod.errors import UsageError
from vfod.plan.localtime import (
    NOON,
    ONE_DAY,
    has_date,
    instant,
    is_skipped,
    is_twice,
    local,
    night_of,
)
from vfod.units import format_duration

#: In the order of `datetime.date.weekday`.
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
EVERY_DAY = frozenset(range(7))


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A stretch of every chosen night in which `sweep` is due.

    `start` and `end` are local clock times in `zone`; the end is the first such time after the
    start, so equal ones mean a whole day. `weekdays` counts from Monday, 0.
    """

    name: str
    sweep: str
    start: time
    end: time
    zone: ZoneInfo
    weekdays: frozenset[int] = EVERY_DAY

    def __post_init__(self) -> None:
        if not self.weekdays or not self.weekdays <= EVERY_DAY:
            raise UsageError(
                f"window {self.name!r} has no weekdays",
                remedy=f"write some of {', '.join(WEEKDAYS)}, or leave them out for every night",
            )

    def walls(self, night: date) -> tuple[datetime, datetime]:
        """Start and end in a night as wall times, whatever the clocks do."""
        start = datetime.combine(night if self.start >= NOON else night + ONE_DAY, self.start)
        day = start.date() if self.end > self.start else start.date() + ONE_DAY
        return start, datetime.combine(day, self.end)

    def in_night(self, night: date) -> "Occurrence | None":
        """The window in that night; None where its weekdays or the zone leave the night out."""
        if night.weekday() not in self.weekdays or not has_date(night, self.zone):
            return None
        start, end = self.walls(night)
        opens, closes = instant(start, self.zone), instant(end, self.zone)
        written = (end - start).total_seconds()
        if closes <= opens:
            # It lies in the hour that the clocks leap over: it keeps the length it was given,
            # because a window that is listed for a night shall come in that night.
            closes = opens + written
        return Occurrence(window=self, night=night, opens=opens, closes=closes, written=written)


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
        """What a change of the clocks does to it, in words."""
        zone = self.window.zone
        found = []
        for wall in self.window.walls(self.night):
            if is_skipped(wall, zone):
                meant = local(instant(wall, zone), zone)
                found.append(f"there is no {wall:%H:%M} in this night, {meant:%H:%M} is meant")
            elif is_twice(wall, zone):
                found.append(f"{wall:%H:%M} comes twice in this night, the first is meant")
        if self.length != self.written:
            way = "forward" if self.length < self.written else "back"
            found.append(
                f"{format_duration(self.length)} instead of {format_duration(self.written)}, "
                f"because the clocks go {way} in this night"
            )
        return tuple(found)


def occurrences(windows: Sequence[Window], since: float, until: float) -> list[Occurrence]:
    """Every occurrence that shares time with [since, until), by opening, then as listed."""
    found = []
    for window in windows:
        # An occurrence begins inside its night and lasts at most a day and a change of clocks.
        night = night_of(since, window.zone) - 2 * ONE_DAY
        last = night_of(until, window.zone) + ONE_DAY
        while night <= last:
            item = window.in_night(night)
            if item is not None and item.opens < until and item.closes > since:
                found.append(item)
            night += ONE_DAY
    return sorted(found, key=lambda item: item.opens)
