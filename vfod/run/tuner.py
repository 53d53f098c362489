"""One VFO as the rest of the program sees it: dial frequencies in, events out.

The tuner knows the receiver's law and what the set should be like, and nothing of who may move the
dial (that is the desk) or of bytes (that is the link). After a reset of the box it sets everything
again as it was wanted. A link is handed to it by the supervisor and taken away again; while there
is none, asking raises LinkDownError.
"""

import asyncio
import collections
import contextlib
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import LineError, LinkDownError, OutOfRangeError, RefusedError
from vfod.radio.receiver import Receiver
from vfod.run.battery import BatteryWatch
from vfod.run.hand import HandWatch
from vfod.run.stream import Stream
from vfod.state import VfoState
from vfod.wire import messages as w

if TYPE_CHECKING:
    from vfod.device.link import Link

#: Resets within a minute after which the output is no longer switched on: a box that resets when
#: its output goes on (a weak supply, a short) would otherwise be driven into it for ever.
RESETS, RESETS_WITHIN = 3, 60.0

#: How often the box is asked for its battery and temperature when nothing else asks, seconds: both
#: change over minutes.
LOOK_EVERY = 60.0

#: Changes worth an event: above the noise of a cheap converter, below what a person would miss.
BATTERY_CHANGE, TEMPERATURE_CHANGE = 0.05, 0.5

#: Of an outage that began so, what is found at the next attempts and says nothing new: a board that
#: was pulled out or hangs is not there. Whatever else comes is, such as another program that has
#: taken the port meanwhile.
_NO_NEWS = {
    "lost": ("missing",),
    "reset": ("missing",),
    "silent": ("missing",),
    "stuck": ("missing", "silent"),
}

_DAEMON = e.Origin(door=e.Door.DAEMON)


class Moved(NamedTuple):
    """The event of a movement, and the frequency the box then produces, millihertz."""

    stamped: e.Stamped
    produced: int


class Tuner:
    """The one VFO `name`; `on_hand` is called, with the door, when a hand is at the set."""

    def __init__(
        self,
        name: str,
        stream: Stream,
        clock: Clock,
        receiver: Receiver,
        *,
        output_on: bool | None = None,
        battery_low_at: float | None = None,
    ) -> None:
        self.name = name
        self._stream = stream
        self._clock = clock
        self._described = receiver
        self.receiver = receiver
        #: What the output should be by policy; None leaves it as the box has it.
        self._want_output = output_on
        self._link: Link | None = None
        self._hands = HandWatch()
        self._boot: int | None = None
        self._limits: w.Limits | None = None
        self._resets: collections.deque[float] = collections.deque(maxlen=RESETS)
        self._held_off = False
        self._measured_at = float("-inf")
        self._battery_watch = BatteryWatch(battery_low_at)
        #: Serialises what reads the dial and then moves it.
        self.lock = asyncio.Lock()
        #: Set while a link is up.
        self.connected = asyncio.Event()
        self.on_hand: Callable[[e.Origin], None] = lambda _: None
        self.on_link: Callable[[], None] = lambda: None
        self.on_battery: Callable[[], None] = lambda: None

    # --- what is known ------------------------------------------------------------------------

    @property
    def known(self) -> VfoState:
        """All that is known of this VFO."""
        return self._stream.state.vfos[self.name]

    @property
    def dial(self) -> int | None:
        """Where the dial stands, hertz, as far as known."""
        return self.known.dial

    @property
    def limits_known(self) -> bool:
        """Whether a box has said what it can be tuned to: before that no sweep can be planned."""
        return self._boot is not None

    @property
    def step(self) -> int:
        """The step in force, hertz: the box's own, else 1 kHz."""
        return self.known.step or 1000

    @property
    def battery_low(self) -> bool:
        """Whether the box said that its battery is low, and it was not charged since."""
        return self.known.battery_low

    @property
    def newest_hand(self) -> int:
        """Number of the newest hand event known; what a tune carries."""
        return self._link.newest_hand if self._link else 0

    def can(self, ability: w.Ability) -> bool:
        """Whether the box now connected has an ability."""
        return self._link is not None and ability in self._link.greeting.abilities.can

    def _emit(self, event: e.Event, cause: str | None = None) -> e.Stamped:
        return self._stream.emit(event, vfo=self.name, cause=cause)

    # --- a new configuration --------------------------------------------------------------------

    def describe(self, receiver: Receiver) -> None:
        """Go by that receiver from the next movement of the dial on, as far as the box reaches."""
        self._described = self.receiver = receiver
        if self._limits is not None:
            self.receiver = receiver.limited(self._limits.low, self._limits.high)

    async def take_output(self, on: bool | None) -> None:
        """What the output should be by policy from now on; None leaves it as it is."""
        self._want_output = on
        if on and not self.battery_low and not self.known.output:
            with contextlib.suppress(RefusedError, LineError):
                await self.switch_output(True, _DAEMON)

    # --- the supervisor's side ------------------------------------------------------------------

    async def up(self, link: "Link") -> None:
        """A box has greeted on a new link: say so, set again what a reset undid, look at it."""
        greeting = link.greeting
        identity, limits = greeting.identity, greeting.limits
        was_reset = self._boot is not None and identity.boot != self._boot
        self._boot = identity.boot
        self._link = link
        self._limits = limits
        self.describe(self._described)
        self._emit(
            e.LinkGreeted(
                port=link.name,
                protocol=identity.protocol,
                model=identity.model,
                firmware=identity.firmware,
                serial=identity.serial,
                boot=f"{identity.boot:08X}",
                low=limits.low,
                high=limits.high,
                resolution=limits.resolution,
                settle=limits.settle,
                abilities=tuple(sorted(greeting.abilities.can)),
            )
        )
        if was_reset:
            self._count_reset(f"{identity.boot:08X}")
            await self._restore(link)
        else:
            self._found(link.reading)
            if self._want_output is not None and self.can(w.Ability.OUTPUT):
                await self._switch(self._want_output and not self.battery_low, _DAEMON)
        self.connected.set()
        self.on_link()

    def down(self, error: LineError) -> None:
        """The link is gone, or could not be made."""
        known = self.known.link
        self._link = None
        self.connected.clear()
        # One entry an incident: not one for each attempt to open it again.
        if known.phase == "up" or error.reason not in (
            known.reason,
            *_NO_NEWS.get(known.reason, ()),
        ):
            self._emit(
                e.LinkLost(port=error.port or known.port, reason=error.reason, detail=str(error))
            )
        self.on_link()

    def _count_reset(self, boot: str) -> None:
        now = self._clock.monotonic()
        self._resets.append(now)
        self._emit(e.BoxReset(boot=boot))
        if len(self._resets) == RESETS and now - self._resets[0] <= RESETS_WITHIN:
            self._held_off = True
            self._emit(e.OutputHeldOff(resets=RESETS))

    async def _restore(self, link: "Link") -> None:
        """After a reset everything is as at power-on: set what was known before."""
        known = self.known
        if known.step is not None and self.can(w.Ability.KNOB):
            await link.ask(w.Step(hertz=known.step))
        if known.muted is not None and self.can(w.Ability.MUTE):
            await link.ask(w.Mute(on=known.muted))
        if known.select is not None and self.can(w.Ability.SELECT):
            await link.ask(w.Select(n=known.select))
        if known.dial is not None and link.newest_hand == 0:
            await self.tune(known.dial, by=_DAEMON, hand=0)
        else:
            self._found(link.reading)
        if known.output is not None and self.can(w.Ability.OUTPUT) and not self._held_off:
            await link.ask(w.Output(on=known.output))

    def _found(self, reading: w.Reading) -> None:
        """Bring the state in line with what the box says of itself."""
        known = self.known
        if reading.frequency != known.produced:
            dial = self._dial_for(reading.frequency)
            self._emit(e.DialFound(dial=dial, oscillator=reading.frequency))
        if reading.step is not None and reading.step != known.step:
            self._emit(e.StepChanged(step=reading.step, by=_DAEMON))
        if reading.output is not None and reading.output != known.output:
            self._emit(e.OutputSwitched(on=reading.output, by=_DAEMON))
        if reading.muted is not None and reading.muted != known.muted:
            self._emit(e.SpeakerMuted(muted=reading.muted, by=_DAEMON))
        if reading.select is not None and reading.select != known.select:
            self._emit(e.FilterSelected(select=reading.select))
        self._measured(reading)

    def told(self, event: "w.Event | w.Reading") -> None:
        """The box spoke by itself, or was looked at because something it said got lost."""
        match event:
            case w.Turned(number=number, frequency=frequency):
                self._turned(number, frequency)
            case w.Pressed(number=number, button=button):
                self._emit(e.ButtonPressed(number=number, button=button))
                self.on_hand(e.Origin(door=e.Door.BUTTON, who=button))
            case w.BatteryLow(millivolts=millivolts):
                self._battery(self._battery_watch.told(millivolts / 1000))
            case w.Reading():
                # Not a hand: the link tells a Turned before it if one was there.
                self._found(event)

    def _turned(self, number: int, oscillator: int) -> None:
        before = self.dial
        dial = self._dial_for(oscillator)
        self._emit(e.KnobTurned(number=number, dial=dial, oscillator=oscillator))
        steps = 2
        if before is not None and dial is not None and before != dial:
            steps = round((dial - before) / self.step) or (1 if dial > before else -1)
        now = self._clock.monotonic()
        if self._hands.turned(now, steps):
            self.on_hand(e.Origin(door=e.Door.KNOB))
        elif trembles := self._hands.trembles_to_report(now):
            self._emit(e.EncoderJittered(times=trembles))

    def _dial_for(self, oscillator: int) -> int | None:
        try:
            return self.receiver.dial_for(oscillator, near=self.dial)
        except OutOfRangeError:
            return None

    # --- asking the box -------------------------------------------------------------------------

    def linked(self) -> "Link":
        """The link; LinkDownError where there is none."""
        if self._link is None:
            known = self.known.link
            raise LinkDownError(
                f"the VFO {self.name} is not reachable"
                + (f" ({known.reason})" if known.reason else ""),
                remedy="see that it is plugged in; it is looked for all the time",
            )
        return self._link

    async def tune(
        self, dial: int, *, by: e.Origin, hand: int | None, cause: str | None = None
    ) -> Moved:
        """Move the dial to `dial` hertz; `hand` is the newest hand event the mover knows of.

        Raises OutOfRangeError before anything is sent, HandError when a hand was there since, and
        what the link raises.
        """
        link = self.linked()
        wanted = self.receiver.millihertz_for(dial)
        select = self.receiver.range_at(dial).select
        if select is not None and select != self.known.select and self.can(w.Ability.SELECT):
            await link.ask(w.Select(n=select))
            self._emit(e.FilterSelected(select=select), cause)
        answer = await link.ask(w.Tune(frequency=wanted, hand=hand))
        stamped = self._emit(
            e.DialTuned(dial=dial, oscillator=wanted, produced=answer.frequency, by=by), cause
        )
        return Moved(stamped, answer.frequency)

    async def read(self) -> w.Reading:
        """Everything the box can measure, now."""
        answer = await self.linked().ask(w.Read())
        self._measured(answer)
        return answer

    def _measured(self, reading: w.Reading) -> None:
        known = self.known
        battery = None if reading.battery is None else reading.battery / 1000
        self._measured_at = self._clock.monotonic()
        if _far(battery, known.battery, BATTERY_CHANGE) or _far(
            reading.temperature, known.temperature, TEMPERATURE_CHANGE
        ):
            self._emit(e.BoxMeasured(battery=battery, temperature=reading.temperature))
        self._battery(self._battery_watch.measured(battery, known_low=self.battery_low))

    def _battery(self, said: e.BatteryLow | e.BatteryFine | None) -> None:
        if said is not None:
            self._emit(said)
            self.on_battery()

    async def spare_battery(self, spare: bool) -> None:
        """Switch off an output that is on by policy, or on again."""
        if self._want_output and self.can(w.Ability.OUTPUT):
            await self._switch(not spare, _DAEMON)

    async def switch_output(self, on: bool, by: e.Origin, cause: str | None = None) -> e.Stamped:
        """Switch the oscillator's output; refused while it is held off after too many resets."""
        self._need(w.Ability.OUTPUT, "switch its output")
        if on and self._held_off and not by.door.is_person:
            raise RefusedError(
                "the output is held off, since the box reset again and again",
                remedy="look at its supply; a person can switch the output on",
            )
        self._held_off = self._held_off and not on
        self._want_output = on if self._want_output is not None else None
        return await self._switch(on, by, cause)

    async def _switch(self, on: bool, by: e.Origin, cause: str | None = None) -> e.Stamped:
        await self.linked().ask(w.Output(on=on))
        return self._emit(e.OutputSwitched(on=on, by=by), cause)

    async def mute(self, muted: bool, by: e.Origin, cause: str | None = None) -> e.Stamped:
        """Mute the receiver's speaker or release it."""
        self._need(w.Ability.MUTE, "mute the speaker")
        await self.linked().ask(w.Mute(on=muted))
        return self._emit(e.SpeakerMuted(muted=muted, by=by), cause)

    async def mute_if_able(self, muted: bool, by: e.Origin) -> None:
        """Mute or release the speaker where the box can and it is not so already."""
        if self.can(w.Ability.MUTE) and self.known.muted is not muted:
            await self.mute(muted, by)

    async def set_step(self, step: int, by: e.Origin, cause: str | None = None) -> e.Stamped:
        """Set the step, hertz: of the knob where the box has one, of bare nudges in any case."""
        link = self.linked()
        if self.can(w.Ability.KNOB):
            await link.ask(w.Step(hertz=step))
        return self._emit(e.StepChanged(step=step, by=by), cause)

    def _need(self, ability: w.Ability, what: str) -> None:
        self.linked()
        if not self.can(ability):
            raise RefusedError(f"the VFO {self.name} cannot {what}")

    async def look_now_and_then(self) -> None:
        """Ask for battery and temperature when nobody has for a while. Runs until cancelled."""
        while True:
            await self.connected.wait()
            due = self._measured_at + LOOK_EVERY
            if self._clock.monotonic() < due:
                await self._clock.sleep_until(due)
                continue
            self._measured_at = self._clock.monotonic()
            try:
                await self.read()
            except (LineError, RefusedError):
                # The supervisor sees a lost line by itself; a refused read comes again later.
                continue


def _far(new: float | None, old: float | None, change: float) -> bool:
    if new is None:
        return False
    return old is None or abs(new - old) >= change
