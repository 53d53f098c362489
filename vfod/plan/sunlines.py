"""The sun of a night beside its windows: when it sets, when it is dark, when it rises."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from vfod.plan.localtime import NOON, ONE_DAY, instant, local, night_of
from vfod.plan.windows import Window
from vfod.radio.sun import DAY, Site, SunEvent, next_event


@dataclass(frozen=True, slots=True, kw_only=True)
class SunOfNight:
    """The events between local noon and the next; one that the sun does not reach is left out."""

    night: date
    zone: ZoneInfo
    events: tuple[tuple[SunEvent, float], ...]

    def __str__(self) -> str:
        """`sun in the night of 2026-11-25: sunset 15:58, ...`, local times."""
        times = ", ".join(
            f"{str(event).replace('-', ' ')} {local(round(when / 60) * 60, self.zone):%H:%M}"
            for event, when in self.events
        )
        return f"sun in the night of {self.night.isoformat()}: {times or 'neither sets nor rises'}"


def suns(windows: Sequence[Window], since: float, until: float) -> list[SunOfNight]:
    """Of each night that shares time with [since, until); none where no window knows the place."""
    known = next((window for window in windows if window.site is not None), None)
    if known is None or known.site is None:
        return []
    night, last = night_of(since, known.zone), night_of(until - 1, known.zone)
    found = []
    while night <= last:
        found.append(_sun(night, known.zone, known.site))
        night += ONE_DAY
    return found


def _sun(night: date, zone: ZoneInfo, site: Site) -> SunOfNight:
    noon = instant(datetime.combine(night, NOON), zone)
    events = [(event, next_event(event, noon, site, noon + DAY)) for event in SunEvent]
    there = [(event, when) for event, when in events if when is not None]
    there.sort(key=lambda item: item[1])
    return SunOfNight(night=night, zone=zone, events=tuple(there))
