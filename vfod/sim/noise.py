"""Chance that can be asked in any order: a pure function of whole numbers.

A sequence of random numbers would make the air depend on who listened before. Here every question
(seed, frequency, moment) has its own answer, which is the same on every machine.

The mixing step is SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number
generators", OOPSLA 2014).
"""

from functools import lru_cache
from math import cos, floor, log, pi, sqrt

_MASK = (1 << 64) - 1
#: The odd integer nearest to 2^64 over the golden ratio, and the two multipliers of the paper.
_STEP = 0x9E3779B97F4A7C15
_FIRST = 0xBF58476D1CE4E5B9
_SECOND = 0x94D049BB133111EB
_UNIT = 2.0**-64


def mix(*keys: int) -> int:
    """A number of 64 bits that depends on every key and on their order."""
    state = 0
    for key in keys:
        state = ((state ^ key) + _STEP) & _MASK
        state = ((state ^ state >> 30) * _FIRST) & _MASK
        state = ((state ^ state >> 27) * _SECOND) & _MASK
        state ^= state >> 31
    return state


def uniform(*keys: int) -> float:
    """From 0 to 1, each value as likely as any other."""
    return mix(*keys) * _UNIT


def gaussian(*keys: int) -> float:
    """Mean 0, standard deviation 1 (Box and Muller's transform of two halves of one number)."""
    number = mix(*keys)
    radius = sqrt(-2.0 * log(((number >> 32) + 1) / 4294967296.0))
    return radius * cos(2.0 * pi * (number & 0xFFFFFFFF) / 4294967296.0)


def wandering(time: float, period: float, *keys: int) -> float:
    """Moves smoothly between -1 and 1, with a new aim every half `period` (seconds)."""
    position = 2.0 * time / period
    knot = floor(position)
    part = position - knot
    left, right = _knot(*keys, knot), _knot(*keys, knot + 1)
    return 2.0 * (left + (right - left) * part * part * (3.0 - 2.0 * part)) - 1.0


#: Many moments lie between the same two of them.
_knot = lru_cache(maxsize=256)(uniform)


def trembling(time: float, period: float, *keys: int) -> float:
    """Gaussian (mean 0, deviation 1), nearly the same for moments much nearer than `period`."""
    position = time / period
    knot = floor(position)
    part = position - knot
    left, right = gaussian(*keys, knot), gaussian(*keys, knot + 1)
    return (left * (1.0 - part) + right * part) / sqrt((1.0 - part) ** 2 + part * part)
