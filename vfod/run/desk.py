"""Who may move the dial: the only place that decides it.

In order: a hand on the knob or a button; a person (shell, page); automation (MQTT `/set`, rate
limited); the hold on an active channel; the sweep. A hand or a person makes the running sweep
yield; it takes up again after the quiet time, because listening means not touching. `stay` and
`resume` say otherwise. The quiet time also holds when a window opens.
"""

import math
from collections.abc import Awaitable, Callable, Sequence
from datetime import UTC, tzinfo
from typing import Any, Protocol

from vfod import requests as r
from vfod.clock import Clock
from vfod.errors import RefusedError, RequestError
from vfod.events import Door, Origin, Stamped
from vfod.radio.bands import Band, band_named, neighbour
from vfod.run.levelwatch import LevelWatch, Watched
from vfod.run.tuner import Tuner
from vfod.state.show import answer, away_text
from vfod.units import format_duration

#: Quiet time after a hand or a person, seconds (docs: defaults). Ten minutes is about the time a
#: listener stays with a station without touching anything.
QUIET = 600.0

#: Automation is refused this long after a hand or a person, seconds: long enough that a rule does
#: not snatch the dial from somebody turning it, short enough that a button on a wall display, which
#: comes in by the same door, is not dead for the whole quiet time.
PERSON_FIRST = 30.0

#: Automation may move the dial this often, tokens refilled one a second: enough for a scene that
#: tunes and sets a step, and a rule gone wild cannot drive the set.
AUTOMATION_BURST = 5
AUTOMATION_PER_SECOND = 1.0


class Sweeping(Protocol):
    """What the desk needs of the keeper of sweeps."""

    async def start(self, sweep: str, by: Origin, cause: str | None) -> Stamped:
        """Start a sweep by name now."""
        ...

    async def stop(self, reason: str, by: Origin, cause: str | None) -> Stamped:
        """End the running sweep; RefusedError when there is none."""
        ...

    async def skip(self, by: Origin, cause: str | None) -> Stamped:
        """Leave the channel for the next one; RefusedError when no sweep runs."""
        ...

    async def next_word(self, cause: str | None) -> Stamped | None:
        """What the running sweep says next: that it yields, waits or goes on; None without one."""
        ...


#: A note, who took it and the request's id → the event.
TakesNote = Callable[[r.TakeNote, Origin, str | None], Awaitable[Stamped]]


#: A calibration, who took it and the request's id → the event.
TakesCalibration = Callable[[r.TakeCalibration, Origin, str | None], Awaitable[Stamped]]
#: The same of where the receiver hears itself.
TakesOwnSignals = Callable[[r.TakeOwnSignals, Origin, str | None], Awaitable[Stamped]]


async def _no_own_signals(_: r.TakeOwnSignals, by: Origin, cause: str | None) -> Stamped:
    raise RefusedError("this VFO keeps no list of its own signals")


async def _no_calibration(_: r.TakeCalibration, by: Origin, cause: str | None) -> Stamped:
    raise RefusedError("this VFO takes no calibration")


class Desk:
    """The desk of one VFO; what passes over it and moves nothing is the notes."""

    def __init__(
        self,
        tuner: Tuner,
        clock: Clock,
        bands: Sequence[Band],
        *,
        quiet: float = QUIET,
        committed: Callable[[int], Awaitable[bool]] | None = None,
        zone: tzinfo = UTC,
    ) -> None:
        self._tuner = tuner
        self._clock = clock
        self._bands = tuple(bands)
        self._committed = committed
        self._zone = zone
        self.quiet = quiet
        self.sweeping: Sweeping | None = None
        self.take_note: TakesNote | None = None
        self.take_calibration: TakesCalibration = _no_calibration
        self.take_own_signals: TakesOwnSignals = _no_own_signals
        self.level_watch: LevelWatch | None = None
        #: End of the quiet time (monotonic); infinite until somebody resumes.
        self.quiet_until = -math.inf
        self.quiet_for: Origin | None = None
        #: Called when a quiet time begins, grows or ends.
        self.on_touch: Callable[[], None] = lambda: None
        self._person_until = -math.inf
        self._tokens = float(AUTOMATION_BURST)
        self._tokens_at = -math.inf
        self._left_at: dict[str, int] = {}
        #: Where the dial was last put by anyone but a sweep: where a window returns to.
        self.home: int | None = None
        tuner.findings.on_hand = self.keep_quiet

    def take(self, bands: Sequence[Band], quiet: float, zone: tzinfo) -> None:
        """Go by a new configuration; a quiet time under way keeps its end."""
        self._bands = tuple(bands)
        self.quiet = quiet
        self._zone = zone

    # --- quiet time -----------------------------------------------------------------------------

    @property
    def sweep_may_move(self) -> bool:
        """Whether nobody above the sweep has the dial."""
        return self._clock.monotonic() >= self.quiet_until

    def keep_quiet(
        self, origin: Origin, seconds: float | None = None, *, at_home: bool = True
    ) -> None:
        """The sweep yields to `origin` for `seconds`, by default the quiet time.

        A longer `stay` asked for before is not cut short by a turn of the knob. With `at_home` the
        dial is where somebody wants it, and not where something is measured.
        """
        now = self._clock.monotonic()
        until = now + (self.quiet if seconds is None else seconds)
        self.quiet_until = until if seconds is not None else max(until, self.quiet_until)
        self.quiet_for = origin
        if origin.door.is_person:
            self._person_until = now + min(PERSON_FIRST, self.quiet)
        if at_home:
            self.home = self._tuner.dial if self._tuner.dial is not None else self.home
            self._remember(self._tuner.dial)
        self.on_touch()

    def end_quiet(self) -> None:
        """The sweep may go on."""
        self.quiet_until = self._person_until = -math.inf
        self.quiet_for = None
        self.on_touch()

    # --- requests -------------------------------------------------------------------------------

    async def submit(self, asked: r.Asked) -> dict[str, Any]:
        """Carry out a change, or refuse it; answered by the event that it caused.

        The answer to a person is given after the journal has committed that event, or says that
        it has not.
        """
        if asked.origin.door is Door.MQTT:
            self._admit_automation(asked.request)
        counts: dict[str, Any] = {}
        if isinstance(asked.request, r.WatchLevel):
            stamped, counts["counts"] = await self._watch_level(asked.request, asked)
        else:
            stamped = await self._carry_out(asked)
        remarks = [self._if_away(asked.request)]
        if (
            self._committed is not None
            and asked.origin.door.is_person
            and not await self._committed(stamped.sequence)
        ):
            remarks.append("not in the journal yet, whose disk does not take it: see the log")
        return {**answer(stamped, self._zone, "; ".join(filter(None, remarks))), **counts}

    def _if_away(self, request: r.Request) -> str:
        """That what was asked of a sweep waits for the VFO; empty where it does not."""
        away = away_text(self._tuner.known, self._zone)
        match request:
            case r.StartSweep() if away:
                return f"the sweep will begin when the VFO is back: {away}"
            case r.Stay() if away:
                return f"after that the sweep will go on when the VFO is back: {away}"
            case r.Resume() | r.SkipChannel() if away:
                return f"the sweep will go on when the VFO is back: {away}"
        return ""

    async def _carry_out(self, asked: r.Asked) -> Stamped:
        tuner, by, cause = self._tuner, asked.origin, asked.id
        match asked.request:
            case r.Tune(frequency=frequency):
                return await self._move(lambda: frequency, by, cause)
            case r.Nudge(hertz=hertz, steps=steps):
                return await self._move(lambda: self._nudged(hertz, steps), by, cause)
            case r.GoToBand(band=band):
                return await self._move(lambda: self._in_band(band), by, cause)
            case r.SetStep(step=step):
                return await tuner.set_step(step, by, cause)
            case r.SwitchOutput(on=on):
                return await tuner.output.switch(on, by, cause)
            case r.MuteSpeaker(muted=muted):
                return await tuner.mute(muted, by, cause)
            case r.StartSweep(sweep=sweep):
                started = await self._sweeps().start(sweep, by, cause)
                self.end_quiet()
                return started
            case r.StopSweep():
                return await self._sweeps().stop("asked to stop", by, cause)
            case r.SkipChannel():
                return await self._sweeps().skip(by, cause)
            case r.Stay(seconds=seconds):
                self.keep_quiet(by, math.inf if seconds is None else seconds)
                return await self._sweep_says(self._sweeps().next_word(cause))
            case r.Resume():
                if self.sweep_may_move:
                    raise RefusedError("no sweep has yielded", remedy="there is nothing to resume")
                self.end_quiet()
                return await self._sweep_says(self._sweeps().next_word(cause))
            case r.TakeNote() as note:
                assert self.take_note is not None
                return await self.take_note(note, by, cause)
            case r.TakeCalibration() as taken:
                return await self.take_calibration(taken, by, cause)
            case r.TakeOwnSignals() as heard:
                return await self.take_own_signals(heard, by, cause)
        raise RequestError(f"{type(asked.request).__name__} is no change")

    async def _watch_level(self, wanted: r.WatchLevel, asked: r.Asked) -> Watched:
        if self.level_watch is None:
            raise RefusedError("the level of this VFO cannot be watched")
        began = await self.level_watch.move(wanted, asked.origin, asked.id)
        self.keep_quiet(asked.origin, at_home=False)
        try:
            return await self.level_watch.watch(wanted, began, asked.origin, asked.id)
        finally:
            self.keep_quiet(asked.origin, at_home=False)

    def _sweeps(self) -> Sweeping:
        assert self.sweeping is not None
        return self.sweeping

    async def _sweep_says(self, waiting: Awaitable[Stamped | None]) -> Stamped:
        stamped = await waiting
        if stamped is None:
            raise RefusedError(
                "no sweep is running",
                remedy="the next window will keep to it; start one with `vfod sweep start NAME`",
            )
        return stamped

    # --- moving the dial ------------------------------------------------------------------------

    async def _move(self, where: Callable[[], int], by: Origin, cause: str | None) -> Stamped:
        async with self._tuner.lock:
            hand = self._tuner.newest_hand
            moved = await self._tuner.tune(where(), by=by, hand=hand, cause=cause)
        self.keep_quiet(by)
        return moved.stamped

    def _known_dial(self) -> int:
        if self._tuner.dial is None:
            self._tuner.linked()
            raise RefusedError(
                "the dial is not known yet", remedy="give a frequency, or wait for the VFO"
            )
        return self._tuner.dial

    def _nudged(self, hertz: int | None, steps: int | None) -> int:
        by = hertz if hertz is not None else (steps or 0) * self._tuner.step
        target = self._known_dial() + by
        if target <= 0:
            raise RequestError("that would be below 0 Hz", remedy="nudge by less")
        return target

    def _remember(self, dial: int | None) -> None:
        for band in self._bands:
            if dial is not None and band.holds(dial):
                self._left_at[band.name] = dial

    def _in_band(self, name: str) -> int:
        if name in ("up", "down"):
            found = neighbour(self._known_dial(), 1 if name == "up" else -1, self._bands)
            if found is None:
                raise RefusedError(f"there is no band further {name}")
        else:
            found = band_named(name, self._bands)
        return self._left_at.get(found.name, found.low)

    def _admit_automation(self, request: r.Request) -> None:
        now = self._clock.monotonic()
        # A note moves nothing, and is wanted just then.
        if now < self._person_until and not isinstance(request, r.TakeNote):
            left = format_duration(self._person_until - now)
            raise RefusedError(
                "a person has the dial", remedy=f"automation may move it again in {left}"
            )
        refill = (now - self._tokens_at) * AUTOMATION_PER_SECOND
        self._tokens = min(AUTOMATION_BURST, self._tokens + refill)
        self._tokens_at = now
        if self._tokens < 1:
            raise RefusedError(
                "automation asks too often", remedy="ask at most once a second in the long run"
            )
        self._tokens -= 1
