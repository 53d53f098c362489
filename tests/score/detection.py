"""Visits of one station at a stated signal to noise, and of the channels beside it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log10

import numpy as np
from numpy.typing import NDArray

from tests.score.receivers import Kind
from tests.score.walk import walk
from vfod.sim.air import Air
from vfod.sim.scenario import Fading, Floor, FloorBand, Scenario, Station
from vfod.survey.sound import PIECE, RATE

NOISE = -105.0
START = 1_795_629_600.0
#: Nine channels: one with the station, and as many as a floor needs without.
CHANNELS = range(7_200_000, 7_245_000, 5_000)
TARGET = CHANNELS[4]
#: By so much the station is off its channel, hertz, as stations are; its tone then lies between the
#: bins of a spectrum.
OFF = 5
#: A fade that lasts for many dwells, so that each visit meets one depth of it.
FADING = Fading(kind="fast", depth=60, period=60)
#: How far a tone is from the nearest bin's middle, in bins: the pitch of 1 kHz is one.
AWAY = OFF / (RATE / PIECE)

Values = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Seen:
    """Levels above the floor at one signal to noise: with the station, and of noise alone."""

    ratio: float
    signal: Values
    noise: Values
    false_alarms: int


def noise_bandwidth(kind: Kind) -> float:
    """Of the filter with its skirts, hertz: each adds the integral of its fall."""
    return float(kind.setup.bandwidth + 2 * 10 / np.log(10) / kind.setup.skirt * 1000)


def seen(kind: Kind, ratio: float, visits: int, fading: Fading | None = None) -> Seen:
    """So many visits of a station that is always there, at a signal to noise in decibels."""
    noise = NOISE + 10 * log10(noise_bandwidth(kind) / 5000)
    own = 10 * log10(10 ** (noise / 10) + 10 ** (kind.setup.noise / 10))
    station = Station(name="A", frequency=TARGET + OFF, power=own + ratio, fading=fading)
    floor = Floor(bandwidth=5000, bands=(FloorBand(low=1, high=10**8, hours={0: NOISE}),))
    # Other chances at every ratio, or the noise of all of them would be the same.
    seed = round(1000 * (ratio + 100))
    air = Air(Scenario(floor=floor, stations=(station,)), seed)
    until = START + (visits + 3) * len(CHANNELS) * kind.visit
    signal, quiet, alarms = list[float](), list[float](), 0
    for visit in walk(kind, air, START, until, seed, channels=CHANNELS):
        # Two passes to get to know the floor.
        if visit.floor is None or visit.time < START + 2 * len(CHANNELS) * kind.visit:
            continue
        above = visit.level - visit.floor
        (signal if visit.dial == TARGET else quiet).append(above)
        alarms += visit.dial != TARGET and bool(visit.active)
    return Seen(ratio=ratio, signal=np.array(signal), noise=np.array(quiet), false_alarms=alarms)


def crossing(ratios: Sequence[float], chances: Sequence[float], level: float) -> float:
    """The signal to noise at which a measured curve first reaches `level`, interpolated."""
    for (x, p), (y, q) in zip(
        zip(ratios, chances, strict=True), list(zip(ratios, chances, strict=True))[1:], strict=False
    ):
        if p < level <= q:
            return x + (y - x) * (level - p) / (q - p)
    raise ValueError(f"the curve does not cross {level}")
