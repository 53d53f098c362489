"""What happened in windows and sweeps, and what was observed."""

from dataclasses import dataclass

from vfod.events.root import Event
from vfod.origin import Origin


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
class WindowMoved(Event):
    """The window that is open got other times by a new configuration; its sweep goes on."""

    window: str
    sweep: str
    opens: float
    closes: float


@dataclass(frozen=True, kw_only=True, slots=True)
class WindowClosed(Event):
    """A window of the agenda ended."""

    window: str
    sweep: str


@dataclass(frozen=True, kw_only=True, slots=True)
class WindowMissed(Event):
    """From `since` to `until` a window went by without its sweep, all of it or a part; told once.

    `reason` is "daemon-down", "asleep" (the machine), "clock-doubted", "clock-set" (leapt over),
    "vfo-absent", "declined" (by a person), "refused" (the sweep cannot run), "battery"
    (it was low), "yielded" (somebody had the dial all the time), "unfinished" (too short for a
    visit).
    """

    window: str
    sweep: str
    night: str
    opens: float
    closes: float
    since: float
    until: float
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepStarted(Event):
    """A sweep began at channel `dial`, over `channels` channels."""

    sweep: str
    channels: int
    dial: int
    by: Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepChanged(Event):
    """The running sweep goes on as a new configuration describes it, over `channels` channels."""

    sweep: str
    channels: int


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
    """Every channel was visited once more.

    `seconds` is what the pass took, the revisit time that was kept; `held` is the part of it spent
    in holds.
    """

    sweep: str
    number: int
    visits: int
    seconds: float
    held: float = 0.0


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
    """The sweep stays on a channel because something is there.

    `unit` is that of the level; empty in a journal of before it was told.
    """

    sweep: str
    dial: int
    level: float
    unit: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class HoldLeft(Event):
    """The sweep leaves the channel at which it holds for `guest`, and will come back.

    A guest is a sweep that shares the window with a revisit time and must not wait longer.
    """

    sweep: str
    dial: int
    guest: str


@dataclass(frozen=True, kw_only=True, slots=True)
class HoldResumed(Event):
    """The sweep is back at the channel at which it holds, after `away` seconds."""

    sweep: str
    dial: int
    away: float


@dataclass(frozen=True, kw_only=True, slots=True)
class HoldEnded(Event):
    """The hold is over: `reason` is "quiet", "limit", "guest", "yield" or "skip".

    `seconds` is the time spent on it, without that of guests. For a guest ends a hold only at a
    channel of another guest that was let in before.
    """

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
