"""Everything that can happen, in the past tense. Read this file and you know the program.

An event is a frozen value that says what happened and asks for nothing. The stream
(`vfod.run.stream`) stamps it once with a sequence number, the wall clock and the VFO it is about,
applies it to the state and hands the pair to every output in the same order.

Frequencies of the dial are whole hertz, of the oscillator whole millihertz; times are seconds
since 1970 UTC; durations are seconds; levels are decibels in the unit the event names.
"""

from dataclasses import dataclass

from vfod.origin import Door as Door
from vfod.origin import Origin as Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """Root of everything that happened."""


# --- the daemon and its doors ------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class DaemonStarted(Event):
    """The daemon is up; `config_digest` names the configuration in force."""

    version: str
    config_path: str
    config_digest: str


@dataclass(frozen=True, kw_only=True, slots=True)
class DaemonStopped(Event):
    """The daemon is about to leave, in good order."""

    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class DoorOpened(Event):
    """An output or a way in works (again): `door` its name, `where` its address."""

    door: str
    where: str


@dataclass(frozen=True, kw_only=True, slots=True)
class DoorFailed(Event):
    """An output or a way in does not work for now; it is rebuilt after a pause."""

    door: str
    reason: str
    detail: str


@dataclass(frozen=True, kw_only=True, slots=True)
class JournalSetAside(Event):
    """The journal's file was no sound database: renamed to `kept_as`, a new one begun."""

    kept_as: str
    reason: str


# --- the line and the box ----------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class LinkGreeted(Event):
    """The box answered the three questions of the greeting."""

    port: str
    protocol: int
    model: str
    firmware: str
    serial: str
    boot: str
    #: Tuning range of the oscillator and its resolution, millihertz.
    low: int
    high: int
    resolution: int
    settle: float
    abilities: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class LinkLost(Event):
    """The line is gone, or nothing answers on it. `reason` is a word from errors.LineError."""

    port: str
    reason: str
    detail: str


@dataclass(frozen=True, kw_only=True, slots=True)
class BoxReset(Event):
    """The box started anew while the line stayed open."""

    boot: str


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputHeldOff(Event):
    """The box reset so often that its output is no longer switched on by the daemon."""

    resets: int


@dataclass(frozen=True, kw_only=True, slots=True)
class BoxMeasured(Event):
    """What the box says of itself: volts of its battery, degrees Celsius."""

    battery: float | None
    temperature: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class BatteryLow(Event):
    """The box says that its battery is low, in volts."""

    battery: float


# --- the dial ----------------------------------------------------------------------------------


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


# --- windows and sweeps ------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class WindowAwaited(Event):
    """The agenda was looked at: this window opens next; None in all where there is none."""

    window: str | None
    sweep: str | None
    opens: float | None
    closes: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class WindowOpened(Event):
    """A window of the agenda began; `closes` is its end."""

    window: str
    sweep: str
    night: str
    opens: float
    closes: float


@dataclass(frozen=True, kw_only=True, slots=True)
class WindowClosed(Event):
    """A window of the agenda ended."""

    window: str
    sweep: str


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepStarted(Event):
    """A sweep began at channel `dial`, over `channels` channels."""

    sweep: str
    channels: int
    dial: int
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepEnded(Event):
    """A sweep ended; `visits` and `passes` were completed in it."""

    sweep: str
    visits: int
    passes: int
    reason: str
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepRefused(Event):
    """A window opened but its sweep cannot run with this receiver and this box."""

    sweep: str
    window: str
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class PassCompleted(Event):
    """Every channel was visited once more; `seconds` is what the pass took."""

    sweep: str
    number: int
    visits: int
    seconds: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepYielded(Event):
    """The sweep gave way before visiting channel `dial`; None in `until` means until asked."""

    sweep: str
    dial: int
    to: Origin
    until: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepPaused(Event):
    """The sweep waits for the box, at channel `dial`."""

    sweep: str
    dial: int
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepResumed(Event):
    """The sweep went on at channel `dial`; `lost` is the time it stood still, seconds."""

    sweep: str
    dial: int
    lost: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ChannelSkipped(Event):
    """Somebody had the sweep leave channel `dial` for the next one."""

    sweep: str
    dial: int
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class HoldBegan(Event):
    """The sweep stays on a channel because something is there."""

    sweep: str
    dial: int
    level: float


@dataclass(frozen=True, kw_only=True, slots=True)
class HoldEnded(Event):
    """The hold is over: `reason` is "quiet", "limit", "yield" or "end"."""

    sweep: str
    dial: int
    seconds: float
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ChannelObserved(Event):
    """What one visit measured: the observation.

    `level` is the median of `readings` readings and `highest` the largest, in `unit` ("dBm" where
    the chain is calibrated, else "dB" over an unnamed reference), None where nothing was measured.
    `floor` is the noise level of the band as known then, `active` whether the level counted as
    activity, None where that cannot be told. `lateness` is how late the visit began, seconds.
    """

    sweep: str
    dial: int
    band: str | None
    readings: int
    level: float | None
    highest: float | None
    unit: str
    floor: float | None
    active: bool | None
    lateness: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ActivityBegan(Event):
    """A channel that was quiet at its last visit carries something."""

    dial: int
    band: str | None
    level: float
    above_floor: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ActivityEnded(Event):
    """A channel that carried something was quiet at this visit."""

    dial: int
    band: str | None


# --- the envelope ------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class Stamped:
    """An event in its envelope, made by the stream and nowhere else.

    `sequence` rises by one within a run of the daemon; `time` is the wall clock; `vfo` is the name
    of the VFO or empty for the daemon; `cause` the id of the request that led to it, or None.
    """

    sequence: int
    time: float
    vfo: str
    event: Event
    cause: str | None = None
