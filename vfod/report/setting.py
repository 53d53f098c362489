"""What a report is about: which night of which VFO, seen from where, held against which lists."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from vfod.plan.localtime import NOON, instant, local
from vfod.plan.stations import Station
from vfod.plan.sweep import Sweep
from vfod.plan.windows import Window
from vfod.radio.bands import Band
from vfod.radio.sun import Site, SunEvent, next_event

#: Told while a report is made: what is being done, and how far it is, 0 to 1.
Progress = Callable[[str, float], None]


def silent(what: str, part: float) -> None:
    """For those who do not wait."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Setting:
    """The listener's side of a report.

    `stations` is None where no list is named, `site` where the place is not known. `windows` and
    `sweeps` are those of this VFO in the configuration. `now` is the wall clock: a night may not
    be over.
    """

    vfo: str
    zone: ZoneInfo
    now: float
    site: Site | None = None
    windows: tuple[Window, ...] = ()
    sweeps: tuple[Sweep, ...] = ()
    bands: tuple[Band, ...] = ()
    stations: tuple[Station, ...] | None = None


def bounds(night: date, zone: ZoneInfo) -> tuple[float, float]:
    """A night in Unix seconds: from local noon to the next, 23 to 25 hours."""
    after = night + timedelta(days=1)
    return (
        instant(datetime.combine(night, NOON), zone),
        instant(datetime.combine(after, NOON), zone),
    )


def sun(site: Site | None, begins: float, ends: float) -> dict[SunEvent, float]:
    """Sunset and sunrise between two instants, as far as there are any."""
    if site is None:
        return {}
    found = {
        event: next_event(event, begins, site, ends)
        for event in (SunEvent.SUNSET, SunEvent.SUNRISE)
    }
    return {event: when for event, when in found.items() if when is not None}


def clock_change(begins: float, ends: float, zone: ZoneInfo) -> tuple[float, float] | None:
    """When the clocks of the zone change between two instants, and by how many seconds."""

    def offset(when: float) -> float:
        shift = local(when, zone).utcoffset()
        return shift.total_seconds() if shift else 0.0

    first = offset(begins)
    by = offset(ends) - first
    if not by:
        return None
    before, after = int(begins), int(ends)
    while after - before > 1:
        middle = (before + after) // 2
        before, after = (middle, after) if offset(middle) == first else (before, middle)
    return float(after), by


def clock_text(when: float, zone: ZoneInfo, *, seconds: bool = False) -> str:
    """Local time of day: `22:04`."""
    return f"{local(when, zone):%H:%M:%S}" if seconds else f"{local(when, zone):%H:%M}"


def utc_text(when: float) -> str:
    """`2026-11-25 22:04 UTC`."""
    return f"{datetime.fromtimestamp(when, UTC):%Y-%m-%d %H:%M} UTC"
