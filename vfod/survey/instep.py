"""Channels that come and go by a clock: how far their share may be off, when they are in step.

Change-overs that lie anywhere in the gaps between two visits are off by as much one way as the
other, and their errors cancel. Those of a station with a fixed period that is a multiple of the
revisit time, or nearly, all lie at the same place of their gaps, and their errors add up.
So it is asked whether some period fits all the gaps in which a channel came, or went; if so, the
error is how far the whole row of change-overs can be shifted within its gaps (a linear programme
in period and place, convex in the period: its ends are found by halving and by thirds).
For a period that is out of step with the visits that is very little.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

#: Gaps that some period fits by chance too often.
LEAST = 3

#: A part of a gap by which a change-over may seem to lie outside of it: a visit takes time.
TOLERANCE = 0.05

#: Halvings or thirds until a place is known to a thousandth of a gap, and better.
_STEPS = 30


class Window(NamedTuple):
    """The gap in which a change-over lies, seconds."""

    after: float
    by: float


def play(windows: Sequence[Window]) -> float:
    """How much time, seconds, these change-overs of a regular channel may be off, all together.

    Away from the middles of their gaps; 0 where no period fits, or where they are too few.
    """
    if len(windows) < LEAST:
        return 0.0
    middles = [(after + by) / 2 for after, by in windows]
    steps = [b - a for a, b in pairwise(middles)]
    usual = sorted(steps)[len(steps) // 2]
    alike = [step for step in steps if 0.5 * usual < step < 1.5 * usual]
    # Longer steps are cycles that nobody watched; most must be alike.
    if min(steps) <= 0.5 * usual or 2 * len(alike) <= len(steps):
        return 0.0
    period = sum(alike) / len(alike)
    places = [0]
    for step in steps:
        places.append(places[-1] + max(1, round(step / period)))
    centre = sum(places) / len(places)
    rows = [
        (place - centre, after - TOLERANCE * (by - after), by + TOLERANCE * (by - after))
        for place, (after, by) in zip(places, windows, strict=True)
    ]

    def latest(period: float) -> float:
        return min(by - place * period for place, _, by in rows)

    def earliest(period: float) -> float:
        return max(after - place * period for place, after, _ in rows)

    def room(period: float) -> float:
        return latest(period) - earliest(period)

    widest = max(by - after for after, by in windows)
    low, high = period - widest, period + widest
    best = _highest(room, low, high)
    if room(best) < 0:
        return 0.0
    low, high = _edge(room, best, low), _edge(room, best, high)
    middle = sum(middles) / len(middles)
    late = latest(_highest(latest, low, high)) - middle
    early = middle - earliest(_highest(lambda period: -earliest(period), low, high))
    return len(windows) * max(late, early, 0.0)


def _highest(of: Callable[[float], float], low: float, high: float) -> float:
    """Where a concave function is highest."""
    for _ in range(_STEPS):
        third = (high - low) / 3
        if of(low + third) < of(high - third):
            low += third
        else:
            high -= third
    return (low + high) / 2


def _edge(room: Callable[[float], float], inside: float, outside: float) -> float:
    """Where there ceases to be room on the way from one to the other."""
    if room(outside) >= 0:
        return outside
    for _ in range(_STEPS):
        middle = (inside + outside) / 2
        if room(middle) >= 0:
            inside = middle
        else:
            outside = middle
    return inside
