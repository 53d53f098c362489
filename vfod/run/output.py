"""When the oscillator's output is on: by policy, by a person, and not at any cost.

`output: on` switches it on when a box greets, `windows` in windows only, `leave` never by itself.
A low battery switches it off by whatever policy, unless somebody wants it on in spite of that, and
what was on comes back when it is charged. A box that resets again and again may do so because its
output pulls the supply down: then only a person switches it on.
"""

import collections
import contextlib

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import LineError, RefusedError
from vfod.run.contact import Contact
from vfod.wire import messages as w

#: Resets within a minute after which the output is no longer switched on: a box that resets when
#: its output goes on (a weak supply, a short) would otherwise be driven into it for ever.
RESETS, RESETS_WITHIN = 3, 60.0

_DAEMON = e.Origin(door=e.Door.DAEMON)
_WINDOW = e.Origin(door=e.Door.WINDOW)


class Output:
    """The output of one VFO; `on` is what it should be all the time, None where no policy says."""

    def __init__(self, contact: Contact, clock: Clock, *, on: bool | None) -> None:
        self._contact = contact
        self._clock = clock
        self._want = on
        #: Whether it follows the windows.
        self.in_windows = False
        #: Somebody wants it on in spite of a low battery.
        self._in_spite = False
        #: It was on, by nobody's policy, when the battery became low.
        self._was_on = False
        self._resets: collections.deque[float] = collections.deque(maxlen=RESETS)
        self._held_off = False

    # --- by policy ------------------------------------------------------------------------------

    async def take(self, on: bool | None) -> None:
        """What it should be all the time from now on; None leaves it as it is."""
        self._want = on
        known = self._contact.known
        if on and not known.battery_low and not known.output:
            with contextlib.suppress(RefusedError, LineError):
                await self.switch(True, _DAEMON)

    async def greeted(self) -> None:
        """A box has greeted as it was, not from a reset: set what the policy says."""
        if not self._contact.can(w.Ability.OUTPUT):
            return
        may_be_on = self._in_spite or not self._contact.known.battery_low
        if self._want is not None:
            await self._switch(self._want and may_be_on, _DAEMON)
        elif may_be_on:
            await self._put_back()
        else:
            await self._take_away()

    async def follow_window(self, is_open: bool) -> None:
        """Where it follows the windows: on while one is open, off while none is."""
        if not self.in_windows or self._contact.known.output is is_open:
            return
        with contextlib.suppress(RefusedError, LineError):
            await self.switch(is_open, _WINDOW)

    async def spare_battery(self, spare: bool, *, in_window: bool) -> None:
        """Switch it off, or on again where it is wanted on now or was."""
        self._in_spite = not spare and self._contact.known.battery_low
        await self.follow_window(not spare and in_window)
        if not self._contact.can(w.Ability.OUTPUT):
            return
        with contextlib.suppress(RefusedError, LineError):
            if self._want:
                await self._switch(not spare, _DAEMON)
            elif self._want is None:
                await (self._take_away() if spare else self._put_back())

    async def _take_away(self) -> None:
        if self._contact.known.output:
            await self._switch(False, _DAEMON)
            self._was_on = not self.in_windows

    async def _put_back(self) -> None:
        if self._was_on and not self.in_windows:
            await self._switch(True, _DAEMON)
            self._was_on = False

    # --- after a reset --------------------------------------------------------------------------

    def count_reset(self, boot: str) -> None:
        """The box has reset; too often, and the output is held off."""
        now = self._clock.monotonic()
        self._resets.append(now)
        self._contact.emit(e.BoxReset(boot=boot))
        if len(self._resets) == RESETS and now - self._resets[0] <= RESETS_WITHIN:
            self._held_off = True
            self._contact.emit(e.OutputHeldOff(resets=RESETS))

    async def restore(self, on: bool | None) -> None:
        """Set it as it was before a reset, unless it is held off."""
        if on is not None and self._contact.can(w.Ability.OUTPUT) and not self._held_off:
            await self._contact.linked().ask(w.Output(on=on))

    # --- asked for ------------------------------------------------------------------------------

    async def switch(self, on: bool, by: e.Origin, cause: str | None = None) -> e.Stamped:
        """Switch it; refused while it is held off, except to a person."""
        self._contact.need(w.Ability.OUTPUT, "switch its output")
        if on and self._held_off and not by.door.is_person:
            raise RefusedError(
                "the output is held off, since the box reset again and again",
                remedy="look at its supply; a person can switch the output on",
            )
        self._held_off = self._held_off and not on
        self._in_spite, self._was_on = on and self._contact.known.battery_low, False
        self._want = on if self._want is not None else None
        return await self._switch(on, by, cause)

    async def _switch(self, on: bool, by: e.Origin, cause: str | None = None) -> e.Stamped:
        await self._contact.linked().ask(w.Output(on=on))
        return self._contact.emit(e.OutputSwitched(on=on, by=by), cause)
