"""Keeps the agenda of one VFO: opens windows, has their sweeps run, returns the dial.

The wall clock says when a window opens; it is looked at again at least every `LOOK_EVERY` seconds,
because it can jump (clockwatch) while the loop's own clock does not; while it cannot be believed,
no window is open. A daemon that starts inside a window joins it, at the channel where the journal
says that the sweep stopped (`remember`). What went by without its sweep is told (missed). The sweep
itself is `running`.
"""

import contextlib

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import LineError, RefusedError, UsageError
from vfod.plan.slots import Slot, is_same, next_opening, open_at
from vfod.run.alarm import Alarm
from vfod.run.clockwatch import ClockWatch
from vfod.run.desk import Desk
from vfod.run.given import LeftOff, Orders
from vfod.run.missed import Missed
from vfod.run.openings import Openings
from vfod.run.repertoire import Repertoire
from vfod.run.running import Running
from vfod.run.stream import Stream
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
        self._missed = Missed(watch, self._emit, lambda: tuner.known)
        self._openings = Openings(self._emit, self._missed, lambda: tuner.known)
        self._orders = orders
        self._left_off: LeftOff | None = None
        self._stopped_at: float | None = None
        self._link_is_new = False
        self._spares_battery = False
        self.repertoire = Repertoire(tuner)
        self.running = Running(tuner, desk, clock, self._emit, self.repertoire)
        self._alarm = Alarm()
        #: Last time the agenda was looked at (monotonic), for the watchdog.
        self.last_beat = clock.monotonic()
        desk.sweeping = self
        desk.on_touch = self.running.poke
        tuner.on_link = self._link_changed
        tuner.findings.on_battery = self._alarm.poke
        tuner.output.in_windows = orders.output_in_windows

    def _emit(self, event: e.Event, cause: str | None = None, /) -> e.Stamped:
        return self._stream.emit(event, vfo=self._tuner.name, cause=cause)

    def _link_changed(self) -> None:
        self._link_is_new = self._tuner.connected.is_set()
        self.running.poke()
        self._alarm.poke()

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
                edge = max(self._openings.next_edge - wall, 0.0)
                await self._alarm.wait(self.last_beat + min(LOOK_EVERY, edge))
        finally:
            await self.running.end("the daemon stopped", _DAEMON, None)
            await self._tuner.output.follow_window(False)

    def _go_on(self) -> None:
        left = self._left_off
        if left is not None and left.by_person:
            self._left_off = None
            if left.sweep not in self._orders.sweeps or self.running:
                return
            with contextlib.suppress(UsageError, RefusedError):
                self.running.begin(
                    self._orders, left.sweep, _DAEMON, None, from_dial=left.dial, by_person=True
                )

    async def _keep(self, wall: float) -> None:
        slot = open_at(self._orders.windows, wall) if self._watch.trusted else None
        await self._mind_battery()
        self._openings.follow(slot)
        if self._openings.slot is not None and not is_same(slot, self._openings.slot):
            await self._close_window(wall)
        if slot is not None and self._openings.slot is None:
            await self._open_window(slot, wall)
        elif slot is not None:
            self._start_for(slot, wall)
        elif self._link_is_new:
            # A box that was switched on or plugged in between two windows.
            await self._tuner.output.follow_window(False)
        self._link_is_new = False
        trusted = self._watch.trusted
        self._openings.expect(next_opening(self._orders.windows, wall) if trusted else None)

    async def _open_window(self, slot: Slot, wall: float) -> None:
        self._openings.open(slot, wall)
        if self._stopped_at is not None and self._stopped_at >= slot.opens:
            self._openings.decline("declined")
            return
        if not self._tuner.battery_low:
            await self._tuner.output.follow_window(True)
        self._start_for(slot, wall)

    async def _mind_battery(self) -> None:
        """One newly low ends the sweep and switches the output off; one that is fine undoes it."""
        low = self._tuner.battery_low
        if low is self._spares_battery:
            return
        self._spares_battery = low
        if low:
            await self.running.end(BATTERY, _DAEMON, None)
        await self._spare_battery(low)

    async def _spare_battery(self, spare: bool) -> None:
        in_window = self._openings.slot is not None
        await self._tuner.output.spare_battery(spare, in_window=in_window)

    def _start_for(self, slot: Slot, wall: float) -> None:
        """Start the sweep of the open window, if nothing speaks against it."""
        if self.running or self._openings.declined:
            return
        if not self._tuner.limits_known or self._tuner.battery_low:
            return
        left = self._left_off
        joins = left is not None and left.sweep == slot.window.sweep and left.time >= slot.opens
        self._left_off = None
        name, dial = slot.window.sweep, self.repertoire.goes_on(slot)
        dial = left.dial if left is not None and joins else dial
        try:
            self.running.begin(
                self._orders, name, _WINDOW, None, window=slot.window, from_dial=dial
            )
            self._missed.started(slot, wall)
        except (UsageError, RefusedError) as error:
            self._openings.decline("refused")
            self._emit(
                e.SweepRefused(sweep=slot.window.sweep, window=slot.window.name, reason=str(error))
            )

    async def _close_window(self, wall: float) -> None:
        slot = self._openings.close()
        yielded = not self._desk.sweep_may_move
        left_at = self.running.left_at
        if left_at is not None and not self.running.by_person:
            self.repertoire.leaves(slot, left_at)
            await self.running.end("the window closed", _WINDOW, None)
            if not yielded:
                await self._dial_afterwards()
        if not yielded:
            await self._tuner.output.follow_window(False)
        self._openings.closed(slot, wall, yielded=yielded)

    async def _dial_afterwards(self) -> None:
        after = self._orders.afterwards
        dial = after.park if after.park is not None else self._desk.home
        if dial is None or (after.park is None and not after.go_back):
            return
        with contextlib.suppress(RefusedError, LineError):
            async with self._tuner.lock:
                await self._tuner.tune(dial, by=_WINDOW, hand=self._tuner.newest_hand)

    # --- a new configuration --------------------------------------------------------------------

    async def take(self, orders: Orders, *, levels_anew: bool, cause: str | None) -> None:
        """Go by other orders: a running sweep at its next visit or pass, all else at once.

        With `levels_anew` what was learned of levels no longer means anything.
        """
        was, self._orders = self._orders, orders
        self._tuner.output.in_windows = orders.output_in_windows
        if levels_anew:
            self.repertoire.detectors.clear()
        self._openings.reconsider()
        slot = self._openings.slot
        await self.running.take(orders, slot.window if slot else None, cause)
        is_open = self._openings.slot is not None
        newly = orders.output_in_windows and not was.output_in_windows
        if newly and (is_open or self._desk.sweep_may_move):
            await self._tuner.output.follow_window(is_open and not self._tuner.battery_low)
        self._alarm.poke()

    # --- what the desk asks (desk.Sweeping) -------------------------------------------------------

    async def start(self, sweep: str, by: e.Origin, cause: str | None) -> e.Stamped:
        """See desk.Sweeping."""
        if sweep not in self._orders.sweeps:
            names = ", ".join(self._orders.sweeps) or "none is configured"
            raise RefusedError(f"there is no sweep {sweep!r}", remedy=f"known: {names}")
        await self.running.end(f"sweep {sweep} was asked for", by, None)
        stamped = self.running.begin(self._orders, sweep, by, cause, by_person=True)
        if self._tuner.battery_low:
            # Who asks for a sweep on a low battery wants to hear something.
            await self._spare_battery(False)
        return stamped

    async def stop(self, reason: str, by: e.Origin, cause: str | None) -> e.Stamped:
        """See desk.Sweeping."""
        ended = await self.running.end(reason, by, cause)
        if ended is None:
            raise RefusedError("no sweep is running", remedy="there is nothing to stop")
        self._openings.decline("declined")
        return ended

    async def skip(self, by: e.Origin, cause: str | None) -> e.Stamped:
        """See desk.Sweeping."""
        return self.running.skip(by, cause)

    async def next_word(self, cause: str | None) -> e.Stamped | None:
        """See desk.Sweeping."""
        return await self.running.next_word(cause)
