"""Walks the sweeps of a roster: clear, tune, settle, read, observe, next.

Deadlines are absolute: visit k begins at the start plus the lengths of the visits before it, so
nothing adds up. A visit's settle counts from the tune command, and the dwell follows it; the box's
answer must fit into the settle. After a yield, a hold or an overrun the grid starts anew from
now; the time is counted as lost and never caught up in a burst.
"""

import asyncio
from collections.abc import Mapping
from typing import Protocol

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import HandError, LineError, LinkDownError, RefusedError
from vfod.plan.roster import Roster
from vfod.plan.sweep import Visit
from vfod.run.alarm import Alarm
from vfod.run.course import Course
from vfod.run.desk import Desk
from vfod.run.given import brief
from vfod.run.hearing import LOOK, Ears, Reading, observation, still_active
from vfod.run.tuner import Tuner
from vfod.survey.activity import Detector

#: A visit that begins later than this after its deadline has overrun: the grid starts anew.
#: Loops are late by about a millisecond; a hundred is a stall, not jitter.
OVERRUN = 0.1

#: After a refusal because of a hand, its event is at most a twentieth of a second away
#: (docs/protocol.md: at most 20 events a second).
AFTER_REFUSAL = 0.1

#: A yield is announced again when its end moved by this much: a knob in use would else make an
#: event of every click.
YIELD_NEWS = 5.0

#: How often a hold looks at its channel, seconds.
HOLD_LOOK = 0.5


class Emit(Protocol):
    """How the sweeper says what happened, for its VFO."""

    def __call__(self, event: e.Event, cause: str | None = None, /) -> e.Stamped:
        """Emit."""
        ...


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
        self.lost = 0.0
        self._origin = e.Origin(door=e.Door.SWEEP, who=self.name)
        self._tuner = tuner
        self._desk = desk
        self._clock = clock
        self._emit = emit
        self._ears = ears
        self._mute = mute
        self._detectors = detectors
        self._alarm = Alarm()
        self._skip = False
        self._saying: list[asyncio.Future[e.Stamped | None]] = []
        self._cause: str | None = None
        #: What the box produces on this channel, millihertz; None where it could not be tuned.
        self._produced: int | None = None
        self._active_level: float | None = None
        self._holds: dict[int, tuple[int, float]] = {}
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
        self._alarm.poke()

    def skip(self) -> None:
        """Leave this channel for the next one."""
        self._skip = True
        self.poke()

    def next_word(self, cause: str | None) -> "asyncio.Future[e.Stamped | None]":
        """The next thing the sweep says of yielding, pausing or resuming."""
        future = asyncio.get_running_loop().create_future()
        self._saying.append(future)
        self._cause = cause
        self.poke()
        return future

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
        if not mute:
            await self._speaker(False)
        changed, self._mute = self._mute is not mute, mute
        if changed and self._desk.sweep_may_move and self._tuner.connected.is_set():
            await self._speaker(mute)

    def _say(self, event: e.Event) -> None:
        stamped = self._emit(event, self._cause)
        self._cause = None
        saying, self._saying = self._saying, []
        for future in saying:
            if not future.done():
                future.set_result(stamped)

    # --- the walk -------------------------------------------------------------------------------

    async def run(self) -> None:
        """Sweep until cancelled."""
        try:
            await self._walk()
        finally:
            for future in self._saying:
                if not future.done():
                    future.set_result(None)

    async def _walk(self) -> None:
        await self._speaker(self._mute)
        deadline = self.course.began = self._clock.monotonic()
        while True:
            if await self._clear():
                deadline = self._anew(deadline)
            late = self._clock.monotonic() - deadline
            if late > OVERRUN:
                self.lost += late
                self.course.shift += late
                deadline += late
            self._change_visit()
            if not await self._visit(deadline):
                continue
            deadline += self.visit.duration
            if await self._hold() or self._skip:
                deadline = self._anew(deadline)
            self._skip = False
            self._next()
            if not await self._undisturbed_until(deadline) and self._skip:
                self._skip = False
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

    def _change_visit(self) -> None:
        if self._next_visit is None:
            return
        (roster, self._ears, self._detectors), self._next_visit = self._next_visit, None
        if roster != self.course.roster:
            self.course.go_by(roster, self._tuner.dial)

    def _change_pass(self) -> None:
        roster, self._next_pass = self._next_pass, None
        if roster is None or roster == self.course.roster:
            return
        self._change_visit()
        self.course.then_by(roster)
        for plan in roster.plans:
            brief(self._detectors[plan.sweep.name], plan)
        self._emit(e.SweepChanged(sweep=self.name, channels=len(roster.main)))

    def _disturbed(self) -> bool:
        return self._skip or not self._desk.sweep_may_move or not self._tuner.connected.is_set()

    async def _undisturbed_until(self, deadline: float) -> bool:
        """Wait; False as soon as somebody takes the dial, the link goes or a skip is asked."""
        while not self._disturbed():
            if self._clock.monotonic() >= deadline:
                return True
            await self._alarm.wait(deadline)
        return False

    async def _clear(self) -> bool:
        """Wait until the sweep may move the dial; True if it had to wait."""
        since = self._clock.monotonic()
        told_until, told_to, told_pause = float("-inf"), None, False
        while True:
            now = self._clock.monotonic()
            if not self._desk.sweep_may_move:
                until, to = self._desk.quiet_until, self._desk.quiet_for
                if to is not None and (
                    abs(until - told_until) > YIELD_NEWS or to != told_to or self._saying
                ):
                    if told_to is None:
                        await self._speaker(False)
                    told_until, told_to, told_pause = until, to, False
                    end = None if until == float("inf") else self._clock.wall() + until - now
                    self._say(
                        e.SweepYielded(sweep=self.name, dial=self.visit.dial, to=to, until=end)
                    )
                await self._alarm.wait(None if until == float("inf") else until)
            elif not self._tuner.connected.is_set():
                if not told_pause or self._saying:
                    told_pause, told_to = True, None
                    self._say(
                        e.SweepPaused(sweep=self.name, dial=self.visit.dial, reason="link down")
                    )
                await self._alarm.wait(None)
            else:
                break
        if not told_pause and told_to is None:
            return False
        lost = self._clock.monotonic() - since
        self.lost += lost
        self._say(e.SweepResumed(sweep=self.name, dial=self.visit.dial, lost=round(lost, 3)))
        await self._speaker(self._mute)
        return True

    async def _visit(self, start: float) -> bool:
        """One visit, with its observation; False if it must be made again."""
        lateness = self._clock.monotonic() - start
        visit = self.visit
        if not await self._tune():
            return self._skip
        settled = max(start + visit.settle, self._clock.monotonic())
        count = visit.sweep.readings
        readings: list[Reading] = []
        for index in range(count):
            due = settled + (index + 0.5) * visit.dwell / count
            if not await self._undisturbed_until(due):
                return self._skip
            try:
                reading = await self._look(max(settled, due - max(LOOK, visit.dwell / count)))
            except LineError:
                # A reading that went with the line: the visit is made again on the next one.
                await self._alarm.wait(self._clock.monotonic() + AFTER_REFUSAL)
                return self._skip
            if reading is not None:
                readings.append(reading)
        self._observe(readings, lateness)
        return True

    async def _tune(self) -> bool:
        hand = self._tuner.newest_hand
        try:
            async with self._tuner.lock:
                if self._disturbed():
                    return False
                tuned = await self._tuner.tune(self.visit.dial, by=self._origin, hand=hand)
        except (HandError, LinkDownError, LineError):
            await self._alarm.wait(self._clock.monotonic() + AFTER_REFUSAL)
            return False
        except RefusedError:
            # Out of the box's range or a fault of its hardware: the visit goes without a reading.
            self._produced = None
            return True
        self._produced = tuned.produced
        return True

    async def _look(self, since: float) -> Reading | None:
        """One reading, or None; a dial that trembled away is put back. Raises LineError."""
        try:
            reading = await self._tuner.read()
        except RefusedError:
            return None
        if self._produced is None:
            return None
        if reading.frequency != self._produced:
            await self._tune()
            return None
        now = self._clock.monotonic()
        return self._ears.read(self.visit.dial, reading.level, since, now)

    def _observe(self, readings: list[Reading], lateness: float) -> None:
        visit = self.visit
        observed = observation(
            visit,
            readings,
            self._ears,
            self._detectors[visit.sweep.name],
            wall=self._clock.wall(),
            lateness=lateness,
        )
        self._emit(observed)
        self._active_level = observed.level if observed.active else None

    # --- hold -----------------------------------------------------------------------------------

    async def _hold(self) -> bool:
        """Stay while the channel is active, within the limits; True if the sweep stayed."""
        settings, level = self.visit.sweep.hold, self._active_level
        self._active_level = None
        if settings is None or level is None or self._skip:
            return False
        dial, began = self.visit.dial, self._clock.monotonic()
        times, rests_until = self._holds.get(dial, (0, float("-inf")))
        if began < rests_until:
            return False
        self._emit(e.HoldBegan(sweep=self.name, dial=dial, level=level))
        reason = await self._stay(began + settings.limit, settings.quiet)
        now = self._clock.monotonic()
        self.course.hold(now - began)
        times += 1
        rest = now + settings.rest if times >= settings.most else float("-inf")
        self._holds[dial] = (0 if times >= settings.most else times, rest)
        self._emit(
            e.HoldEnded(sweep=self.name, dial=dial, seconds=round(now - began, 3), reason=reason)
        )
        return True

    async def _stay(self, limit: float, quiet: float) -> str:
        heard = self._clock.monotonic()
        visit = self.visit
        detector = self._detectors[visit.sweep.name]
        while (now := self._clock.monotonic()) < limit:
            if not await self._undisturbed_until(min(now + HOLD_LOOK, limit)):
                return "skip" if self._skip else "yield"
            try:
                reading = await self._look(now)
            except LineError:
                continue
            if reading is not None and still_active(
                visit, reading, self._ears, detector, self._clock.wall()
            ):
                heard = self._clock.monotonic()
            if self._clock.monotonic() - heard >= quiet:
                return "quiet"
            if self.course.guest_waits(self._clock.monotonic()):
                return "guest"
        return "limit"

    async def _speaker(self, muted: bool) -> None:
        if not self._mute:
            return
        try:
            await self._tuner.mute_if_able(muted, self._origin)
        except (RefusedError, LineError):
            # The speaker is a courtesy; the sweep does not stop for it.
            return

    async def release_speaker(self) -> None:
        """At the end of the sweep: let the listener hear again."""
        await self._speaker(False)
