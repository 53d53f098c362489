"""What is no station: signals of the receiver's own, and images.

The receiver's own stand out of a pass that was made without the antenna. An image fades as the
station does that it is of, so it is known by its changes; a station of its own has its own.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import sqrt
from statistics import fmean, median

#: Decibels above the listed level from which something else is on the channel as well: a steady
#: signal is measured again within a few.
WELL_ABOVE = 10.0

#: Decibels above the noise of the receiver itself, as to become active.
MARGIN = 6.0


def own_signals(levels: Mapping[int, float], margin: float = MARGIN) -> dict[int, float]:
    """Dial frequencies and levels that stand out of the others; none where there are too few.

    The noise of a receiver alone is the same on all channels but for its own signals, which are
    taken to be on less than half of them.
    """
    if len(levels) < 3:
        return {}
    noise = median(levels.values())
    return {dial: level for dial, level in sorted(levels.items()) if level >= noise + margin}


#: A reading of a level: when, and decibels.
Reading = tuple[float, float]

#: Two readings so far apart in time, seconds, belong together: much less than a slow fade takes.
TOGETHER = 60.0

#: Fewest changes that are compared: the correlation of twenty that have nothing to do with each
#: other is above 0.8 once in a hundred thousand times.
FEWEST = 20
ALIKE = 0.8

#: Decibels that a level must change by from visit to visit, as a standard deviation; below it is
#: the noise of the readings that is compared.
STIRRED = 1.0

#: Decibels that an image is below what it is of, at least: worse receivers tell nothing apart.
BELOW = 6.0


def is_image(channel: Sequence[Reading], image: Sequence[Reading]) -> bool | None:
    """Whether a channel carries what is on its image frequency, by the readings of both.

    Both in order of time. None where there is too little to tell: too few readings near each
    other, or levels that hardly change.
    """
    pairs = _pairs(channel, image)
    changes = [(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(pairs)]
    if len(changes) < FEWEST:
        return None
    here, there = (fmean(change[side] ** 2 for change in changes) for side in (0, 1))
    if sqrt(there) < STIRRED:
        return None
    if here == 0 or fmean(there - here for here, there in pairs) < BELOW:
        return False
    return fmean(a * b for a, b in changes) / sqrt(here * there) >= ALIKE


def _pairs(channel: Sequence[Reading], image: Sequence[Reading]) -> list[tuple[float, float]]:
    times = [time for time, _ in image]
    found = []
    for time, level in channel:
        near = bisect_left(times, time)
        others = [(abs(t - time), other) for t, other in image[max(near - 1, 0) : near + 1]]
        if others and min(others)[0] <= TOGETHER:
            found.append((level, min(others)[1]))
    return found
