"""The discrete Fourier transform of a power of two of values, in plain Python."""

from cmath import exp, pi
from functools import lru_cache


def transform(values: list[complex]) -> list[complex]:
    """Discrete Fourier transform of a power of two of values."""
    size = len(values)
    if size == 1:
        return values
    even, odd = transform(values[::2]), transform(values[1::2])
    turned = [turn * z for turn, z in zip(_turns(size), odd, strict=True)]
    return [a + b for a, b in zip(even, turned, strict=True)] + [
        a - b for a, b in zip(even, turned, strict=True)
    ]


@lru_cache(maxsize=32)
def _turns(size: int) -> tuple[complex, ...]:
    return tuple(exp(-2j * pi * k / size) for k in range(size // 2))
