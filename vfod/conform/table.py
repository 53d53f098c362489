"""All points, in the order in which they are tried."""

from vfod.conform import deeds, framing, greeting, hands, pace, refusals, repeats, unheard, written
from vfod.conform.point import Point

#: The hand's come late, so that nobody waits for a box that fails at once; those about all lines
#: that came are last.
POINTS: tuple[Point, ...] = (
    *greeting.POINTS,
    *deeds.POINTS,
    *refusals.POINTS,
    *framing.POINTS,
    *repeats.POINTS,
    *pace.POINTS,
    *unheard.POINTS,
    *hands.POINTS,
    *written.POINTS,
)
