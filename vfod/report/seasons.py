"""Many nights: which band was open at which hour, by the clock and by the sun, and what changed.

A night is one sample: visits of one hour know of each other, nights hardly. So what is counted is
on how many nights a band was open in an hour, and intervals are those of so many nights.
Hours by the sun are counted from each night's own sunset, so that what only moved with the evening
stands still there.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from vfod.plan.localtime import local, night_of
from vfod.radio.sun import SunEvent
from vfod.report.setting import Progress, Setting, bounds, silent, sun
from vfod.store import ChannelSummary, Reader
from vfod.survey.intervals import wilson

#: Active visits of a band in an hour for it to count as open then: one alone may be a click.
OPEN = 2
#: Nights in each of the two parts that are compared, below which nothing is said of a change.
LEAST_NIGHTS = 3
#: Judged visits of a channel in each part, and active ones in one of them, to say that it came.
LEAST_JUDGED, LEAST_ACTIVE = 10, 3
#: Hours that are named as a band's best.
BEST = 3

_HOUR = 3600.0
_PIECE = 7 * 86400.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Seen:
    """The visits of a band in an hour of one night."""

    judged: int = 0
    active: int = 0

    @property
    def share(self) -> float:
        """Of the visits that could be judged."""
        return self.active / self.judged

    def __add__(self, other: "Seen") -> "Seen":
        return Seen(judged=self.judged + other.judged, active=self.active + other.active)


@dataclass(frozen=True, kw_only=True, slots=True)
class Nights:
    """On how many nights a band was looked at in an hour, and on how many of them it was open."""

    looked: int
    open: int

    @property
    def interval(self) -> tuple[float, float]:
        """Of the share of nights, 95 % confidence (Wilson)."""
        return wilson(self.open / self.looked, self.looked)


#: A band, a night and an hour → its visits.
Hours = Mapping[tuple[str, date, int], Seen]


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """An hour of a band in the earlier and in the later part of the nights."""

    band: str
    hour: int
    earlier: Nights
    later: Nights


@dataclass(frozen=True, kw_only=True, slots=True)
class Season:
    """Nights from `since` to `until` (the last one).

    `by_clock` has local hours (0 to 23), `by_sun` whole hours after sunset, negative before it;
    it is empty where the place is not known. `came` and `went` are channels. `parts` are the
    numbers of nights compared, zeros where there are too few.
    """

    setting: Setting
    since: date
    until: date
    nights: tuple[date, ...]
    bands: tuple[str, ...]
    by_clock: Hours
    by_sun: Hours
    parts: tuple[int, int]
    clock_changes: tuple[Change, ...]
    sun_changes: tuple[Change, ...]
    came: tuple[ChannelSummary, ...]
    went: tuple[ChannelSummary, ...]


def gather_nights(
    reader: Reader, setting: Setting, since: date, until: date, progress: Progress = silent
) -> Season:
    """The season; read a week at a time, so that no one waits for the file."""
    begins, ends = bounds(since, setting.zone)[0], bounds(until, setting.zone)[1]
    by_clock: dict[tuple[str, date, int], Seen] = {}
    by_sun: dict[tuple[str, date, int], Seen] = {}
    sunsets: dict[date, float | None] = {}
    when = begins
    while when < ends:
        progress("the hours", 0.8 * (when - begins) / (ends - begins))
        after = min(ends, when + _PIECE)
        for one in reader.sums(since=when, until=after, vfo=setting.vfo).hours():
            if one.band is None or not one.judged:
                continue
            start = max(one.hour * _HOUR, begins)
            night = night_of(start, setting.zone)
            seen = Seen(judged=one.judged, active=one.active)
            key = one.band, night, local(start, setting.zone).hour
            by_clock[key] = by_clock.get(key, Seen()) + seen
            if night not in sunsets:
                there = sun(setting.site, *bounds(night, setting.zone))
                sunsets[night] = there.get(SunEvent.SUNSET)
            sunset = sunsets[night]
            if sunset is not None:
                key = one.band, night, math.floor((start + _HOUR / 2 - sunset) / _HOUR)
                by_sun[key] = by_sun.get(key, Seen()) + seen
        when = after
    nights = tuple(sorted({night for _, night, _ in by_clock}))
    third = len(nights) // 3
    early, late = nights[:third], nights[len(nights) - third :]
    if third < LEAST_NIGHTS:
        early = late = ()
    progress("what came and went", 0.8)
    came, went = _channels(reader, setting, early, late)
    progress("done", 1.0)
    return Season(
        setting=setting,
        since=since,
        until=until,
        nights=nights,
        bands=tuple(sorted({band for band, _, _ in by_clock}, key=lambda b: _low(setting, b))),
        by_clock=by_clock,
        by_sun=by_sun,
        parts=(len(early), len(late)),
        clock_changes=_changes(by_clock, early, late),
        sun_changes=_changes(by_sun, early, late),
        came=came,
        went=went,
    )


def over_nights(
    hours: Hours, nights: Sequence[date] | None = None
) -> dict[tuple[str, int], Nights]:
    """By band and hour: on how many of the nights looked at, and open."""
    chosen = None if nights is None else set(nights)
    found: dict[tuple[str, int], Nights] = {}
    for (band, night, hour), seen in hours.items():
        if chosen is None or night in chosen:
            before = found.get((band, hour), Nights(looked=0, open=0))
            found[band, hour] = Nights(
                looked=before.looked + 1, open=before.open + (seen.active >= OPEN)
            )
    return found


def best_hours(hours: Hours, band: str) -> list[tuple[int, Nights]]:
    """The hours in which a band was open most surely, then most busily, the best first."""
    total: dict[int, Seen] = {}
    for (name, _, hour), seen in hours.items():
        if name == band:
            total[hour] = total.get(hour, Seen()) + seen
    nights = over_nights(hours)
    found = [hour for hour in total if nights[band, hour].open]
    found.sort(key=lambda hour: (-nights[band, hour].interval[0], -total[hour].share, hour))
    return [(hour, nights[band, hour]) for hour in found[:BEST]]


def _changes(hours: Hours, early: Sequence[date], late: Sequence[date]) -> tuple[Change, ...]:
    """Hours whose intervals of the two parts do not meet."""
    if not early:
        return ()
    before, after = over_nights(hours, early), over_nights(hours, late)
    found = [
        Change(band=band, hour=hour, earlier=before[band, hour], later=after[band, hour])
        for band, hour in sorted(before.keys() & after.keys())
    ]
    return tuple(
        one
        for one in found
        if one.earlier.interval[1] < one.later.interval[0]
        or one.later.interval[1] < one.earlier.interval[0]
    )


def _channels(
    reader: Reader, setting: Setting, early: Sequence[date], late: Sequence[date]
) -> tuple[tuple[ChannelSummary, ...], tuple[ChannelSummary, ...]]:
    """Channels that were active in one part and never in the other, though they were visited."""
    if not early:
        return (), ()
    parts = []
    for nights in (early, late):
        since, until = bounds(nights[0], setting.zone)[0], bounds(nights[-1], setting.zone)[1]
        found = reader.channels(since=since, until=until, vfo=setting.vfo)
        parts.append({one.dial: one for one in found if one.judged_visits >= LEAST_JUDGED})
    before, after = parts

    def only(one: Mapping[int, ChannelSummary], other: Mapping[int, ChannelSummary]) -> list[int]:
        return [
            dial
            for dial in sorted(one.keys() & other.keys())
            if one[dial].active_visits >= LEAST_ACTIVE and not other[dial].active_visits
        ]

    return (
        tuple(after[dial] for dial in only(after, before)),
        tuple(before[dial] for dial in only(before, after)),
    )


def _low(setting: Setting, band: str) -> tuple[int, str]:
    edges = {one.name: one.low for one in reversed(setting.bands)}
    return edges.get(band, 0), band


def week_of(night: date) -> date:
    """The Monday of a night's week."""
    return date.fromordinal(night.toordinal() - night.weekday())
