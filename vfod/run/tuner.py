"""One VFO as the rest of the program sees it: dial frequencies in, events out.

The tuner knows the receiver's law and what the set should be like, and nothing of who may move the
dial (that is the desk) or of bytes (that is the link). After a reset of the box it sets everything
again as it was wanted. Whether the box can be reached is `contact`, what it says by itself
`findings`, when it radiates `output`.
"""

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import LineError, OutOfRangeError, RefusedError
from vfod.radio.receiver import Receiver
from vfod.run.contact import Contact
from vfod.run.findings import STEP, Findings
from vfod.run.output import Output
from vfod.run.stream import Stream
from vfod.state import VfoState
from vfod.wire import messages as w

if TYPE_CHECKING:
    from vfod.device.link import Link

#: How often the box is asked for its battery and temperature when nothing else asks, seconds: both
#: change over minutes.
LOOK_EVERY = 60.0

_DAEMON = e.Origin(door=e.Door.DAEMON)


class Moved(NamedTuple):
    """The event of a movement, and the frequency the box then produces, millihertz."""

    stamped: e.Stamped
    produced: int


class Tuner:
    """The one VFO `name`."""

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
        self._clock = clock
        self._described = receiver
        self.receiver = receiver
        self._contact = Contact(name, stream)
        #: Set while a link is up.
        self.connected = self._contact.connected
        #: Whether the box now connected has an ability.
        self.can = self._contact.can
        self.findings = Findings(self._contact, clock, self._dial_for, battery_low_at)
        self.output = Output(self._contact, clock, on=output_on)
        self._boot: int | None = None
        self._limits: w.Limits | None = None
        #: Serialises what reads the dial and then moves it.
        self.lock = asyncio.Lock()
        self.on_link: Callable[[], None] = lambda: None

    # --- what is known ------------------------------------------------------------------------

    @property
    def known(self) -> VfoState:
        """All that is known of this VFO."""
        return self._contact.known

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
        return self.known.step or STEP

    @property
    def battery_low(self) -> bool:
        """Whether the box said that its battery is low, and it was not charged since."""
        return self.known.battery_low

    @property
    def newest_hand(self) -> int:
        """Number of the newest hand event known; what a tune carries."""
        return self._contact.newest_hand

    def _dial_for(self, oscillator: int) -> int | None:
        try:
            return self.receiver.dial_for(oscillator, near=self.dial)
        except OutOfRangeError:
            return None

    def describe(self, receiver: Receiver) -> None:
        """Go by that receiver from the next movement of the dial on, as far as the box reaches."""
        self._described = self.receiver = receiver
        if self._limits is not None:
            self.receiver = receiver.limited(self._limits.low, self._limits.high)

    # --- the supervisor's side ------------------------------------------------------------------

    async def up(self, link: "Link") -> None:
        """A box has greeted on a new link: say so, set again what a reset undid, look at it."""
        boot = link.greeting.identity.boot
        was_reset = self._boot is not None and boot != self._boot
        self._boot = boot
        self._limits = link.greeting.limits
        self.describe(self._described)
        self._contact.made(link)
        if was_reset:
            self.output.count_reset(f"{boot:08X}")
            await self._restore(link)
        else:
            self.findings.found(link.reading)
            await self.output.greeted()
        self.connected.set()
        self.on_link()

    def down(self, error: LineError) -> None:
        """The link is gone, or could not be made."""
        self._contact.lost(error)
        self.on_link()

    def told(self, event: "w.Event | w.Reading") -> None:
        """The box spoke by itself, or was looked at because something it said got lost."""
        self.findings.told(event)

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
            self.findings.found(link.reading)
        await self.output.restore(known.output)

    # --- asking the box -------------------------------------------------------------------------

    def linked(self) -> "Link":
        """The link; LinkDownError where there is none."""
        return self._contact.linked()

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
            self._contact.emit(e.FilterSelected(select=select), cause)
        answer = await link.ask(w.Tune(frequency=wanted, hand=hand))
        stamped = self._contact.emit(
            e.DialTuned(dial=dial, oscillator=wanted, produced=answer.frequency, by=by), cause
        )
        return Moved(stamped, answer.frequency)

    async def read(self) -> w.Reading:
        """Everything the box can measure, now."""
        answer = await self.linked().ask(w.Read())
        self.findings.measured(answer)
        return answer

    async def mute(self, muted: bool, by: e.Origin, cause: str | None = None) -> e.Stamped:
        """Mute the receiver's speaker or release it."""
        self._contact.need(w.Ability.MUTE, "mute the speaker")
        await self.linked().ask(w.Mute(on=muted))
        return self._contact.emit(e.SpeakerMuted(muted=muted, by=by), cause)

    async def set_step(self, step: int, by: e.Origin, cause: str | None = None) -> e.Stamped:
        """Set the step, hertz: of the knob where the box has one, of bare nudges in any case."""
        link = self.linked()
        if self.can(w.Ability.KNOB):
            await link.ask(w.Step(hertz=step))
        return self._contact.emit(e.StepChanged(step=step, by=by), cause)

    async def look_now_and_then(self) -> None:
        """Ask for battery and temperature when nobody has for a while. Runs until cancelled."""
        findings = self.findings
        while True:
            await self.connected.wait()
            due = findings.measured_at + LOOK_EVERY
            if self._clock.monotonic() < due:
                await self._clock.sleep_until(due)
                continue
            findings.measured_at = self._clock.monotonic()
            try:
                await self.read()
            except (LineError, RefusedError):
                # The supervisor sees a lost line by itself; a refused read comes again later.
                continue
