"""How long a level takes to follow a jump of the dial, from readings of several jumps.

The time is that after which it stays within a decibel of where it ends; that it has ended is seen
by the last part of the record, which must not go on moving.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

#: Decibels within which it has settled: a sixth of the margin, which then hardly notices.
WITHIN = 1.0

#: This last part of each record is taken for the end.
_END = 1 / 3

#: Of what scatters, so many standard deviations of a median pass for noise.
_NOISE = 3.0
#: Median of the absolute deviation of a normal distribution, over its standard deviation.
_ABSOLUTE = 0.6745


@dataclass(frozen=True, kw_only=True, slots=True)
class Settled:
    """`after` is in seconds; None where it still moved at the end of the record.

    `end` is the level at the end, `scatter` the standard deviation of one reading there, decibels.
    """

    after: float | None
    end: float
    scatter: float


def settled(jumps: Sequence[Sequence[tuple[float, float]]], length: float) -> Settled:
    """From readings (seconds after the jump, decibels) of several jumps the same way.

    `length` is how long each record is, seconds.
    """
    readings = sorted(reading for jump in jumps for reading in jump)
    ends = [level for time, level in readings if time >= length * (1 - _END)]
    end = median(ends)
    scatter = median(abs(level - end) for level in ends) / _ABSOLUTE
    count = max(len(jumps), 3) | 1
    allowed = max(WITHIN, _NOISE * 1.25 * scatter / count**0.5)
    middles = [
        (readings[k + count // 2][0], median(level for _, level in readings[k : k + count]))
        for k in range(len(readings) - count + 1)
    ]
    far = [time for time, level in middles if abs(level - end) > allowed]
    late = bool(far) and far[-1] >= length * (1 - _END)
    middle = length * (1 - _END / 2)
    first = [level for time, level in readings if length * (1 - _END) <= time < middle]
    last = [level for time, level in readings if time >= middle]
    moving = bool(first and last) and abs(median(first) - median(last)) > allowed / 2
    return Settled(
        after=None if late or moving else (far[-1] if far else 0.0),
        end=end,
        scatter=scatter,
    )
