"""What happened on the line and in the box."""

from dataclasses import dataclass

from vfod.events.root import Event


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


@dataclass(frozen=True, kw_only=True, slots=True)
class BatteryFine(Event):
    """A battery that was low is charged or exchanged: so many volts are measured now."""

    battery: float
