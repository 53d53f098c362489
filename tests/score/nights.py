"""Nights with a known truth: which channels carried something, and what was made of it.

Truth is "level above threshold at the antenna": the stations in the channel, with the noise, at
least the margin above the noise, by the simulated air itself, looked at every five seconds.
Of sound the threshold at the antenna is where its figure rises by the margin, by theory.
"""

import random
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from math import sqrt, tanh
from statistics import fmean, pvariance

from tests.score.detection import noise_bandwidth
from tests.score.receivers import CHANNELS, Kind, kinds
from tests.score.theories import theories
from tests.score.walk import walk
from vfod.radio.levels import Source
from vfod.sim.air import Air
from vfod.sim.scenario import Cycle, Fading, Floor, FloorBand, Scenario, Station
from vfod.survey.band import band_by_parts, of_band
from vfod.survey.occupancy import Occupancy, Scored, Visit, occupancy

#: 2026-11-25 18:00 UTC; every night is the next one.
START = 1_795_629_600.0
DAY = 86_400.0
#: How often the truth is looked at, seconds: each change-over is known to half of it.
LOOK = 5.0
BANDWIDTH = 5000
#: Stations are off their channel by so much at most, hertz.
OFF = 20
_NOISE = -105.0

#: How many channels there are of each class.
CLASSES = {
    **{"silent": 5, "steady": 4, "slow": 5, "fast": 5},
    **{"regular": 1, "in step": 3, "fading": 1},
}
#: Those in which both intervals are promised. "regular" and "in step" come and go by a clock, the
#: latter's period a multiple of the revisit time or nearly so: this night is promised there, all
#: nights only not to be too narrow. "fading" is a steady station whose level itself crosses the
#: threshold, and is shown apart.
PROMISED = ("silent", "steady", "slow", "fast")


@dataclass(frozen=True, kw_only=True)
class Channel:
    """A channel-night of `length` seconds: the truth and the figures.

    `share` is None where none was drawn.
    `limit` is the width, in revisit times, that theory allows where the rates of coming and going
    are known and only what is between the visits is not; None where it comes and goes by a clock.
    """

    kind: str
    of: str
    length: float
    truth: float
    share: float | None
    limit: float | None
    it: Occupancy
    seen: list[Visit]
    truly: list[bool]

    @property
    def visits(self) -> list[tuple[bool, bool | None]]:
        """What was there at each visit, and what it was taken for."""
        return list(zip(self.truly, (visit.active for visit in self.seen), strict=True))


@dataclass(frozen=True, kw_only=True)
class Band:
    """The promised channels of a night as a band; the truths are the means of theirs.

    `it` has the figures of the night, `hours` those hour by hour.
    """

    kind: str
    length: float
    truth: float
    share: float
    it: Occupancy
    hours: list[Occupancy]


@dataclass(frozen=True, kw_only=True)
class Night:
    """One night through one receiver."""

    channels: list[Channel]
    band: Band


@cache
def needed(kind: Kind) -> float:
    """How strong a station must be to count, over the noise in BANDWIDTH (linear)."""
    if kind.source is Source.BOX:
        return float(10 ** (kind.margin.active / 10)) - 1
    _, own = theories(replace(kind, source=Source.AUDIO))
    ratio = own.crossing(own.at_margin(kind.margin.active), 0.5)
    return float(10 ** (ratio / 10)) * noise_bandwidth(kind) / BANDWIDTH


def scored(kind: Kind, nights: int) -> Scored:
    """How often the detector is right, by nights of their own: on steady and silent channels.

    The false alarms' spread from channel to channel is what is more than chance.
    """
    channels = [channel for k in range(nights) for channel in night(kind, 10_000 + k).channels]
    told = {
        name: [
            [visit.active for visit in one.seen if visit.active is not None]
            for one in channels
            if one.of == name
        ]
        for name in ("steady", "silent")
    }
    detection, false_alarm = (sum(map(sum, each)) / sum(map(len, each)) for each in told.values())
    rates = [sum(one) / len(one) for one in told["silent"]]
    by_chance = false_alarm * (1 - false_alarm) / fmean(map(len, told["silent"]))
    return Scored(
        detection=detection,
        false_alarm=false_alarm,
        uneven=sqrt(max(0.0, pvariance(rates) - by_chance)),
    )


def night(kind: Kind, seed: int) -> Night:
    """One night of every class, heard through one receiver, corrected as that one scored."""
    rng = random.Random(seed)
    start = START + DAY * (seed % 300)
    classes = [name for name, count in CLASSES.items() for _ in range(count)]
    rng.shuffle(classes)
    stations, shares, limits = [], dict[int, float | None](), dict[int, float | None]()
    revisit = kind.visit * len(CHANNELS)
    own = {one.frequency for one in kind.setup.own_signals}
    for dial, name in zip(CHANNELS, classes, strict=True):
        shares[dial] = limits[dial] = None
        if name != "silent" and dial not in own:
            station, shares[dial] = _station(rng, dial, name, revisit)
            stations.append(station)
            limits[dial] = _limit(station.cycle, revisit, kind.night)
    hours = {0: _NOISE, 18: _NOISE - 3, 22: _NOISE + 3}
    band = FloorBand(low=7_100_000, high=7_500_000, hours=hours)
    air = Air(
        Scenario(floor=Floor(bandwidth=BANDWIDTH, bands=(band,)), stations=tuple(stations)), seed
    )
    end = start + kind.night
    looks = [start + (k + 0.5) * LOOK for k in range(int(kind.night / LOOK))]
    enough = [needed(kind) * BANDWIDTH * air.noise(CHANNELS[0], time) for time in looks]
    visits: dict[int, list[Visit]] = {dial: [] for dial in CHANNELS}
    for visit in walk(kind, air, start, end, seed):
        visits[visit.dial].append(Visit(visit.time, visit.active))
    found = []
    for dial, name in zip(CHANNELS, classes, strict=True):
        if dial in own:
            continue
        truly = _truth(air, dial, looks, enough)
        found.append(
            Channel(
                kind=kind.name,
                of=name,
                length=kind.night,
                truth=sum(truly) / len(truly),
                share=shares[dial],
                limit=limits[dial],
                it=occupancy(visits[dial], start, end, kind.scored),
                seen=visits[dial],
                truly=[
                    truly[min(int((v.time - start) / LOOK), len(truly) - 1)] for v in visits[dial]
                ],
            )
        )
    return Night(channels=found, band=_band(kind, found, start))


def _truth(air: Air, dial: int, looks: list[float], enough: list[float]) -> list[bool]:
    """Whether what is in the channel is strong enough, milliwatts, each time."""
    if not any(abs(one.frequency - dial) < BANDWIDTH / 2 for one in air.stations):
        return [False] * len(looks)
    return [
        sum(10 ** (one.level / 10) for one in air.present(dial, time, BANDWIDTH / 2)) >= limit
        for time, limit in zip(looks, enough, strict=True)
    ]


def _band(kind: Kind, channels: list[Channel], start: float) -> Band:
    promised = [channel for channel in channels if channel.of in PROMISED]
    seen = [channel.seen for channel in promised]
    end = start + kind.night
    edges = [*(start + hour * 3600.0 for hour in range(int(kind.night / 3600))), end]
    return Band(
        kind=kind.name,
        length=kind.night,
        truth=fmean(channel.truth for channel in promised),
        share=fmean(channel.share or 0.0 for channel in promised),
        it=of_band(seen, start, end, kind.scored),
        hours=band_by_parts(seen, edges, kind.scored),
    )


def nights(count: int, turn: Sequence[Kind] | None = None) -> list[Night]:
    """So many nights, the level sources in turn (by default the box's), on all cores."""
    turn = kinds() if turn is None else turn
    drawn = [turn[k % len(turn)] for k in range(count)]
    with ProcessPoolExecutor() as pool:
        return list(pool.map(night, drawn, range(count)))


def _limit(cycle: Cycle | None, revisit: float, night: float) -> float | None:
    """1.96 deviations either way of the share of a comb of visits about that of the time.

    Of a memoryless process that is its spectrum at the multiples of the comb's frequency, summed:
    for a slow one a twelfth of a gap squared for each change, a uniform distribution's.
    """
    if cycle is None or not cycle.irregular:
        return None
    share = cycle.on / (cycle.on + cycle.off)
    rate = revisit * (1 / cycle.on + 1 / cycle.off)
    visits = night / revisit
    return 2 * 1.96 * sqrt(visits * share * (1 - share) * (1 / tanh(rate / 2) - 2 / rate))


def _station(
    rng: random.Random, dial: int, name: str, revisit: float
) -> tuple[Station, float | None]:
    """A station of a class, 15 to 45 dB above the noise, and the long-run share it is drawn for."""
    cycle, fading, share = None, None, None
    above = rng.uniform(15, 45)
    match name:
        case "slow":
            share = rng.uniform(0.2, 0.8)
            period = rng.uniform(2400, 7200)
            cycle = Cycle(on=share * period, off=(1 - share) * period, irregular=True)
        case "fast":
            share = rng.uniform(0.05, 0.7)
            period = rng.uniform(60, 900)
            cycle = Cycle(on=share * period, off=(1 - share) * period, irregular=True)
        case "regular":
            share = rng.uniform(0.2, 0.8)
            period = rng.uniform(300, 3600)
            cycle = Cycle(on=share * period, off=(1 - share) * period)
        case "in step":
            # Seen at every coming and going (SM.2256: that takes on and off of a revisit time),
            # a third of them not quite in step, so that they drift by a part of it in the night.
            many = rng.randint(3, 20)
            off_step = rng.choice((0.0, rng.uniform(-1, 1) / 100, rng.uniform(-1, 1) / 300))
            period = revisit * many * (1 + off_step / many)
            share = rng.uniform(1.05 / many, 1 - 1.05 / many)
            cycle = Cycle(on=share * period, off=(1 - share) * period)
        case "fading":
            above = rng.uniform(8, 20)
            fading = Fading(kind="fast", depth=40, period=rng.uniform(5, 20))
        case _:
            share, fading = 1.0, Fading(kind="slow", depth=6, period=600)
    power = round(_NOISE + above, 1)
    station = Station(
        name=f"Radio {dial // 1000}",
        frequency=dial + rng.randint(-OFF, OFF),
        power=power,
        cycle=cycle,
        fading=fading,
    )
    return station, share
