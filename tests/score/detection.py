"""Detection and false alarm per visit against signal to noise, beside the theory.

The theory is the energy detector (Urkowitz, Proc. IEEE 55, 1967): the energy of noise in a time T
and a bandwidth B is chi-square with 2TB degrees of freedom, with a steady signal it is the
noncentral one. scipy has both. What is compared has the same false alarm.
Signal to noise is that of the carrier to the noise that the filter lets through.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log10

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, optimize, stats

from tests.score.receivers import READINGS, VISIT, Kind
from tests.score.walk import walk
from vfod.sim.air import Air
from vfod.sim.scenario import Fading, Floor, FloorBand, Scenario, Station

NOISE = -105.0
START = 1_795_629_600.0
#: Nine channels: one with the station, and as many as a floor needs without.
CHANNELS = range(7_200_000, 7_245_000, 5_000)
TARGET = CHANNELS[4]
#: A fade that lasts for many dwells, so that each visit meets one depth of it.
FADING = Fading(kind="fast", depth=60, period=60)

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


def products(kind: Kind) -> float:
    """Time and bandwidth of a visit's readings; a one-pole filter averages over two constants."""
    return READINGS * 2 * kind.setup.time_constant * kind.setup.bandwidth


def seen(kind: Kind, ratio: float, visits: int, fading: Fading | None = None) -> Seen:
    """So many visits of a station that is always there, at a signal to noise in decibels."""
    noise = NOISE + 10 * log10(noise_bandwidth(kind) / 5000)
    own = 10 * log10(10 ** (noise / 10) + 10 ** (kind.setup.noise / 10))
    station = Station(name="A", frequency=TARGET, power=own + ratio, fading=fading)
    floor = Floor(bandwidth=5000, bands=(FloorBand(low=1, high=10**8, hours={0: NOISE}),))
    air = Air(Scenario(floor=floor, stations=(station,)), seed=int(ratio * 10) + 1000)
    until = START + (visits + 3) * len(CHANNELS) * VISIT
    signal, quiet, alarms = list[float](), list[float](), 0
    for visit in walk(kind, air, START, until, seed=7, channels=CHANNELS):
        # Two passes to get to know the floor.
        if visit.floor is None or visit.time < START + 2 * len(CHANNELS) * VISIT:
            continue
        above = visit.level - visit.floor
        (signal if visit.dial == TARGET else quiet).append(above)
        alarms += visit.dial != TARGET and bool(visit.active)
    return Seen(ratio=ratio, signal=np.array(signal), noise=np.array(quiet), false_alarms=alarms)


def theory(kind: Kind, ratio: float, threshold: float, *, rayleigh: bool = False) -> float:
    """Probability that the energy is above `threshold` times the noise's (linear)."""
    freedom = 2 * products(kind)

    def steady(power: float) -> float:
        return float(stats.ncx2.sf(threshold * freedom, freedom, power * freedom))

    power = 10 ** (ratio / 10)
    if not rayleigh:
        return steady(power)
    # The power of a fade is exponential about its mean.
    return float(
        integrate.quad(lambda x: steady(power * x) * np.exp(-x), 0, 40, points=[3 / power])[0]
    )


def threshold_of(kind: Kind, false_alarm: float) -> float:
    """The threshold over the mean noise energy with that false alarm."""
    freedom = 2 * products(kind)
    return float(stats.chi2.isf(false_alarm, freedom) / freedom)


def crossing(ratios: Sequence[float], chances: Sequence[float], level: float) -> float:
    """The signal to noise at which a measured curve first reaches `level`, interpolated."""
    for (x, p), (y, q) in zip(
        zip(ratios, chances, strict=True), list(zip(ratios, chances, strict=True))[1:], strict=False
    ):
        if p < level <= q:
            return x + (y - x) * (level - p) / (q - p)
    raise ValueError(f"the curve does not cross {level}")


def theoretical_crossing(kind: Kind, threshold: float, level: float) -> float:
    """The same for the theory."""
    return float(optimize.brentq(lambda ratio: theory(kind, ratio, threshold) - level, -30.0, 30.0))
