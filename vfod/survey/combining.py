"""Several measurements of one quantity into one, with an interval that holds.

Measurements state an uncertainty each, and scatter by more than that where something moves that
none of them knows of, as the ionosphere does. The scatter beyond what is stated is estimated by
the method of Paule and Mandel (NIST) and added to each; the weighted mean gets the interval of
Hartung, Knapp, Sidik and Jonkman, which holds also for few measurements because it uses
Student's distribution and the residuals as they are.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan, cos, isfinite, pi, sin, sqrt

#: Share of cases in which the interval shall hold.
CONFIDENCE = 0.95


@dataclass(frozen=True, kw_only=True, slots=True)
class Combined:
    """A weighted mean: `low` to `high` holds the true value in 95 of 100 cases.

    `deviation` is the standard deviation of the mean, `scatter` the one that the measurements have
    beyond what each states; `count` of them went in.
    """

    value: float
    deviation: float
    low: float
    high: float
    scatter: float
    count: int


def combine(values: Sequence[tuple[float, float]], *, limit: float = 0.0) -> Combined | None:
    """The weighted mean of (value, standard deviation); None without any.

    `limit` is a standard deviation that no number of measurements can get below. One measurement
    alone has what it states, or the limit where that is larger.
    """
    given = [(value, spread) for value, spread in values if isfinite(value) and spread > 0]
    if not given:
        return None
    scatter = _scatter(given)
    weights = [1 / (spread * spread + scatter * scatter) for _, spread in given]
    total = sum(weights)
    mean = sum(w * value for w, (value, _) in zip(weights, given, strict=True)) / total
    stated = sqrt(1 / total)
    degrees = len(given) - 1
    if degrees == 0:
        deviation, reach = stated, 1.959964
    else:
        squares = sum(w * (v - mean) ** 2 for w, (v, _) in zip(weights, given, strict=True))
        # By luck they may agree better than they can know; what they state is then believed.
        deviation = stated * sqrt(max(squares / degrees, 1.0))
        reach = student(degrees)
    half = max(reach * deviation, 1.959964 * limit)
    return Combined(
        value=mean,
        deviation=max(deviation, limit),
        low=mean - half,
        high=mean + half,
        scatter=scatter,
        count=len(given),
    )


def _scatter(given: Sequence[tuple[float, float]]) -> float:
    """The scatter with which the weighted squares of the residuals are what they should be."""

    def excess(variance: float) -> float:
        weights = [1 / (spread * spread + variance) for _, spread in given]
        pairs = list(zip(weights, given, strict=True))
        mean = sum(w * value for w, (value, _) in pairs) / sum(weights)
        return sum(w * (value - mean) ** 2 for w, (value, _) in pairs) - (len(given) - 1)

    if len(given) < 2 or excess(0.0) <= 0:
        return 0.0
    low, high = 0.0, (max(v for v, _ in given) - min(v for v, _ in given)) ** 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle) > 0 else (low, middle)
    return sqrt(high)


def student(degrees: int, confidence: float = CONFIDENCE) -> float:
    """How many standard deviations to either side hold that share, by Student's distribution."""
    low, high = 0.0, 1e4
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if _within(middle, degrees) < confidence else (low, middle)
    return high


def _within(t: float, degrees: int) -> float:
    """Probability that |T| < t: Abramowitz and Stegun, 26.7.3 and 26.7.4."""
    theta = atan(t / sqrt(degrees))
    term, total = 1.0, 1.0
    if degrees % 2:
        for k in range(1, (degrees - 1) // 2):
            term *= cos(theta) ** 2 * 2 * k / (2 * k + 1)
            total += term
        tail = sin(theta) * cos(theta) * total if degrees > 1 else 0.0
        return 2 / pi * (theta + tail)
    for k in range(1, degrees // 2):
        term *= cos(theta) ** 2 * (2 * k - 1) / (2 * k)
        total += term
    return sin(theta) * total
