"""How steady an oscillator is: Allan deviation and the usual companions.

From fractional frequency values, each the mean over the same `interval` seconds, without gaps;
definitions by IEEE Std 1139 and NIST SP 1065 (Riley, Handbook of Frequency Stability Analysis).
Each function takes the averaging time as `m`, a whole number of intervals, and returns a
deviation in the unit of the values, None where there are too few of them.
"""

from collections.abc import Callable, Sequence
from itertools import accumulate, pairwise
from math import sqrt

Deviation = Callable[[Sequence[float], int], float | None]


def _phase(values: Sequence[float]) -> list[float]:
    """Phase in intervals; the mean frequency is taken out, which no deviation here sees."""
    mean = sum(values) / len(values) if values else 0.0
    return [0.0, *accumulate(value - mean for value in values)]


def _averages(values: Sequence[float], m: int) -> list[float]:
    return [sum(values[i : i + m]) / m for i in range(0, len(values) - m + 1, m)]


def allan(values: Sequence[float], m: int) -> float | None:
    """Allan deviation: differences of neighbouring averages."""
    means = _averages(values, m)
    if len(means) < 2:
        return None
    return sqrt(sum((b - a) ** 2 for a, b in pairwise(means)) / (2 * (len(means) - 1)))


def overlapping_allan(values: Sequence[float], m: int) -> float | None:
    """Allan deviation from all starting points: the usual choice for few values."""
    x = _phase(values)
    terms = len(x) - 2 * m
    if terms < 1:
        return None
    total = sum((x[i + 2 * m] - 2 * x[i + m] + x[i]) ** 2 for i in range(terms))
    return sqrt(total / (2 * m * m * terms))


def modified_allan(values: Sequence[float], m: int) -> float | None:
    """Modified Allan deviation: tells white from flicker noise of phase."""
    x = _phase(values)
    terms = len(x) - 3 * m + 1
    if terms < 1:
        return None
    second = [x[i + 2 * m] - 2 * x[i + m] + x[i] for i in range(len(x) - 2 * m)]
    sums = [0.0, *accumulate(second)]
    total = sum((sums[j + m] - sums[j]) ** 2 for j in range(terms))
    return sqrt(total / (2 * m**4 * terms))


def time_deviation(values: Sequence[float], m: int, interval: float = 1.0) -> float | None:
    """Time deviation, in the values' unit times seconds."""
    found = modified_allan(values, m)
    return None if found is None else found * m * interval / sqrt(3)


def hadamard(values: Sequence[float], m: int) -> float | None:
    """Hadamard deviation: blind to a steady drift."""
    means = _averages(values, m)
    terms = len(means) - 2
    if terms < 1:
        return None
    total = sum((means[i + 2] - 2 * means[i + 1] + means[i]) ** 2 for i in range(terms))
    return sqrt(total / (6 * terms))


def overlapping_hadamard(values: Sequence[float], m: int) -> float | None:
    """Hadamard deviation from all starting points."""
    x = _phase(values)
    terms = len(x) - 3 * m
    if terms < 1:
        return None
    total = sum((x[i + 3 * m] - 3 * x[i + 2 * m] + 3 * x[i + m] - x[i]) ** 2 for i in range(terms))
    return sqrt(total / (6 * m * m * terms))


def total_deviation(values: Sequence[float], m: int) -> float | None:
    """Total deviation: the ends are continued by their mirror image, for long averaging times."""
    x = _phase(values)
    last = len(x) - 1
    if len(x) < 3 or m > last - 1:
        return None

    def at(i: int) -> float:
        if i < 0:
            return 2 * x[0] - x[-i]
        return 2 * x[last] - x[2 * last - i] if i > last else x[i]

    total = sum((at(i - m) - 2 * x[i] + at(i + m)) ** 2 for i in range(1, last))
    return sqrt(total / (2 * m * m * (last - 1)))


#: The deviations by name, for a table.
DEVIATIONS: dict[str, Deviation] = {
    "Allan": allan,
    "overlapping Allan": overlapping_allan,
    "modified Allan": modified_allan,
    "Hadamard": hadamard,
    "overlapping Hadamard": overlapping_hadamard,
    "total": total_deviation,
}
