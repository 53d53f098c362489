"""Levels: what the raw counts of the box's detector mean, and S-units.

A table of points turns counts into decibels by straight lines between them; it may rise or fall,
because a gain-control voltage often falls with the signal.
Off its ends nothing is extrapolated: the level is then "at least" or "at most" the last point.
S-units follow IARU Region 1 Technical Recommendation R.1.
"""

import enum
from bisect import bisect_left
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite, log10, sqrt
from typing import NamedTuple

from vfod.errors import UsageError

CALIBRATED = "dBm"
#: Decibels over a reference nobody has named: differences mean something, the value does not.
RELATIVE = "dB"

#: R.1 states available power; signal sources and receivers are made for 50 ohms.
OHMS = 50.0
#: Square microvolts a milliwatt makes in one ohm.
_SQUARE_MICROVOLTS = 1e9

#: R.1: S9 is -73 dBm below 30 MHz and -93 dBm above; one S-unit is 6 dB.
S9_BELOW_30_MHZ = -73.0
S9_ABOVE_30_MHZ = -93.0
S_UNIT = 6.0
_BORDER = 30_000_000


class Source(enum.StrEnum):
    """Where the levels of a VFO come from.

    BOTH: the level is the box's, and a channel is active where either of the two says so.
    """

    BOX = "box"
    AUDIO = "audio"
    BOTH = "both"
    NONE = "none"


class Bound(enum.StrEnum):
    """How a level relates to the truth; the values are the words before it."""

    EXACT = ""
    AT_LEAST = "at least"
    AT_MOST = "at most"


class Level(NamedTuple):
    """A level in decibels, its unit, and whether it is only a bound."""

    value: float
    unit: str
    bound: Bound = Bound.EXACT

    def __str__(self) -> str:
        return f"{self.bound} {self.value:.1f} {self.unit}".lstrip()


@dataclass(frozen=True, slots=True)
class LevelTable:
    """Points (counts, decibels) in rising order of counts, all in `unit`.

    Raises UsageError for fewer than two points, and unless the counts rise strictly and the
    decibels rise or fall strictly, without which a reading would have two meanings.
    """

    points: tuple[tuple[int, float], ...]
    unit: str = CALIBRATED

    def __post_init__(self) -> None:
        if len(self.points) < 2:
            raise UsageError(
                "a level table of fewer than two points", remedy="write {200: -110dBm, 900: -20dBm}"
            )
        if not all(isfinite(decibels) for _, decibels in self.points):
            raise UsageError("a level is no number", remedy="write it like -73dBm")
        counts = [point[0] for point in self.points]
        decibels = [point[1] for point in self.points]
        if not _rises(counts):
            raise UsageError(
                "the counts do not rise from point to point", remedy="sort the points by counts"
            )
        if not (_rises(decibels) or _rises(decibels[::-1])):
            raise UsageError(
                "the levels neither rise nor fall all the way",
                remedy="remove the points of the bend, where a reading would have two meanings",
            )

    def level(self, counts: float) -> Level:
        """The level of a reading in counts, which may be a mean of several."""
        points = self.points
        rising = points[0][1] < points[-1][1]
        if counts < points[0][0]:
            return Level(points[0][1], self.unit, Bound.AT_MOST if rising else Bound.AT_LEAST)
        if counts > points[-1][0]:
            return Level(points[-1][1], self.unit, Bound.AT_LEAST if rising else Bound.AT_MOST)
        index = max(1, bisect_left(points, counts, key=lambda point: point[0]))
        (left, low), (right, high) = points[index - 1], points[index]
        return Level(low + (high - low) * (counts - left) / (right - left), self.unit)


def _rises(values: list[int] | list[float]) -> bool:
    return all(a < b for a, b in pairwise(values))


#: A receiver without a table: a tenth of a decibel a count.
#: That is about what a logarithmic detector of 25 mV/dB gives at a ten-bit converter of 3.3 V
#: (0.13 dB a count), so that a margin of some decibels is of the right order; no more is claimed.
UNCALIBRATED = LevelTable(points=((0, 0.0), (65_535, 6553.5)), unit=RELATIVE)


def in_words(level: float, unit: str, dial: int | None) -> str:
    """`-61.2 dBm, S9+12 dB`; S-units where the level is calibrated and it is known where."""
    text = f"{level:.1f} {unit}"
    return f"{text}, {s_units(level, dial)}" if unit == CALIBRATED and dial is not None else text


def of_microvolts(volts: float) -> float:
    """A voltage across 50 ohms, microvolts (above 0), as a level in dBm, as signal sources say it.

    V = sqrt(P R), P in the milliwatts of dBm.
    """
    return 20.0 * log10(volts) - 10.0 * log10(OHMS * _SQUARE_MICROVOLTS)


def microvolts(level: float) -> float:
    """What a level in dBm is across 50 ohms, microvolts."""
    return sqrt(OHMS * _SQUARE_MICROVOLTS * 10.0 ** (level / 10.0))


def s_units(level: float, dial: int) -> str:
    """A level in dBm at a dial frequency (hertz) as S-units: `S7`, `S9+20 dB`.

    Rounded to the nearest unit, above S9 to the nearest decibel; below S1 it is `S0`.
    """
    above = level - (S9_BELOW_30_MHZ if dial < _BORDER else S9_ABOVE_30_MHZ)
    if (excess := round(above)) > 0:
        return f"S9+{excess} dB"
    return f"S{max(0, 9 + round(above / S_UNIT))}"
