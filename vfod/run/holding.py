"""Staying on a channel while something is there: up to a limit, until it is quiet, then a rest.

Guests with a revisit time are not kept waiting by it.
"""

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import LineError
from vfod.plan.sweep import Hold
from vfod.run.clearance import Clearance
from vfod.run.course import Course
from vfod.run.stream import Emit
from vfod.run.visiting import Visitor

#: How often a hold looks at its channel, seconds.
HOLD_LOOK = 0.5


class Holding:
    """The holds of one run of a sweep, channel by channel."""

    def __init__(
        self, course: Course, visitor: Visitor, clearance: Clearance, clock: Clock, emit: Emit
    ) -> None:
        self._course = course
        self._visitor = visitor
        self._clearance = clearance
        self._clock = clock
        self._emit = emit
        #: By dial: how often in a row it was held at, and until when it rests (monotonic).
        self._known: dict[int, tuple[int, float]] = {}

    async def hold(self, observed: e.ChannelObserved) -> bool:
        """Stay at the channel that was just observed, within the limits; True if it stayed."""
        settings, level = self._course.visit.sweep.hold, observed.level
        if settings is None or level is None or not observed.active or self._clearance.skipping:
            return False
        dial, began = observed.dial, self._clock.monotonic()
        times, rests_until = self._known.get(dial, (0, float("-inf")))
        if began < rests_until:
            return False
        self._emit(e.HoldBegan(sweep=self._course.name, dial=dial, level=level))
        reason = await self._stay(began, settings)
        now = self._clock.monotonic()
        self._course.hold(now - began)
        times += 1
        rest = now + settings.rest if times >= settings.most else float("-inf")
        self._known[dial] = (0 if times >= settings.most else times, rest)
        self._emit(
            e.HoldEnded(
                sweep=self._course.name, dial=dial, seconds=round(now - began, 3), reason=reason
            )
        )
        return True

    async def _stay(self, began: float, settings: Hold) -> str:
        heard, limit = self._clock.monotonic(), began + settings.limit
        visit = self._course.visit
        while (now := self._clock.monotonic()) < limit:
            if not await self._clearance.undisturbed_until(min(now + HOLD_LOOK, limit)):
                return "skip" if self._clearance.skipping else "yield"
            try:
                active = await self._visitor.is_active(visit, now)
            except LineError:
                continue
            if active:
                heard = self._clock.monotonic()
            if self._clock.monotonic() - heard >= settings.quiet:
                return "quiet"
            if self._course.guest_waits(self._clock.monotonic()):
                return "guest"
        return "limit"
