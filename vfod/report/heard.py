"""Who was heard: the visits of a night held against bands, the list of stations, earlier nights.

One active visit alone may be a click of the neighbour's heating; what is said to have been there
was active at two visits in a row.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from vfod.plan.stations import Station, expected, named
from vfod.report.facts import Channel, Expected, Gap, Hourly, OpenBand, Stations, Unknown
from vfod.store import ChannelSummary
from vfod.store.sums import Cell, ChannelNight, Extent, Spell
from vfod.survey.band import band_by_parts, of_band
from vfod.survey.occupancy import Occupancy, Visit, by_parts, occupancy

#: Active visits of a band in a spell below which it was not open, only something flickered.
LEAST_IN_SPELL = 3
#: Judged visits of earlier nights below which nothing can be said to be new.
LEAST_EARLIER = 5
#: Lines of a list of the best.
MOST = 8
#: A broadcast may begin and end this much beside the list, seconds.
SLACK = 120.0

_HOUR = 3600.0

Visits = Mapping[int, Sequence[Visit]]


def lasting(visits: Sequence[Visit]) -> bool:
    """Whether two visits in a row were active."""
    return any(a.active and b.active for a, b in pairwise(visits))


def half_raster(dials: Iterable[int]) -> int:
    """How far from a channel a station may be to be heard on it, hertz."""
    rising = sorted(set(dials))
    gaps = [b - a for a, b in pairwise(rising) if b - a >= 1000]
    return min(min(gaps, default=5000), 10_000) // 2


def channels(
    sums: Sequence[ChannelNight],
    visits: Visits,
    begins: float,
    ends: float,
    stations: Sequence[Station],
) -> tuple[Channel, ...]:
    """Each channel with its occupancy and the names of the list."""
    within = half_raster(one.dial for one in sums)
    return tuple(
        Channel(
            sums=one,
            occupancy=occupancy(visits.get(one.dial, ()), begins, ends),
            names=tuple(named(stations, one.dial, begins, ends, within)),
        )
        for one in sums
    )


def bands(
    sums: Sequence[ChannelNight], visits: Visits, begins: float, ends: float
) -> dict[str, Occupancy]:
    """How much of each band was occupied: active channels and time, over all of them."""
    return {name: of_band(seen, begins, ends) for name, seen in _by_band(sums, visits).items()}


def hourly(sums: Sequence[ChannelNight], visits: Visits, frame: tuple[float, float]) -> Hourly:
    """The same by the hour, and for the channels that were found active; `frame` in whole hours."""
    count = round((frame[1] - frame[0]) / _HOUR)
    edges = tuple(frame[0] + _HOUR * hour for hour in range(count + 1))
    return Hourly(
        edges=edges,
        bands={
            name: tuple(band_by_parts(seen, edges)) for name, seen in _by_band(sums, visits).items()
        },
        channels={one.dial: tuple(by_parts(visits[one.dial], edges)) for one in sums if one.active},
    )


def _by_band(sums: Sequence[ChannelNight], visits: Visits) -> dict[str, list[Sequence[Visit]]]:
    names = sorted({one.band for one in sums if one.band is not None})
    return {name: [visits[one.dial] for one in sums if one.band == name] for name in names}


def strongest(found: Sequence[Channel], visits: Visits) -> tuple[Channel, ...]:
    """The strongest of those that lasted."""
    lasted = [c for c in found if c.sums.strongest is not None and lasting(visits[c.sums.dial])]
    return tuple(sorted(lasted, key=lambda c: -(c.sums.strongest or 0.0))[:MOST])


def fresh(
    found: Sequence[Channel], visits: Visits, earlier: Sequence[ChannelSummary]
) -> tuple[Channel, ...] | None:
    """Those that lasted and never were active on earlier nights; None where nobody looked then."""
    judged: dict[int, int] = {}
    active: dict[int, int] = {}
    for one in earlier:
        judged[one.dial] = judged.get(one.dial, 0) + one.judged_visits
        active[one.dial] = active.get(one.dial, 0) + one.active_visits
    if not any(judged.values()):
        return None
    new = [
        channel
        for channel in found
        if judged.get(channel.sums.dial, 0) >= LEAST_EARLIER
        and not active[channel.sums.dial]
        and lasting(visits.get(channel.sums.dial, ()))
    ]
    return tuple(sorted(new, key=lambda c: -(c.sums.strongest or 0.0)))


def open_bands(
    spells: Sequence[Spell],
    extents: Mapping[str | None, Extent],
    gaps: Sequence[Gap],
    pause: float,
    revisit: float,
) -> tuple[OpenBand, ...]:
    """The spells that were more than a flicker, and whether their ends are the sweep's own.

    A gap closes no band: spells with less than `pause` of watched time between them are one.
    """
    joined: dict[str, list[Spell]] = {}
    for spell in spells:
        found = joined.setdefault(spell.band, [])
        last = found[-1] if found else None
        if last is not None and _watched(last.ends, spell.begins, gaps) <= pause:
            found[-1] = replace(last, ends=spell.ends, active=last.active + spell.active)
        else:
            found.append(spell)
    near = max(60.0, 1.5 * revisit)
    spells = sorted((one for found in joined.values() for one in found), key=lambda s: s.begins)
    return tuple(
        OpenBand(
            spell=spell,
            from_the_start=spell.begins <= extents[spell.band].begins + near,
            to_the_end=spell.ends >= extents[spell.band].ends - near,
        )
        for spell in spells
        if spell.active >= LEAST_IN_SPELL
    )


def _watched(begins: float, ends: float, gaps: Sequence[Gap]) -> float:
    lost = sum(max(0.0, min(ends, gap.ends) - max(begins, gap.begins)) for gap in gaps)
    return ends - begins - lost


def stations(
    listed: Sequence[Station],
    visits: Visits,
    cells: Sequence[Cell],
    frame: tuple[float, float, float],
) -> Stations:
    """The list held against the visits; `frame` is begin and end, and the width of a column."""
    begins, ends, column = frame
    within = half_raster(visits)
    heard: list[Expected] = []
    not_heard: list[Expected] = []
    not_looked: list[Expected] = []
    spans: dict[int, list[tuple[float, float]]] = {dial: [] for dial in visits}
    for one in expected(listed, begins, ends):
        since, until = one.begins, one.ends
        judged = active = 0
        near = [dial for dial in visits if abs(dial - one.frequency) <= within]
        for dial in near:
            spans[dial].append((since - SLACK, until + SLACK))
            inside = [visit for visit in visits[dial] if since <= visit.time <= until]
            judged += len(inside)
            active += sum(visit.active is True for visit in inside)
        item = Expected(
            name=one.name,
            frequency=one.frequency,
            begins=since,
            ends=until,
            judged=judged,
            active=active,
            strongest=max(
                (
                    cell.level
                    for cell in cells
                    if cell.dial in near
                    and cell.active
                    and cell.level is not None
                    and since <= begins + (cell.column + 0.5) * column <= until
                ),
                default=None,
            ),
        )
        # Of few visits one is enough, of many one may be chance.
        is_heard = active >= 2 or (active == 1 and judged <= 5)
        (heard if is_heard else not_heard if judged else not_looked).append(item)
    return Stations(
        listed=len(listed),
        heard=tuple(heard),
        not_heard=tuple(not_heard),
        not_looked=tuple(not_looked),
        unknown=tuple(_unknown(visits, spans)),
    )


def _unknown(visits: Visits, spans: Mapping[int, Sequence[tuple[float, float]]]) -> list[Unknown]:
    found = []
    for dial, looked in visits.items():
        others = [
            visit
            for visit in looked
            if not any(since <= visit.time <= until for since, until in spans[dial])
        ]
        if lasting(others):
            times = [visit.time for visit in others if visit.active]
            found.append(Unknown(dial=dial, active=len(times), first=times[0], last=times[-1]))
    return sorted(found, key=lambda one: -one.active)
