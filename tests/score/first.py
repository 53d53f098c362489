"""The formulas that were tried first, scored beside those of vfod.survey.occupancy.

(a) first: each change-over is uniform in its gap, and nothing else is unknown.
(b) first: Wilson's interval for n (1 - r) / (1 + r) visits, r the correlation of neighbours.
"""

from itertools import pairwise
from math import sqrt

from vfod.survey.intervals import wilson


def tonight(states: list[bool]) -> tuple[float, float]:
    """(a) by change-overs alone."""
    changes = sum(a != b for a, b in pairwise(states))
    share = sum(states) / len(states)
    half = 1.96 * sqrt(changes / 12) / len(states)
    return share - half, share + half


def long_run(states: list[bool]) -> tuple[float, float]:
    """(b) by the equivalent number of independent visits."""
    count = len(states)
    share = sum(states) / count
    changes = sum(a != b for a, b in pairwise(states))
    room = share * (1 - share)
    r = max(0.0, 1 - changes / (2 * (count - 1)) / room) if room else 0.0
    return wilson(share, count * (1 - r) / (1 + r))
