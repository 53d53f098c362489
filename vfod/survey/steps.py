"""When a level stepped: the moment that divides a stretch of sound into two steady ones."""

from itertools import accumulate
from math import sqrt
from operator import mul

from vfod.survey.sound import RATE, Samples, level_of

#: Samples of a piece whose level is one value: 10 ms, a tenth of what a delay needs to be known by.
_PIECE = RATE // 100

#: A step is at least so large, decibels, and so many times what is left to scatter beside it: the
#: noise of a receiver sways by a few decibels from piece to piece.
LEAST = 6.0
_SURE = 3.0

#: Fewest pieces on either side.
_SIDE = 5


def step_in(samples: Samples) -> float | None:
    """Seconds after the beginning at which the level stepped, by least squares; None if it did not.

    Two mean levels, before and after, are fitted to the pieces for every possible moment.
    """
    count = len(samples) // _PIECE
    levels = [level_of(samples[k * _PIECE : (k + 1) * _PIECE]) for k in range(count)]
    if count < 2 * _SIDE:
        return None
    sums = [0.0, *accumulate(levels)]
    total = sums[-1]

    def explained(k: int) -> float:
        return sums[k] ** 2 / k + (total - sums[k]) ** 2 / (count - k)

    best = max(range(_SIDE, count - _SIDE + 1), key=explained)
    rest = max(sum(map(mul, levels, levels)) - explained(best), 0.0)
    height = abs(sums[best] / best - (total - sums[best]) / (count - best))
    if height < max(LEAST, _SURE * sqrt(rest / count)):
        return None
    return best * _PIECE / RATE
