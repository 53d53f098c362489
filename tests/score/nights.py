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

from tests.score.detection import noise_bandwidth
from tests.score.receivers import CHANNELS, MARGIN, Kind, kinds
from tests.score.theories import theories
from tests.score.walk import walk
from vfod.radio.levels import Source
from vfod.sim.air import Air
from vfod.sim.scenario import Cycle, Fading, Floor, FloorBand, Scenario, Station
from vfod.survey.occupancy import PERFECT, Occupancy, Scored, Visit, occupancy

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
CLASSES = {"silent": 6, "steady": 4, "slow": 5, "fast": 5, "regular": 2, "fading": 2}
#: Those in which the intervals are promised; "regular" beats with the sweep, "fading" is a
#: steady station whose level itself crosses the threshold, and both are shown apart.
PROMISED = ("silent", "steady", "slow", "fast")


@dataclass(frozen=True, kw_only=True)
class Channel:
    """A channel-night of `length` seconds: the truth and the figures.

    `share` is None where none was drawn.
    """

    kind: str
    of: str
    length: float
    truth: float
    share: float | None
    it: Occupancy
    visits: list[tuple[bool, bool | None]]


@cache
def needed(kind: Kind) -> float:
    """How strong a station must be to count, over the noise in BANDWIDTH (linear)."""
    if kind.source is Source.BOX:
        return float(10 ** (kind.margin.active / 10)) - 1
    _, own = theories(replace(kind, source=Source.AUDIO))
    ratio = own.crossing(own.at_margin(kind.margin.active), 0.5)
    return float(10 ** (ratio / 10)) * noise_bandwidth(kind) / BANDWIDTH


@cache
def scored(kind: Kind) -> Scored:
    """How often the detector is right, by nights of its own, away from any change-over."""
    # With the usual margin it is hardly ever wrong, and a night shows that as well as two.
    count = 1 if kind.margin == MARGIN else 2
    channels = [channel for k in range(count) for channel in night(kind, 10_000 + k, PERFECT)]
    rates = []
    for name in ("steady", "silent"):
        told = [
            active for one in channels if one.of == name for _, active in one.visits
            if active is not None
        ]  # fmt: skip
        rates.append(sum(told) / len(told))
    return Scored(detection=rates[0], false_alarm=rates[1])


def night(kind: Kind, seed: int, corrected: Scored | None = None) -> list[Channel]:
    """One night of every class, heard through one receiver; `corrected` None: as it scored."""
    corrected = scored(kind) if corrected is None else corrected
    rng = random.Random(seed)
    start = START + DAY * (seed % 300)
    classes = [name for name, count in CLASSES.items() for _ in range(count)]
    rng.shuffle(classes)
    stations, shares = [], dict[int, float | None]()
    own = {one.frequency for one in kind.setup.own_signals}
    for dial, name in zip(CHANNELS, classes, strict=True):
        shares[dial] = None
        if name != "silent" and dial not in own:
            station, shares[dial] = _station(rng, dial, name)
            stations.append(station)
    hours = {0: _NOISE, 18: _NOISE - 3, 22: _NOISE + 3}
    band = FloorBand(low=7_100_000, high=7_500_000, hours=hours)
    air = Air(
        Scenario(floor=Floor(bandwidth=BANDWIDTH, bands=(band,)), stations=tuple(stations)), seed
    )
    end = start + kind.night
    looks = [start + (k + 0.5) * LOOK for k in range(int(kind.night / LOOK))]
    limits = [needed(kind) * BANDWIDTH * air.noise(CHANNELS[0], time) for time in looks]
    visits: dict[int, list[Visit]] = {dial: [] for dial in CHANNELS}
    for visit in walk(kind, air, start, end, seed):
        visits[visit.dial].append(Visit(visit.time, visit.active))
    found = []
    for dial, name in zip(CHANNELS, classes, strict=True):
        if dial in own:
            continue
        truly = [
            sum(10 ** (one.level / 10) for one in air.present(dial, time)) >= limit
            for time, limit in zip(looks, limits, strict=True)
        ]
        found.append(
            Channel(
                kind=kind.name,
                of=name,
                length=kind.night,
                truth=sum(truly) / len(truly),
                share=shares[dial],
                it=occupancy(visits[dial], start, end, corrected),
                visits=[
                    (truly[min(int((v.time - start) / LOOK), len(truly) - 1)], v.active)
                    for v in visits[dial]
                ],
            )
        )
    return found


def nights(
    count: int, turn: Sequence[Kind] | None = None, corrected: Scored | None = None
) -> list[Channel]:
    """So many nights, the level sources in turn (by default the box's), on all cores."""
    turn = kinds() if turn is None else turn
    drawn = [turn[k % len(turn)] for k in range(count)]
    with ProcessPoolExecutor() as pool:
        done = pool.map(night, drawn, range(count), [corrected] * count)
        return [channel for one in done for channel in one]


def _station(rng: random.Random, dial: int, name: str) -> tuple[Station, float | None]:
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
