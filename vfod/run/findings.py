"""What a box says of itself, made into events: where it stands, what it measures, who is at it.

It says so unasked (a turn of the knob, a button, a low battery), or when it is looked at. Only what
differs from the state is told; a turn of the knob is weighed whether it is a hand.
"""

from collections.abc import Callable

from vfod import events as e
from vfod.clock import Clock
from vfod.run.battery import BatteryWatch
from vfod.run.contact import Contact
from vfod.run.hand import HandWatch
from vfod.wire import messages as w

#: Changes worth an event: above the noise of a cheap converter, below what a person would miss.
BATTERY_CHANGE, TEMPERATURE_CHANGE = 0.05, 0.5

#: A step of the knob that the box has not named, hertz.
STEP = 1000

_DAEMON = e.Origin(door=e.Door.DAEMON)


class Findings:
    """Of one box; `dial_for` gives the dial frequency of an oscillator's, where there is one."""

    def __init__(
        self,
        contact: Contact,
        clock: Clock,
        dial_for: Callable[[int], int | None],
        battery_low_at: float | None,
    ) -> None:
        self._contact = contact
        self._clock = clock
        self._dial_for = dial_for
        self._hands = HandWatch()
        self._battery_watch = BatteryWatch(battery_low_at)
        #: When battery and temperature were last asked for, monotonic.
        self.measured_at = float("-inf")
        #: Called, with the door, when a hand is at the set.
        self.on_hand: Callable[[e.Origin], None] = lambda _: None
        #: Called when the battery is low, or fine again.
        self.on_battery: Callable[[], None] = lambda: None

    def told(self, event: "w.Event | w.Reading") -> None:
        """The box spoke by itself, or was looked at because something it said got lost."""
        match event:
            case w.Turned(number=number, frequency=frequency):
                self._turned(number, frequency)
            case w.Pressed(number=number, button=button):
                self._contact.emit(e.ButtonPressed(number=number, button=button))
                self.on_hand(e.Origin(door=e.Door.BUTTON, who=button))
            case w.BatteryLow(millivolts=millivolts):
                self._battery(self._battery_watch.told(millivolts / 1000))
            case w.Reading():
                # Not a hand: the link tells a Turned before it if one was there.
                self.found(event)

    def found(self, reading: w.Reading) -> None:
        """Bring the state in line with what the box says of itself."""
        known, emit = self._contact.known, self._contact.emit
        if reading.frequency != known.produced:
            dial = self._dial_for(reading.frequency)
            emit(e.DialFound(dial=dial, oscillator=reading.frequency))
        if reading.step is not None and reading.step != known.step:
            emit(e.StepChanged(step=reading.step, by=_DAEMON))
        if reading.output is not None and reading.output != known.output:
            emit(e.OutputSwitched(on=reading.output, by=_DAEMON))
        if reading.muted is not None and reading.muted != known.muted:
            emit(e.SpeakerMuted(muted=reading.muted, by=_DAEMON))
        if reading.select is not None and reading.select != known.select:
            emit(e.FilterSelected(select=reading.select))
        self.measured(reading)

    def measured(self, reading: w.Reading) -> None:
        """Battery and temperature, where they changed by something worth telling."""
        known = self._contact.known
        battery = None if reading.battery is None else reading.battery / 1000
        self.measured_at = self._clock.monotonic()
        if _far(battery, known.battery, BATTERY_CHANGE) or _far(
            reading.temperature, known.temperature, TEMPERATURE_CHANGE
        ):
            self._contact.emit(e.BoxMeasured(battery=battery, temperature=reading.temperature))
        self._battery(
            self._battery_watch.measured(battery, known_low=self._contact.known.battery_low)
        )

    def _battery(self, said: e.BatteryLow | e.BatteryFine | None) -> None:
        if said is not None:
            self._contact.emit(said)
            self.on_battery()

    def _turned(self, number: int, oscillator: int) -> None:
        known = self._contact.known
        before = known.dial
        dial = self._dial_for(oscillator)
        self._contact.emit(e.KnobTurned(number=number, dial=dial, oscillator=oscillator))
        steps = 2
        if before is not None and dial is not None and before != dial:
            steps = round((dial - before) / (known.step or STEP)) or (1 if dial > before else -1)
        now = self._clock.monotonic()
        if self._hands.turned(now, steps):
            self.on_hand(e.Origin(door=e.Door.KNOB))
        elif trembles := self._hands.trembles_to_report(now):
            self._contact.emit(e.EncoderJittered(times=trembles))


def _far(new: float | None, old: float | None, change: float) -> bool:
    if new is None:
        return False
    return old is None or abs(new - old) >= change
