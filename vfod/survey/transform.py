"""The discrete Fourier transform of a power of two of values, in plain Python."""

from cmath import exp, pi
from functools import lru_cache
from operator import add, mul, sub


def transform(values: list[complex]) -> list[complex]:
    """Discrete Fourier transform of a power of two of values."""
    size = len(values)
    if size == 4:
        # Where most of the calls would end: a third of the time is saved by writing it out.
        a, b, c, d = values
        left, right, over, turned = a + c, b + d, a - c, (b - d) * -1j
        return [left + right, over + turned, left - right, over - turned]
    if size == 1:
        return values
    even, odd = transform(values[::2]), transform(values[1::2])
    odd = list(map(mul, _turns(size), odd))
    return [*map(add, even, odd), *map(sub, even, odd)]


@lru_cache(maxsize=32)
def _turns(size: int) -> tuple[complex, ...]:
    return tuple(exp(-2j * pi * k / size) for k in range(size // 2))
