"""What is the case now, as values.

A State is frozen all the way down: the stream makes a new one for each event and may hand it to
anyone. Everything in it is bounded in size however long the daemon runs.
"""

import enum
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

from vfod import events as e
from vfod.requests import Asked
from vfod.units import wavelength

#: Active channels remembered in the state, for a status line and a page; the journal has them all.
RECENT = 24


class LinkPhase(enum.StrEnum):
    """How far the line to the box has come."""

    DOWN = "down"
    UP = "up"


class SweepPhase(enum.StrEnum):
    """What the sweep is doing."""

    IDLE = "idle"
    SWEEPING = "sweeping"
    HOLDING = "holding"
    YIELDED = "yielded"
    PAUSED = "paused"


class SoundPhase(enum.StrEnum):
    """What comes from the receiver's sound; `none` until something is known, or where none is used.

    The others can be measured (`good`), or are all zeros (`silent`), too loud (`clipped`), `gone`.
    """

    NONE = "none"
    GOOD = "good"
    SILENT = "silent"
    CLIPPED = "clipped"
    GONE = "gone"


@dataclass(frozen=True, kw_only=True, slots=True)
class LinkState:
    """The line and who is at its other end; empty texts until a box has greeted once."""

    phase: LinkPhase = LinkPhase.DOWN
    since: float | None = None
    reason: str = ""
    port: str = ""
    model: str = ""
    firmware: str = ""
    serial: str = ""
    low: int | None = None
    high: int | None = None
    resolution: int | None = None
    abilities: tuple[str, ...] = ()
    losses: int = 0


@dataclass(frozen=True, kw_only=True, slots=True)
class SoundState:
    """The receiver's sound as a source of levels; see vfod.events.sound."""

    phase: SoundPhase = SoundPhase.NONE
    since: float | None = None
    source: str = ""
    #: Why it is gone: the word, and the sentence.
    reason: str = ""
    detail: str = ""
    #: By how much it is late, seconds, as reckoned with; None until that was looked for.
    delay: float | None = None

    @property
    def is_deaf(self) -> bool:
        """Whether no level can be taken from it."""
        return self.phase in (SoundPhase.GONE, SoundPhase.SILENT)


@dataclass(frozen=True, kw_only=True, slots=True)
class SweepState:
    """The running sweep, or the last one when idle."""

    phase: SweepPhase = SweepPhase.IDLE
    name: str | None = None
    channels: int = 0
    channel: int | None = None
    visits: int = 0
    passes: int = 0
    #: Visits of the pass under way.
    in_pass: int = 0
    #: What the last pass took, seconds: the revisit time really kept, and the part spent in holds.
    revisit: float | None = None
    held: float = 0.0
    since: float | None = None
    #: End of a yield; None while sweeping, or when it lasts until somebody resumes.
    until: float | None = None
    yielded_to: e.Origin | None = None
    #: Since when its visits have no levels, because the sound has none to give.
    without_levels: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class WindowState:
    """The window that is open, and the next one of the agenda."""

    name: str | None = None
    closes: float | None = None
    next_name: str | None = None
    next_sweep: str | None = None
    next_opens: float | None = None
    next_closes: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Heard:
    """An active channel: when it was first and last found active, and its last level."""

    dial: int
    band: str | None
    level: float
    unit: str
    first: float
    last: float
    now: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class VfoState:
    """All that is known of one VFO."""

    link: LinkState = LinkState()
    dial: int | None = None
    oscillator: int | None = None
    produced: int | None = None
    band: str | None = None
    moved_by: e.Origin | None = None
    moved_at: float | None = None
    step: int | None = None
    output: bool | None = None
    muted: bool | None = None
    select: int | None = None
    #: How often the band filter was switched since the daemon's start.
    filter_switchings: int = 0
    level: float | None = None
    level_unit: str = ""
    floor: float | None = None
    sound: SoundState = SoundState()
    battery: float | None = None
    battery_low: bool = False
    temperature: float | None = None
    #: Error of the crystal that the dial goes by, ppm, and where it is from (CorrectionTaken).
    correction: float = 0.0
    correction_source: str = ""
    sweep: SweepState = SweepState()
    window: WindowState = WindowState()
    heard: tuple[Heard, ...] = ()
    visits: int = 0
    active_visits: int = 0

    @property
    def wavelength(self) -> float | None:
        """Wavelength of the dial frequency, metres."""
        return wavelength(self.dial) if self.dial else None


@dataclass(frozen=True, kw_only=True, slots=True)
class DoorState:
    """Whether an output or a way in works, and if not, why."""

    up: bool
    where: str = ""
    reason: str = ""
    since: float = 0.0


def _empty_vfos() -> Mapping[str, VfoState]:
    return MappingProxyType({})


def _empty_doors() -> Mapping[str, DoorState]:
    return MappingProxyType({})


@dataclass(frozen=True, kw_only=True, slots=True)
class State:
    """Everything: the daemon, its VFOs by name in the order of the configuration, its doors."""

    sequence: int = 0
    version: str = ""
    started: float | None = None
    #: The place's time zone by its name in the IANA database.
    zone: str = "UTC"
    config_digest: str = ""
    #: Why the wall clock cannot be believed (events.ClockDoubted); empty while it can.
    clock_doubted: str = ""
    #: When the configuration in force was read, which keys wait for a restart, and whether the
    #: file had mistakes when it was last looked at.
    config_read: float | None = None
    config_waiting: tuple[str, ...] = ()
    config_refused: bool = False
    vfos: Mapping[str, VfoState] = field(default_factory=_empty_vfos)
    doors: Mapping[str, DoorState] = field(default_factory=_empty_doors)

    @property
    def place(self) -> ZoneInfo:
        """The zone in which a person's times are."""
        return ZoneInfo(self.zone)


def initial(names: list[str]) -> State:
    """The state before anything happened, with a place for each VFO."""
    return State(vfos=MappingProxyType({name: VfoState() for name in names}))


#: What an output is handed: every event with the state just after it, in order.
Feed = AsyncIterator[tuple[e.Stamped, State]]

#: How a door asks for something: the answer as JSON knows it, or a VfodError.
Submit = Callable[[Asked], Awaitable[dict[str, Any]]]

#: How a part that fails or recovers says so in the stream.
Tell = Callable[[e.Event], None]
