"""Keeps the agenda of one VFO: opens windows, starts and ends their sweeps, returns the dial.

The wall clock says when a window opens; it is looked at again at least every `LOOK_EVERY` seconds,
because it can jump (clockwatch) while the loop's own clock does not; while it cannot be believed,
no window is open. A daemon that starts inside a window joins it, at the channel where the journal
says that the sweep stopped (`remember`). What went by without its sweep is told (missed).
"""

import asyncio
import contextlib

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import LineError, RefusedError, UsageError
from vfod.plan.slots import Slot, is_moved, is_same, next_opening, open_at
from vfod.plan.windows import Window
from vfod.run import openings
from vfod.run.alarm import Alarm
from vfod.run.clockwatch import ClockWatch
from vfod.run.desk import Desk
from vfod.run.given import LeftOff, Orders
from vfod.run.missed import Missed
from vfod.run.repertoire import Repertoire
from vfod.run.stream import Stream
from vfod.run.sweeper import Sweeper
from vfod.run.tuner import Tuner

#: The wall clock is compared with the agenda at least this often, seconds: a jump of the clock
#: costs at most that much of a window.
LOOK_EVERY = 20.0

#: Why a sweep ended whose box has a low battery.
BATTERY = "battery"

_WINDOW = e.Origin(door=e.Door.WINDOW)
_DAEMON = e.Origin(door=e.Door.DAEMON)


class Keeper:
    """The agenda and the sweeps of one VFO."""

    def __init__(
        self,
        stream: Stream,
        clock: Clock,
        tuner: Tuner,
        desk: Desk,
        watch: ClockWatch,
        *,
        orders: Orders,
    ) -> None:
        self._stream = stream
        self._clock = clock
        self._tuner = tuner
        self._desk = desk
        self._watch = watch
        self._missed = Missed(watch, self._emit, lambda: stream.state.vfos[tuner.name])
        self._orders = orders
        self._left_off: LeftOff | None = None
        self._stopped_at: float | None = None
        self._open: Slot | None = None
        #: The opening a person stopped the sweep in: it is not started again in it.
        self._declined: Slot | None = None
        self._sweeper: Sweeper | None = None
        self._task: asyncio.Task[None] | None = None
        self._by_person = False
        self._link_is_new = False
        self._spares_battery = False
        self.repertoire = Repertoire(tuner)
        self._alarm = Alarm()
        #: Last time the agenda was looked at (monotonic), for the watchdog.
        self.last_beat = clock.monotonic()
        desk.sweeping = self
        desk.on_touch = self._poke
        tuner.on_link = self._link_changed
        tuner.on_battery = self._alarm.poke

    def _emit(self, event: e.Event, cause: str | None = None, /) -> e.Stamped:
        return self._stream.emit(event, vfo=self._tuner.name, cause=cause)

    def _poke(self) -> None:
        if self._sweeper is not None:
            self._sweeper.poke()

    def _link_changed(self) -> None:
        self._link_is_new = self._tuner.connected.is_set()
        self._poke()
        self._alarm.poke()

    def ahead(self, of: int | None) -> int | None:
        """The channel that the running sweep visits after channel `of`; None without a sweep."""
        if self._sweeper is None:
            return None
        visit, coming = self._sweeper.visit, self._sweeper.course.coming
        return coming.dial if visit.dial == of else visit.dial

    def remember(
        self,
        *,
        left_off: LeftOff | None = None,
        stopped_at: float | None = None,
        alive: float | None = None,
    ) -> None:
        """What the journal says of the last run of the daemon, once the clock can be believed.

        Wall clock: when a person stopped a sweep, and the last sign of life.
        """
        self._left_off = left_off
        self._stopped_at = stopped_at
        self._missed.accounted = alive

    # --- the agenda -----------------------------------------------------------------------------

    async def run(self) -> None:
        """Keep the agenda until cancelled; then end the sweep in good order."""
        try:
            while True:
                self.last_beat = self._clock.monotonic()
                wall = self._watch.look()
                self._go_on()
                self._missed.look(self._orders.windows, wall, declined_at=self._stopped_at)
                await self._keep(wall)
                await self._alarm.wait(
                    self.last_beat + min(LOOK_EVERY, max(self._next_edge() - wall, 0.0))
                )
        finally:
            await self._end("the daemon stopped", _DAEMON, None)
            if self._orders.output_in_windows:
                await self._output(False)

    def _next_edge(self) -> float:
        window = self._stream.state.vfos[self._tuner.name].window
        edges = [t for t in (window.closes, window.next_opens) if t is not None]
        return min(edges, default=float("inf"))

    def _go_on(self) -> None:
        left = self._left_off
        if left is not None and left.by_person:
            self._left_off = None
            if left.sweep not in self._orders.sweeps or self._sweeper is not None:
                return
            with contextlib.suppress(UsageError, RefusedError):
                self._begin(left.sweep, _DAEMON, None, from_dial=left.dial)
                self._by_person = True

    async def _keep(self, wall: float) -> None:
        slot = open_at(self._orders.windows, wall) if self._watch.trusted else None
        await self._mind_battery()
        if slot is not None and is_moved(slot, self._open):
            self._move_window(slot)
        if self._open is not None and not is_same(slot, self._open):
            await self._close_window(wall)
        if slot is not None and self._open is None:
            await self._open_window(slot, wall)
        elif (
            slot is not None
            and self._sweeper is None
            and not is_same(slot, self._declined)
            and self._may_start
        ):
            self._start_for(slot, wall)
        elif slot is None and self._orders.output_in_windows and self._link_is_new:
            # A box that was switched on or plugged in between two windows.
            await self._output(False)
        self._link_is_new = False
        self._await_next(wall)

    def _await_next(self, wall: float) -> None:
        coming = next_opening(self._orders.windows, wall) if self._watch.trusted else None
        known = self._stream.state.vfos[self._tuner.name].window
        if (known.next_opens, known.next_name) != (
            (coming.opens, coming.window.name) if coming else (None, None)
        ):
            self._emit(openings.awaited(coming))

    async def _open_window(self, slot: Slot, wall: float) -> None:
        self._open = slot
        self._missed.opened(wall)
        self._emit(openings.opened(slot))
        if self._stopped_at is not None and self._stopped_at >= slot.opens:
            self._declined, self._missed.why = slot, "declined"
            return
        if self._orders.output_in_windows and not self._tuner.battery_low:
            await self._output(True)
        if self._sweeper is None and self._may_start:
            self._start_for(slot, wall)

    def _move_window(self, slot: Slot) -> None:
        if is_same(self._declined, self._open):
            self._declined = slot
        self._open = slot
        self._emit(openings.moved(slot))

    @property
    def _may_start(self) -> bool:
        """Whether a window may start a sweep by itself."""
        return self._tuner.limits_known and not self._tuner.battery_low

    async def _mind_battery(self) -> None:
        """One newly low ends the sweep and switches the output off; one that is fine undoes it."""
        low = self._tuner.battery_low
        if low is self._spares_battery:
            return
        self._spares_battery = low
        if low:
            await self._end(BATTERY, _DAEMON, None)
        await self._spare_battery(low)

    async def _spare_battery(self, spare: bool) -> None:
        if self._orders.output_in_windows:
            await self._output(not spare and self._open is not None)
        with contextlib.suppress(RefusedError, LineError):
            await self._tuner.spare_battery(spare)

    def _start_for(self, slot: Slot, wall: float) -> None:
        left = self._left_off
        joins = left is not None and left.sweep == slot.window.sweep and left.time >= slot.opens
        self._left_off = None
        name, dial = slot.window.sweep, self.repertoire.goes_on(slot)
        dial = left.dial if left is not None and joins else dial
        try:
            self._begin(name, _WINDOW, None, window=slot.window, from_dial=dial)
            self._missed.started(slot, wall)
        except (UsageError, RefusedError) as error:
            self._declined, self._missed.why = slot, "refused"
            self._emit(
                e.SweepRefused(sweep=slot.window.sweep, window=slot.window.name, reason=str(error))
            )

    async def _close_window(self, wall: float) -> None:
        assert self._open is not None
        slot, self._open = self._open, None
        yielded = not self._desk.sweep_may_move
        if self._sweeper is not None and not self._by_person:
            self.repertoire.leaves(slot, self._sweeper.course.own.dial)
            await self._end("the window closed", _WINDOW, None)
            if not yielded:
                await self._dial_afterwards()
        if self._orders.output_in_windows and not yielded:
            await self._output(False)
        self._emit(e.WindowClosed(window=slot.window.name, sweep=slot.window.sweep))
        self._missed.closed(slot, wall, yielded=yielded)

    async def _dial_afterwards(self) -> None:
        after = self._orders.afterwards
        dial = after.park if after.park is not None else self._desk.home
        if dial is None or (after.park is None and not after.go_back):
            return
        with contextlib.suppress(RefusedError, LineError):
            async with self._tuner.lock:
                await self._tuner.tune(dial, by=_WINDOW, hand=self._tuner.newest_hand)

    async def _output(self, on: bool) -> None:
        if self._stream.state.vfos[self._tuner.name].output is on:
            return
        with contextlib.suppress(RefusedError, LineError):
            await self._tuner.switch_output(on, _WINDOW)

    # --- sweeps ---------------------------------------------------------------------------------

    def _begin(
        self,
        name: str,
        by: e.Origin,
        cause: str | None,
        *,
        window: Window | None = None,
        from_dial: int | None = None,
    ) -> e.Stamped:
        roster = self.repertoire.roster(self._orders, name, window)
        if self._desk.home is None:
            self._desk.home = self._tuner.dial
        plan = roster.main
        sweeper = Sweeper(
            roster,
            self._tuner,
            self._desk,
            self._clock,
            self._emit,
            self._orders.ears,
            start=(0, 0) if from_dial is None else plan.resume_at(from_dial),
            mute=self._orders.mute_in_sweeps,
            detectors=self.repertoire.detectors_of(roster),
        )
        stamped = self._emit(
            e.SweepStarted(sweep=name, channels=len(plan), dial=sweeper.visit.dial, by=by), cause
        )
        self._sweeper = sweeper
        self._by_person = False
        self._task = asyncio.create_task(sweeper.run(), name=f"sweep {name}")
        self._task.add_done_callback(self._done)
        return stamped

    def _done(self, task: asyncio.Task[None]) -> None:
        # A sweep ends only by being cancelled; anything else is our own mistake, and is told.
        if not task.cancelled() and (error := task.exception()) is not None:
            sweeper, self._sweeper, self._task = self._sweeper, None, None
            if sweeper is not None:
                self._ended(sweeper, f"failed: {error!r}", _DAEMON, None)

    def _ended(self, sweeper: Sweeper, reason: str, by: e.Origin, cause: str | None) -> e.Stamped:
        return self._emit(
            e.SweepEnded(
                sweep=sweeper.name,
                visits=sweeper.visits,
                passes=sweeper.course.passes,
                reason=reason,
                by=by,
            ),
            cause,
        )

    async def _end(self, reason: str, by: e.Origin, cause: str | None) -> e.Stamped | None:
        if self._sweeper is None or self._task is None:
            return None
        sweeper, task = self._sweeper, self._task
        self._sweeper = self._task = None
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        await sweeper.release_speaker()
        return self._ended(sweeper, reason, by, cause)

    # --- a new configuration --------------------------------------------------------------------

    async def take(self, orders: Orders, *, levels_anew: bool, cause: str | None) -> None:
        """Go by other orders: a running sweep at its next visit or pass, all else at once.

        With `levels_anew` what was learned of levels no longer means anything.
        """
        was, self._orders = self._orders, orders
        if levels_anew:
            self.repertoire.detectors.clear()
        if self._missed.why == "refused":
            self._declined, self._missed.why = None, ""
        await self._take_sweep(cause)
        is_open = self._open is not None
        newly = orders.output_in_windows and not was.output_in_windows
        if newly and (is_open or self._desk.sweep_may_move):
            await self._output(is_open and not self._tuner.battery_low)
        self._alarm.poke()

    async def _take_sweep(self, cause: str | None) -> None:
        sweeper, orders = self._sweeper, self._orders
        if sweeper is None:
            return
        if sweeper.name not in orders.sweeps:
            await self._end("it is no longer in the configuration", _WINDOW, cause)
            return
        window = self._open.window if self._open and not self._by_person else None
        try:
            roster = self.repertoire.again(orders, sweeper.course.roster)
            next_pass = self.repertoire.roster(orders, sweeper.name, window)
        except (UsageError, RefusedError) as error:
            await self._end(f"not possible by the new configuration: {error}", _WINDOW, cause)
            return
        detectors = self.repertoire.detectors_of(roster, next_pass)
        sweeper.take(roster, orders.ears, detectors, next_pass)
        await sweeper.take_mute(orders.mute_in_sweeps)

    # --- what the desk asks (desk.Sweeping) -------------------------------------------------------

    async def start(self, sweep: str, by: e.Origin, cause: str | None) -> e.Stamped:
        """See desk.Sweeping."""
        if sweep not in self._orders.sweeps:
            names = ", ".join(self._orders.sweeps) or "none is configured"
            raise RefusedError(f"there is no sweep {sweep!r}", remedy=f"known: {names}")
        await self._end(f"sweep {sweep} was asked for", by, None)
        stamped = self._begin(sweep, by, cause)
        self._by_person = True
        if self._tuner.battery_low:
            # Who asks for a sweep on a low battery wants to hear something.
            await self._spare_battery(False)
        return stamped

    async def stop(self, reason: str, by: e.Origin, cause: str | None) -> e.Stamped:
        """See desk.Sweeping."""
        ended = await self._end(reason, by, cause)
        if ended is None:
            raise RefusedError("no sweep is running", remedy="there is nothing to stop")
        self._declined, self._missed.why = self._open, "declined"
        return ended

    async def skip(self, by: e.Origin, cause: str | None) -> e.Stamped:
        """See desk.Sweeping."""
        if self._sweeper is None or not self._desk.sweep_may_move:
            raise RefusedError("no sweep is moving", remedy="start or resume one first")
        stamped = self._emit(
            e.ChannelSkipped(sweep=self._sweeper.name, dial=self._sweeper.visit.dial, by=by), cause
        )
        self._sweeper.skip()
        return stamped

    async def next_word(self, cause: str | None) -> e.Stamped | None:
        """See desk.Sweeping."""
        return await self._sweeper.next_word(cause) if self._sweeper is not None else None
