"""Config: the file understood, checked and frozen; what the rest of the program is built from.

Frequencies are whole hertz, durations seconds, a correction parts per million.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any
from zoneinfo import ZoneInfo

from vfod.plan.channels import Skip
from vfod.plan.sweep import Sweep
from vfod.plan.windows import Window
from vfod.radio.bands import Band
from vfod.radio.levels import UNCALIBRATED, Level, LevelTable, Source
from vfod.radio.receiver import Receiver
from vfod.radio.synthesiser import ClockGenerator


class ControlLine(StrEnum):
    """What happens to DTR or RTS while the port is open."""

    ON = "on"
    OFF = "off"
    LEAVE = "leave"


class OutputPolicy(StrEnum):
    """When the daemon switches the oscillator's output by itself.

    ON: on whenever the box is reached, left on at the end. WINDOWS: on while a window is open,
    off outside of windows and when the daemon stops. LEAVE: never.
    """

    ON = "on"
    WINDOWS = "windows"
    LEAVE = "leave"


class SpeakerPolicy(StrEnum):
    """What happens to the speaker, where the box can mute it."""

    MUTE_IN_SWEEPS = "mute-in-sweeps"
    LEAVE = "leave"


class Afterwards(StrEnum):
    """Where the dial goes when a window closes; a frequency to park on is the third way."""

    RETURN = "return"
    LEAVE = "leave"


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """Where the receiver stands: latitude and longitude in degrees, both or neither."""

    zone: ZoneInfo
    region: int
    latitude: float | None
    longitude: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class AudioConfig:
    """What records the receiver's sound; `delay` in seconds, None where it is to be measured."""

    program: str
    device: str
    delay: float | None

    def __str__(self) -> str:
        return f"{self.program} {self.device}"


@dataclass(frozen=True, kw_only=True, slots=True)
class VfoConfig:
    """A VFO, the receiver it drives, and how they are treated.

    `afterwards` is a frequency in hertz where the dial parks. `level_tables` holds what the ranges
    of the receiver name in `level_table`. `own_signals` is where the receiver hears itself, hertz.
    With `goes_by_measured` the receiver's correction is 0 until a measured one is known.
    """

    name: str
    port: str
    baud: int
    dtr: ControlLine
    rts: ControlLine
    quiet: float
    output: OutputPolicy
    speaker: SpeakerPolicy
    afterwards: Afterwards | int
    receiver: Receiver
    goes_by_measured: bool
    synthesiser: ClockGenerator | None
    own_signals: tuple[Skip, ...]
    level_tables: Mapping[str, LevelTable]
    level_from: Source
    audio: AudioConfig | None

    def level(self, counts: float, dial: int) -> Level:
        """What a reading of the level detector means at a dial frequency of the receiver."""
        name = self.receiver.range_at(dial).level_table
        table = UNCALIBRATED if name is None else self.level_tables[name]
        return table.level(counts)


@dataclass(frozen=True, kw_only=True, slots=True)
class Control:
    """The control socket; None leaves it to vfod.config.places, and to the daemon's own group."""

    socket: str | None
    group: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Mqtt:
    """The broker; `tls` with the machine's own authorities where `ca_file` is None.

    `commands` says whether what is published may also be set from there.
    """

    host: str
    port: int
    name: str
    user: str | None
    password_file: str | None
    commands: bool
    tls: bool
    ca_file: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Web:
    """Where HTTP listens, as whom it answers, and the files with its tokens and certificate.

    Forwarded headers are believed from the addresses in `proxies`.
    """

    host: str
    port: int
    names: tuple[str, ...] = ()
    token_file: str | None = None
    read_token_file: str | None = None
    certificate_file: str | None = None
    key_file: str | None = None
    proxies: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Config:
    """A configuration file.

    `digest` names its content, whatever its spacing and comments. `bands` are all in force: the
    listener's own, then those of the ITU region. The first of `vfos` is the one meant where none is
    named. `stations` is the path of the listener's own list, if there is one. `mqtt` and `web` are
    None where they are switched off; `journal` is a path, None leaves it to vfod.config.places.
    `keep` is for how many seconds the journal keeps observations, None for ever.
    `written` is what the file says, for vfod.config.changes.
    """

    path: str
    digest: str
    place: Place
    bands: tuple[Band, ...]
    vfos: Mapping[str, VfoConfig]
    sweeps: Mapping[str, Sweep]
    windows: tuple[Window, ...]
    stations: str | None
    control: Control
    mqtt: Mqtt | None
    web: Web | None
    journal: str | None
    keep: float | None = None
    written: Mapping[str, Any] = field(default_factory=dict, repr=False)
