"""Whether a sweep may move the dial: it waits for who has it, and for the VFO, and says so.

A hand, a person or automation above it makes it yield until the quiet time is over; without a link
it pauses. Whatever waits in a sweep waits here, so that a touch, a lost line or a skip cuts it
short.
"""

import asyncio

from vfod import events as e
from vfod.clock import Clock
from vfod.run.alarm import Alarm
from vfod.run.desk import Desk
from vfod.run.speaker import Speaker
from vfod.run.stream import Emit
from vfod.run.tuner import Tuner

#: A yield is announced again when its end moved by this much: a knob in use would else make an
#: event of every click.
YIELD_NEWS = 5.0


class Clearance:
    """Of one run of the sweep `name`."""

    def __init__(
        self, name: str, tuner: Tuner, desk: Desk, clock: Clock, emit: Emit, speaker: Speaker
    ) -> None:
        self._name = name
        self._tuner = tuner
        self._desk = desk
        self._clock = clock
        self._emit = emit
        self._speaker = speaker
        self._alarm = Alarm()
        #: Whether this channel is to be left for the next one.
        self.skipping = False
        self._saying: list[asyncio.Future[e.Stamped | None]] = []
        self._cause: str | None = None

    # --- from outside ---------------------------------------------------------------------------

    def poke(self) -> None:
        """Something changed that may concern the sweep: look again."""
        self._alarm.poke()

    def skip(self) -> None:
        """Leave this channel for the next one."""
        self.skipping = True
        self.poke()

    def next_word(self, cause: str | None) -> "asyncio.Future[e.Stamped | None]":
        """The next thing that is said of yielding, pausing or resuming."""
        future = asyncio.get_running_loop().create_future()
        self._saying.append(future)
        self._cause = cause
        self.poke()
        return future

    def close(self) -> None:
        """The sweep has ended: nothing more will be said."""
        for future in self._saying:
            if not future.done():
                future.set_result(None)

    # --- for the sweep --------------------------------------------------------------------------

    @property
    def may_move(self) -> bool:
        """Whether nobody else has the dial, and the VFO is there."""
        return self._desk.sweep_may_move and self._tuner.connected.is_set()

    @property
    def disturbed(self) -> bool:
        """Whether a visit under way is to be broken off."""
        return self.skipping or not self.may_move

    async def undisturbed_until(self, deadline: float) -> bool:
        """Wait; False as soon as somebody takes the dial, the link goes or a skip is asked."""
        while not self.disturbed:
            if self._clock.monotonic() >= deadline:
                return True
            await self._alarm.wait(deadline)
        return False

    async def pause(self, seconds: float) -> None:
        """Wait so long, or until something changes."""
        await self._alarm.wait(self._clock.monotonic() + seconds)

    async def wait(self, dial: int) -> float | None:
        """Until the sweep may move on at its channel `dial`.

        The seconds that it had to wait, None where it need not.
        """
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
                        await self._speaker.release()
                    told_until, told_to, told_pause = until, to, False
                    end = None if until == float("inf") else self._clock.wall() + until - now
                    self._say(e.SweepYielded(sweep=self._name, dial=dial, to=to, until=end))
                await self._alarm.wait(None if until == float("inf") else until)
            elif not self._tuner.connected.is_set():
                if not told_pause or self._saying:
                    told_pause, told_to = True, None
                    self._say(e.SweepPaused(sweep=self._name, dial=dial, reason="link down"))
                await self._alarm.wait(None)
            else:
                break
        if not told_pause and told_to is None:
            return None
        lost = self._clock.monotonic() - since
        self._say(e.SweepResumed(sweep=self._name, dial=dial, lost=round(lost, 3)))
        await self._speaker.mute()
        return lost

    def _say(self, event: e.Event) -> None:
        stamped = self._emit(event, self._cause)
        self._cause = None
        saying, self._saying = self._saying, []
        for future in saying:
            if not future.done():
                future.set_result(stamped)
