"""What happened to the dial."""

from dataclasses import dataclass

from vfod.events.root import Event
from vfod.origin import Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class DialTuned(Event):
    """The daemon moved the dial and the box confirmed it.

    `oscillator` is what was asked for, `produced` what the box says it makes, millihertz.
    """

    dial: int
    oscillator: int
    produced: int
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class DialFound(Event):
    """Where the dial stood when the daemon first looked, or looked again after a silence.

    `dial` is None where the receiver's description has no dial frequency for this oscillator.
    """

    dial: int | None
    oscillator: int


@dataclass(frozen=True, kw_only=True, slots=True)
class KnobTurned(Event):
    """The knob was turned; the box counts such events in `number`. `dial` as in DialFound."""

    number: int
    dial: int | None
    oscillator: int


@dataclass(frozen=True, kw_only=True, slots=True)
class ButtonPressed(Event):
    """A button of the box was pressed."""

    number: int
    button: str


@dataclass(frozen=True, kw_only=True, slots=True)
class EncoderJittered(Event):
    """The knob trembled without a hand on it, `times` since the last such event."""

    times: int


@dataclass(frozen=True, kw_only=True, slots=True)
class BandEntered(Event):
    """The dial crossed a band edge; None is the space between bands."""

    band: str | None
    left: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class StepChanged(Event):
    """One click of the knob, and one bare nudge, is now `step` hertz."""

    step: int
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputSwitched(Event):
    """The oscillator's output was switched on or off."""

    on: bool
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class SpeakerMuted(Event):
    """The receiver's speaker was muted or released."""

    muted: bool
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class FilterSelected(Event):
    """The receiver's band filter was switched to number `select` (0 to 15)."""

    select: int
