"""Walks the sweeps of a roster: clear, visit, hold, next.

Deadlines are absolute: visit k begins at the start plus the lengths of the visits before it, so
nothing adds up. After a yield, a hold or an overrun the grid starts anew from now; the time is
counted as lost and never caught up in a burst. Waiting for who has the dial is `clearance`, one
visit is `visiting`, staying where something is there is `holding`.
"""

import asyncio
from collections.abc import Mapping

from vfod import events as e
from vfod.clock import Clock
from vfod.plan.roster import Roster
from vfod.plan.sweep import Visit
from vfod.run.clearance import Clearance
from vfod.run.course import Course
from vfod.run.desk import Desk
from vfod.run.given import brief
from vfod.run.hearing import Ears
from vfod.run.holding import Holding
from vfod.run.speaker import Speaker
from vfod.run.stream import Emit
from vfod.run.tuner import Tuner
from vfod.run.visiting import Visitor
from vfod.survey.activity import Detector

#: A visit that begins later than this after its deadline has overrun: the grid starts anew.
#: Loops are late by about a millisecond; a hundred is a stall, not jitter.
OVERRUN = 0.1


class Sweeper:
    """One run of one roster, from start to cancellation."""

    def __init__(
        self,
        roster: Roster,
        tuner: Tuner,
        desk: Desk,
        clock: Clock,
        emit: Emit,
        ears: Ears,
        *,
        start: tuple[int, int] = (0, 0),
        mute: bool = True,
        detectors: Mapping[str, Detector],
    ) -> None:
        self.course = Course(roster, start, tuner.dial)
        self.name = roster.main.sweep.name
        self.visits = 0
        self._tuner = tuner
        self._clock = clock
        self._emit = emit
        by = e.Origin(door=e.Door.SWEEP, who=self.name)
        self._speaker = Speaker(tuner, by, minded=mute)
        self._clearance = Clearance(self.name, tuner, desk, clock, emit, self._speaker)
        self._visitor = Visitor(
            tuner, self._clearance, clock, emit, by, ears=ears, detectors=detectors
        )
        self._holding = Holding(self.course, self._visitor, self._clearance, clock, emit)
        #: What a new configuration brings: from the next visit on, and from the next pass on.
        self._next_visit: tuple[Roster, Ears, Mapping[str, Detector]] | None = None
        self._next_pass: Roster | None = None

    @property
    def visit(self) -> Visit:
        """The visit under way."""
        return self.course.visit

    # --- from outside ---------------------------------------------------------------------------

    def poke(self) -> None:
        """Something changed that may concern the sweep: look again."""
        self._clearance.poke()

    def skip(self) -> None:
        """Leave this channel for the next one."""
        self._clearance.skip()

    def next_word(self, cause: str | None) -> "asyncio.Future[e.Stamped | None]":
        """The next thing the sweep says of yielding, pausing or resuming."""
        return self._clearance.next_word(cause)

    def take(
        self,
        roster: Roster,
        ears: Ears,
        detectors: Mapping[str, Detector],
        next_pass: Roster,
    ) -> None:
        """Go by a new configuration.

        From the next visit on by `roster`, which has the channels of this pass over the receiver
        as it is described now, and judge by `ears` and `detectors`; by `next_pass` from then on.
        """
        self._next_visit = roster, ears, detectors
        self._next_pass = next_pass

    async def take_mute(self, mute: bool) -> None:
        """Mute the speaker in this sweep from now on, or let it be heard again."""
        await self._speaker.take(mute, moving=self._clearance.may_move)

    async def release_speaker(self) -> None:
        """At the end of the sweep: let the listener hear again."""
        await self._speaker.release()

    # --- the walk -------------------------------------------------------------------------------

    async def run(self) -> None:
        """Sweep until cancelled."""
        try:
            await self._walk()
        finally:
            self._clearance.close()

    async def _walk(self) -> None:
        clearance = self._clearance
        await self._speaker.mute()
        deadline = self.course.began = self._clock.monotonic()
        while True:
            if not clearance.may_move:
                self._holding.give_up()
            if await clearance.wait(self.visit.dial) is not None:
                deadline = self._anew(deadline)
            if self._clock.monotonic() - deadline > OVERRUN:
                deadline = self._anew(deadline)
            if self.course.is_back:
                held = await self._holding.come_back()
                if not held:
                    continue
            else:
                if not self._holding.is_away:
                    self._change_visit()
                observed = await self._visitor.visit(self.visit, deadline)
                if observed is None and not clearance.skipping:
                    continue
                deadline += self.visit.duration
                held = observed is not None and await self._holding.hold(observed)
            if held or clearance.skipping:
                deadline = self._anew(deadline)
            clearance.skipping = False
            if held and self._holding.guest is not None:
                self.course.see(self._holding.guest)
            else:
                self._next()
            if not await clearance.undisturbed_until(deadline) and clearance.skipping:
                clearance.skipping = False
                deadline = self._anew(deadline)

    def _anew(self, deadline: float) -> float:
        """The grid of visits starts anew from now."""
        now = self._clock.monotonic()
        self.course.shift += now - deadline
        return now

    def _next(self) -> None:
        self.visits += 1
        ended = self.course.count(self._clock.monotonic())
        if ended is not None:
            self._emit(ended)
            if ended.sweep == self.name:
                self._change_pass()
        self.course.advance()

    # --- a new configuration --------------------------------------------------------------------

    def _change_visit(self) -> None:
        if self._next_visit is None:
            return
        visitor = self._visitor
        (roster, visitor.ears, visitor.detectors), self._next_visit = self._next_visit, None
        if roster != self.course.roster:
            self.course.go_by(roster, self._tuner.dial)

    def _change_pass(self) -> None:
        roster, self._next_pass = self._next_pass, None
        if roster is None or roster == self.course.roster:
            return
        self._change_visit()
        self.course.then_by(roster)
        for plan in roster.plans:
            brief(self._visitor.detectors[plan.sweep.name], plan)
        self._emit(e.SweepChanged(sweep=self.name, channels=len(roster.main)))
