"""Staying on a channel while something is there: up to a limit, until it is quiet, then a rest.

A guest with a revisit time does not wait for the end of a hold: the sweep leaves the channel for
the guest's pass and comes back to it. The limit counts from the beginning of the hold, visits to
guests included; what the hold costs is the time without them.
"""

from dataclasses import dataclass

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import LineError
from vfod.plan.sweep import Hold, SweepPlan, Visit
from vfod.run.clearance import Clearance
from vfod.run.course import Course
from vfod.run.stream import Emit
from vfod.run.visiting import Visitor

#: How often a hold looks at its channel, seconds.
HOLD_LOOK = 0.5


@dataclass(slots=True)
class _Stay:
    """A hold under way; times are monotonic, `spent` is seconds at the channel so far."""

    dial: int
    settings: Hold
    limit: float
    spent: float = 0.0
    left: float = 0.0


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
        #: The hold that was left for a guest.
        self._away: _Stay | None = None
        #: The guest that it was just left for; None where the hold is over.
        self.guest: SweepPlan | None = None

    @property
    def is_away(self) -> bool:
        """Whether a hold was left for a guest, to be come back to."""
        return self._away is not None

    async def hold(self, observed: e.ChannelObserved) -> bool:
        """Stay at the channel that was just observed, within the limits; True if it stayed."""
        settings, level = self._course.visit.sweep.hold, observed.level
        self.guest = None
        if settings is None or level is None or not observed.active or self._clearance.skipping:
            return False
        dial, began = observed.dial, self._clock.monotonic()
        _, rests_until = self._known.get(dial, (0, float("-inf")))
        if began < rests_until:
            return False
        self._emit(e.HoldBegan(sweep=self._course.name, dial=dial, level=level, unit=observed.unit))
        await self._stay(_Stay(dial, settings, limit=began + settings.limit), began)
        return True

    async def come_back(self) -> bool:
        """Go on holding after a guest; False if that is to be tried again."""
        stay, visit, began = self._away, self._course.visit, self._clock.monotonic()
        self.guest = None
        if stay is None:
            # It was given up meanwhile.
            return True
        if stay.limit - began <= visit.settle:
            self._end(stay, "limit")
        elif (guest := self._course.waiting(began)) is not None:
            self.guest = guest
        elif not await self._settle(visit, began):
            if not self._clearance.skipping:
                return False
            self._end(stay, "skip")
        else:
            away = round(began - stay.left, 3)
            self._emit(e.HoldResumed(sweep=self._course.name, dial=stay.dial, away=away))
            await self._stay(stay, began)
        return True

    def give_up(self) -> None:
        """Somebody takes the dial, or the line goes: a hold that was left is over."""
        if self._away is not None:
            self._end(self._away, "yield")

    async def _settle(self, visit: Visit, began: float) -> bool:
        return await self._visitor.tune(visit) and await self._clearance.undisturbed_until(
            began + visit.settle
        )

    async def _stay(self, stay: _Stay, began: float) -> None:
        """Until the hold is over, or is left for a guest; it is at the channel since `began`."""
        reason = await self._until_over(stay)
        now = self._clock.monotonic()
        self._course.hold(now - began)
        stay.spent += now - began
        guest = self._course.waiting(now) if reason == "guest" else None
        if guest is None or self._is_other(stay):
            self._end(stay, reason)
            return
        self._emit(e.HoldLeft(sweep=self._course.name, dial=stay.dial, guest=guest.sweep.name))
        self._away, stay.left, self.guest = stay, now, guest

    def _is_other(self, stay: _Stay) -> bool:
        """Whether this is a hold in a guest's visit, between a hold's two parts."""
        return self._away is not None and self._away is not stay

    async def _until_over(self, stay: _Stay) -> str:
        heard = self._clock.monotonic()
        visit = self._course.visit
        while (now := self._clock.monotonic()) < stay.limit:
            if not await self._clearance.undisturbed_until(min(now + HOLD_LOOK, stay.limit)):
                return "skip" if self._clearance.skipping else "yield"
            try:
                active = await self._visitor.is_active(visit, now)
            except LineError:
                continue
            if active:
                heard = self._clock.monotonic()
            if self._clock.monotonic() - heard >= stay.settings.quiet:
                return "quiet"
            if self._course.waiting(self._clock.monotonic()) is not None:
                return "guest"
        return "limit"

    def _end(self, stay: _Stay, reason: str) -> None:
        if self._away is stay:
            self._away = None
        times, rest = self._known.get(stay.dial, (0, float("-inf")))[0] + 1, float("-inf")
        if times >= stay.settings.most:
            times, rest = 0, self._clock.monotonic() + stay.settings.rest
        self._known[stay.dial] = times, rest
        self._emit(
            e.HoldEnded(
                sweep=self._course.name,
                dial=stay.dial,
                seconds=round(stay.spent, 3),
                reason=reason,
            )
        )
