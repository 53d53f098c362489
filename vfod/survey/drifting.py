"""How the error of a crystal went on over time and with temperature.

From single calibrations at odd times: a weighted straight line against temperature where there is
enough of it, and a series of equal steps for the deviations of vfod.survey.stability, which want
values without a gap.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import fmean, median

from vfod.survey.combining import student

#: Fewest calibrations, and the span of temperature in degrees, for a line that says something: with
#: fewer points its interval is many times the scatter, and over less a step of the thermometer
#: tilts it.
FEWEST, SPAN = 5, 3.0

#: Fewest values for the shortest averaging time of a table.
SHORTEST = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A calibration: time in seconds since 1970 UTC, error and its deviation in ppm."""

    time: float
    error: float
    deviation: float
    temperature: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """error = `value` + `slope` * (temperature - `around`), in ppm and degrees Celsius.

    `slope_reach` is how far to either side of the slope 95 of 100 cases lie; `scatter` what is
    left around the line; `low` and `high` the temperatures it was taken from. `count`, `squares`
    and `weight` are of the sums that it comes from.
    """

    value: float
    slope: float
    slope_reach: float
    around: float
    scatter: float
    low: float
    high: float
    count: int
    squares: float
    weight: float

    def at(self, temperature: float) -> tuple[float, float]:
        """The error at a temperature, and how far to either side 95 of 100 cases lie."""
        away = temperature - self.around
        variance = self.scatter**2 * (1 / self.weight + away**2 / self.squares)
        reach = student(self.count - 2) * sqrt(variance)
        return self.value + self.slope * away, reach


def fit(points: Sequence[Point]) -> Fit | None:
    """Weighted least squares against temperature; None where there is not enough."""
    known = [(one.temperature, one) for one in points if one.temperature is not None]
    if len(known) < FEWEST:
        return None
    degrees = [temperature for temperature, _ in known]
    if max(degrees) - min(degrees) < SPAN:
        return None
    # Relative weights: what the calibrations state of themselves need not be what they scatter by.
    weights = [1 / one.deviation**2 for _, one in known]
    scale = fmean(weights)
    weights = [weight / scale for weight in weights]
    total = sum(weights)
    around = sum(w * t for w, (t, _) in zip(weights, known, strict=True)) / total
    value = sum(w * one.error for w, (_, one) in zip(weights, known, strict=True)) / total
    squares = sum(w * (t - around) ** 2 for w, (t, _) in zip(weights, known, strict=True))
    slope = (
        sum(w * (t - around) * one.error for w, (t, one) in zip(weights, known, strict=True))
        / squares
    )
    rest = sum(
        w * (one.error - value - slope * (t - around)) ** 2
        for w, (t, one) in zip(weights, known, strict=True)
    )
    scatter = sqrt(rest / (len(known) - 2))
    return Fit(
        value=value,
        slope=slope,
        slope_reach=student(len(known) - 2) * scatter / sqrt(squares),
        around=around,
        scatter=scatter,
        low=min(degrees),
        high=max(degrees),
        count=len(known),
        squares=squares,
        weight=total,
    )


def series(points: Sequence[Point]) -> tuple[float, list[float]]:
    """Equal steps, and the mean error in each; the longest stretch of them without a gap.

    A step is as long as most calibrations are apart. Raw frequency values of a comparison that is
    not continuous: deviations of them are those of an oscillator looked at now and then.
    """
    ordered = sorted(points, key=lambda one: one.time)
    apart = [b.time - a.time for a, b in pairwise(ordered) if b.time > a.time]
    if not apart:
        return 0.0, [one.error for one in ordered[:1]]
    step = median(apart)
    start = ordered[0].time - step / 2
    bins: dict[int, list[float]] = {}
    for one in ordered:
        bins.setdefault(int((one.time - start) // step), []).append(one.error)
    best: list[float] = []
    now: list[float] = []
    before = None
    for number in sorted(bins):
        now = [*now, fmean(bins[number])] if before == number - 1 else [fmean(bins[number])]
        before = number
        best = now if len(now) > len(best) else best
    return step, best
