"""What detection should be by theory, for each kind of level source.

There are two for each: what could at best be made of the same stretch of the air, and what can be
made of it with the receiver at hand, or by the figure that its sound is turned into.
Signal to noise is that of the carrier to the noise that the filter lets through.

- The energy detector (Urkowitz, Proc. IEEE 55, 1967): the energy of noise in a time T and a
  bandwidth B is chi-square with 2TB degrees of freedom, with a steady signal the noncentral one.
- With an unsteady detector: that energy in decibels, and a normal error in decibels added to it,
  by numerical integration.
- A line: the power of a sinusoid in Gaussian noise in one bin of a spectrum, summed over K pieces,
  is noncentral chi-square with 2K degrees of freedom; its frequency is not known, so noise is the
  largest of all bins (textbook detection theory, from memory; scipy has the distributions).
- Quieting is made of two energies, quadratic forms of Gaussian noise with variances by Isserlis'
  theorem; its decibels are close to normal with a thousand samples.
- The median of readings by the joint density of the two middle ones (order statistics).
"""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import log, log10, pi, sin, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, optimize, special, stats

from tests.score.receivers import READINGS, Kind
from vfod.radio.receiver import Detector
from vfod.run.hearing import LOOK
from vfod.survey.sound import LINES, NEAR, PIECE, RATE

Values = NDArray[np.float64]

_NEPER = 10 / log(10)
#: Nodes of the integration over a normal error.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(60)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
#: Decibels over which a figure is tabled.
AXIS = np.linspace(-12.0, 110.0, 2441)


class Theory(ABC):
    """Detection per visit at a signal to noise (linear).

    A threshold is so many decibels above what noise alone shows, in the theory's own figure.
    """

    @abstractmethod
    def detection(self, power: float, threshold: float) -> float:
        """Probability that a visit's figure is above the threshold."""

    @abstractmethod
    def at_margin(self, margin: float) -> float:
        """The threshold that a configured margin, decibels, comes to."""

    def at_false_alarm(self, chance: float) -> float:
        """The threshold with that false alarm."""
        return float(
            optimize.brentq(lambda t: self.detection(0.0, t) - chance, -3.0, 30.0, xtol=1e-5)
        )

    def crossing(self, threshold: float, level: float) -> float:
        """The signal to noise in decibels at which detection is `level`."""
        return float(
            optimize.brentq(
                lambda ratio: self.detection(10 ** (ratio / 10), threshold) - level,
                -40.0, 40.0, xtol=1e-4,
            )
        )  # fmt: skip

    def fading(self, ratios: Sequence[float], threshold: float) -> list[float]:
        """The same at ratios in decibels, where the power is exponential about its mean.

        That is a fade of many paths (Rayleigh).
        """
        table = np.linspace(-40.0, 40.0, 321)
        found = [self.detection(10 ** (ratio / 10), threshold) for ratio in table]
        # Its quantiles, in decibels.
        fades = 10 * np.log10(-np.log((np.arange(200) + 0.5) / 200))
        return [float(np.mean(np.interp(ratio + fades, table, found))) for ratio in ratios]


@dataclass(frozen=True)
class Energy(Theory):
    """The energy detector; `deviation` is the normal error of a visit in decibels."""

    freedom: float
    deviation: float = 0.0

    def detection(self, power: float, threshold: float) -> float:
        """See Theory."""
        ratios = 10 ** ((threshold - self.deviation * _NODES) / 10) if self.deviation else None
        ratios = np.array([10 ** (threshold / 10)]) if ratios is None else ratios
        over = stats.ncx2.sf(ratios * self.freedom, self.freedom, power * self.freedom)
        return float(over @ _WEIGHTS) if self.deviation else float(over[0])

    def at_margin(self, margin: float) -> float:
        """See Theory: it is the same decibels."""
        return margin


@dataclass(frozen=True)
class EnergyHeard(Energy):
    """The energy detector at the antenna, set to where the sound's figure rises by the margin."""

    of: "Quieting | None" = None

    def at_margin(self, margin: float) -> float:
        """See Theory."""
        assert self.of is not None
        rises = self.of.rise
        power = optimize.brentq(lambda power: rises(power) - margin, 0.0, 1e4)
        return 10 * log10(1 + float(power))


class ByReadings(Theory):
    """The median of a visit's readings."""

    @abstractmethod
    def below(self, power: float) -> Values:
        """Probability that one reading is below each value of AXIS, decibels."""

    @cached_property
    def floor(self) -> float:
        """What the median of noise shows, decibels on AXIS."""
        return float(np.interp(0.5, self.below(0.0), AXIS))

    def detection(self, power: float, threshold: float) -> float:
        """See Theory: P((x + y) / 2 > t) for the two middle readings x < y of an even number."""
        half = READINGS // 2
        below = self.below(power)
        limit = self.floor + threshold
        other = np.interp(np.maximum(AXIS, 2 * limit - AXIS), AXIS, below, right=1.0)
        # n! / ((n/2 - 1)! (n/2 - 1)!) F(x)^(n/2 - 1) dF(x) times (1 - F(y))^(n/2) / (n/2).
        count = special.factorial(READINGS) / special.factorial(half - 1) ** 2 / half
        parts = below ** (half - 1) * (1 - other) ** half
        return float(min(1.0, count * integrate.trapezoid(parts, below)))

    def at_margin(self, margin: float) -> float:
        """See Theory."""
        return margin


class Line(ByReadings):
    """How far the narrowest line of each reading stands above its neighbourhood."""

    def __init__(self, away: float) -> None:
        """`away` is how far the tone is from the middle of a bin, in bins."""
        self.gain = line_gain(away)
        self._pieces = int(LOOK * RATE) // PIECE
        # The neighbourhood that a line is held against is a median of m values with density f at
        # their median x: deviation 1 / 2 f sqrt(m). The window makes neighbours alike (Hann's:
        # four ninths of their power beside it, a thirty-sixth one further).
        noise = stats.gamma(self._pieces, scale=1 / self._pieces)
        worth = 2 * len(NEAR) / (1 + 2 * (4 / 9 + 1 / 36))
        #: How well it is known, decibels.
        self.deviation = _NEPER / (2 * noise.pdf(noise.median()) * sqrt(worth) * noise.median())

    def below(self, power: float) -> Values:
        """See ByReadings."""
        return 1 - _a_line(AXIS, self._pieces, power * self.gain, self.deviation)


class LineAtBest(Theory):
    """The spectra of all readings in one sum, the noise known."""

    def __init__(self, of: Line) -> None:
        self._of = of

    def detection(self, power: float, threshold: float) -> float:
        """See Theory."""
        pieces = READINGS * int(LOOK * RATE) // PIECE
        return float(_a_line(np.array([threshold]), pieces, power * self._of.gain, 0.0)[0])

    def at_margin(self, margin: float) -> float:
        """See Theory: at the same power of a line as where the other one stands."""
        return self._of.floor + margin


def _a_line(level: Values, pieces: int, power: float, deviation: float) -> Values:
    """P(a bin is above `level`, dB over the mean of noise), in one of which is a tone."""
    bins = round((LINES[1] - LINES[0]) * PIECE / RATE)
    limits = 2 * pieces * 10 ** (level / 10)
    noise = stats.chi2.sf(limits, 2 * pieces)
    tone = stats.ncx2.sf(limits, 2 * pieces, 2 * pieces * power) if power else noise
    if deviation:
        spread = level[:, None] + deviation * _NODES
        noise, tone = (np.interp(spread, level, it) @ _WEIGHTS for it in (noise, tone))
    found: Values = 1 - (1 - tone) * (1 - noise) ** (bins - 1)
    return found


def line_gain(away: float) -> float:
    """How much more a tone `away` from the middle of a bin is over the noise there than in all.

    Hann's window: N / 2 bins share the noise, a tone is spread as if by 1.5 bins, and between two
    bins it is lower by the window's own transform (Harris, Proc. IEEE 66, 1978).
    """
    fall = np.sinc(away) / (1 - away**2)
    return float(PIECE / 2 / 1.5 * fall**2)


class Quieting(ByReadings):
    """Level and noise drop of sound behind an envelope detector; see vfod.survey.sound."""

    #: Of the carrier's power that a tone of this depth adds to the sound, and how much of that
    #: passes for noise: by vfod.sim.sound, and by the second difference of 400 Hz.
    _PROGRAMME = 0.5**2
    _TAKEN = (2 * sin(pi * 400 / RATE)) ** 4 / 6

    def __init__(self, gain_control: bool) -> None:
        self._gain_control = gain_control

    def rise(self, power: float) -> float:
        """By how many decibels a carrier raises it."""
        gain = -10 * log10(1 + power) if self._gain_control else 0.0
        level = 10 * log10(1 + self._PROGRAMME * power) + gain
        noise = 10 * log10(1 + self._PROGRAMME * self._TAKEN * power) + gain
        return level - 2 * noise

    def below(self, power: float) -> Values:
        """See ByReadings."""
        count = LOOK * RATE
        # The noise in it: variances of Σx² and of Σ(second difference)² / 6 and their covariance.
        tone = self._PROGRAMME * power
        level = (2 + 4 * tone) / (1 + tone) ** 2
        noise = 2 * (1 + 2 * (4 / 6) ** 2 + 2 * (1 / 6) ** 2)
        both = 2 / (1 + tone)
        deviation = _NEPER * sqrt((level + 4 * noise - 4 * both) / count)
        below: Values = stats.norm.cdf((AXIS - self.rise(power)) / deviation)
        return below


def theories(kind: Kind, away: float = 0.0) -> tuple[Theory, Theory]:
    """The best there is, and the best with this receiver; `away` as in Line."""
    if not kind.hears:
        freedom = 2 * READINGS * 2 * kind.setup.time_constant * kind.setup.bandwidth
        # Of the converter a count is so many decibels.
        count = (kind.setup.highest - kind.setup.lowest) / kind.setup.full_scale
        unsteady = sqrt(kind.setup.unsteadiness**2 + (kind.setup.jitter * count) ** 2)
        return Energy(freedom), Energy(freedom, unsteady / sqrt(READINGS))
    if kind.detector is Detector.ENVELOPE:
        quieting = Quieting(kind.gain_control)
        freedom = 2 * READINGS * LOOK * kind.setup.bandwidth
        return EnergyHeard(freedom, of=quieting), quieting
    line = Line(away)
    return LineAtBest(line), line
