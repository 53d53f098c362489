"""Measurements against carriers put together into one error of the crystal, and what to do next.

A measurement is a person's zero beat, or a tone in one or two recordings. Of a tone the clock of
the sound card is a part: heard once from below the carrier and once from above it, the clock's
error cancels.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot

from vfod.radio.calibration import Measured
from vfod.survey.combining import Combined, combine

#: Standard deviation of a sound card's clock as a fraction: cheap crystals are sold with 50 to
#: 100 parts per million.
SOUND_CARD = 1e-4

#: Standard deviations to either side that hold 95 of 100 cases of a normal distribution.
TWO_SIDED = 1.959964

#: Half of an interval in ppm that a listener cannot hear on any carrier of short wave: 1 Hz at
#: 20 MHz.
GOOD = 0.05

#: Fewest measurements whose scatter says something of their interval; with two, Student's
#: distribution makes the interval six times as wide as with many.
FEWEST = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """One measurement, and the carrier it was made against, hertz."""

    carrier: int
    measured: Measured


def tone_deviation(deviation: float, tone: float) -> float:
    """Standard deviation of a tone in hertz with that of the sound card's clock in it."""
    return hypot(deviation, SOUND_CARD * tone)


def both_sidebands(upper: Measured, lower: Measured) -> Measured:
    """The mean of two measurements of the same carrier, each with its tone's deviation alone."""
    return Measured(
        error=(upper.error + lower.error) / 2,
        deviation=hypot(upper.deviation, lower.deviation) / 2,
        limit=max(upper.limit, lower.limit),
    )


def combined(taken: Sequence[Taken]) -> Combined | None:
    """The error of the crystal in parts per million; None without any measurement.

    What moves a carrier from one measurement to the next shows in their scatter. What moves all of
    them alike, as the layers of an evening do, does not: it is what the carriers allow at best,
    and is added to what the scatter leaves.
    """
    measured = [one.measured for one in taken]
    found = combine([(one.error * 1e6, one.deviation * 1e6) for one in measured])
    if found is None:
        return None
    weights = [1 / one.deviation**2 for one in measured]
    limit = sum(w * one.limit for w, one in zip(weights, measured, strict=True)) / sum(weights)
    limit *= 1e6
    half = hypot((found.high - found.low) / 2, TWO_SIDED * limit)
    return replace(
        found,
        deviation=hypot(found.deviation, limit),
        low=found.value - half,
        high=found.value + half,
    )


def verdict(found: Combined) -> str:
    """How good a result is, in words."""
    half = (found.high - found.low) / 2
    at = f"within {half * 10:.1f} Hz at 10 MHz"
    if half <= GOOD:
        return f"good: {at}; hardly anybody hears that"
    return f"fair: {at}" if half <= 10 * GOOD else f"rough: {at}"


def advice(taken: Sequence[Taken], found: Combined | None) -> str:
    """What would make the result better."""
    if found is None:
        return "find zero beat with a carrier"
    carriers = {one.carrier for one in taken}
    if found.count < FEWEST:
        return "measure again: a few measurements tell how far they scatter"
    if found.scatter > 3 * min(one.measured.deviation for one in taken) * 1e6:
        if len(carriers) > 1:
            return "they scatter more than they should: is each of them the carrier it seems?"
        return "they scatter more than they should: try another carrier"
    if (found.high - found.low) / 2 <= GOOD:
        return "this will do"
    if len(carriers) == 1:
        return "try another carrier, best a higher one; a recording of a tone is finer than an ear"
    return "a recording of a tone is finer than an ear"
