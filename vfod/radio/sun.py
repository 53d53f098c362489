"""Where the sun is, and when it next rises, sets or reaches a twilight.

Shortwave bands open and close with it.
An event is found from the elevation, by steps and bisection, as the next one after an instant and
never by its date: an almanac's sunset "of a date" may be that of the evening before, in another
zone.
Where the sun neither rises nor sets, or never gets as low as a twilight, there is no event, and the
answer is None.

Instants are Unix seconds, angles degrees; nothing here asks for the time.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from functools import lru_cache
from math import cos, radians

from astral import Observer
from astral.julian import julianday, julianday_to_juliancentury
from astral.sun import elevation as library_elevation
from astral.sun import eq_of_time

DAY = 86400.0

#: Zenith angle of the sun's centre when its upper limb is seen on the horizon: 90 degrees, 34' of
#: refraction and 16' of its own radius (docs/standards.md, section 5).
_RISE_AND_SET = 90.0 - 90.833

#: The library looks from the earth's centre; from its surface the sun at the horizon is 8.794
#: seconds of arc lower (IAU). Minutes of time where it only just reaches a twilight.
_PARALLAX = 8.794 / 3600

#: Six or seven steps are usual; of halves it takes sixteen.
_FAST_STEPS = 10

#: Seconds of time for a degree of longitude.
_SECONDS_PER_DEGREE = DAY / 360


class SunEvent(StrEnum):
    """What the sun does twice a day; `elevation` is that of its centre, without refraction."""

    ASTRONOMICAL_DAWN = "astronomical-dawn"
    NAUTICAL_DAWN = "nautical-dawn"
    CIVIL_DAWN = "civil-dawn"
    SUNRISE = "sunrise"
    SUNSET = "sunset"
    CIVIL_DUSK = "civil-dusk"
    NAUTICAL_DUSK = "nautical-dusk"
    ASTRONOMICAL_DUSK = "astronomical-dusk"

    @property
    def is_rising(self) -> bool:
        """Whether the sun comes up in it."""
        return self is SunEvent.SUNRISE or self.value.endswith("dawn")

    @property
    def elevation(self) -> float:
        """Degrees, negative below the horizon."""
        return _ELEVATIONS[self.value.partition("-")[0]]


_ELEVATIONS = {
    "sunrise": _RISE_AND_SET,
    "sunset": _RISE_AND_SET,
    "civil": -6.0,
    "nautical": -12.0,
    "astronomical": -18.0,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A place on the earth: degrees, north and east positive."""

    latitude: float
    longitude: float


def elevation(when: float, site: Site) -> float:
    """Elevation of the sun's centre in degrees, without refraction, to the whole second."""
    # With refraction the library would bend the horizon a second time: the angles above have it.
    at = datetime.fromtimestamp(when, UTC)
    seen = library_elevation(_observer(site), at, with_refraction=False)
    return seen - _PARALLAX * cos(radians(seen))


@lru_cache(maxsize=64)
def _observer(site: Site) -> Observer:
    return Observer(site.latitude, site.longitude)


@lru_cache(maxsize=4096)
def noon_near(when: float, site: Site) -> float:
    """The instant of the sun's highest stand in the solar day that `when` is in the middle of."""
    mean = DAY / 2 - site.longitude * _SECONDS_PER_DEGREE
    # Which day it is goes by the mean sun, so that a day is neither lost nor found twice.
    near = when + (mean - when + DAY / 2) % DAY - DAY / 2
    century = julianday_to_juliancentury(julianday(datetime.fromtimestamp(near, UTC)))
    return near - 60 * eq_of_time(century)


def next_event(event: SunEvent, after: float, site: Site, until: float) -> float | None:
    """The first such event after an instant and not later than `until`, to the second.

    None where there is none, in polar day and night above all.
    """
    turn = noon_near(after, site)
    if event.is_rising:
        turn -= DAY / 2
    # From the turning point before `after`: the way down from noon, or up from midnight.
    turn -= DAY
    while turn < until:
        begin, end = max(turn, after), min(turn + DAY / 2, until)
        turn += DAY
        if begin < end:
            found = _crossing(event, begin, end, site)
            if found is not None:
                return found
    return None


def _crossing(event: SunEvent, begin: float, end: float, site: Site) -> float | None:
    """Where the sun crosses the elevation between two turns, to the second.

    By false position, with the end that stays put given half its weight (the Illinois rule);
    by halves where that is slow, as it is near a turn.
    """
    sign = 1 if event.is_rising else -1

    def beyond(when: float) -> float:
        return sign * (elevation(when, site) - event.elevation)

    before, after = beyond(begin), beyond(end)
    if before >= 0 or after < 0:
        return None
    steps, moved = 0, 0
    while end - begin > 1:
        steps += 1
        part = before / (before - after) if steps <= _FAST_STEPS else 0.5
        # Never closer than a second to an end: what is left is then a second or most of it.
        middle = min(max(begin + part * (end - begin), begin + 0.5), end - 0.5)
        here = beyond(middle)
        if here >= 0:
            end, after = middle, here
            before, moved = (before / 2 if moved > 0 else before), 1
        else:
            begin, before = middle, here
            after, moved = (after / 2 if moved < 0 else after), -1
    return end


@lru_cache(maxsize=8192)
def event_of_day(event: SunEvent, noon: float, site: Site) -> float | None:
    """The event between the sun's noon nearest to an instant and its next one.

    Each solar day has each event once or not at all; remembered, because an agenda asks again and
    again for the same few hundred.
    """
    return next_event(event, noon_near(noon, site), site, noon_near(noon + DAY, site))
