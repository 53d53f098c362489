"""What happened to the daemon and its doors."""

from dataclasses import dataclass

from vfod.events.root import Event
from vfod.origin import Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class DaemonStarted(Event):
    """The daemon is up; `config_digest` names the configuration in force, `zone` is the place's."""

    version: str
    config_path: str
    config_digest: str
    zone: str = "UTC"


@dataclass(frozen=True, kw_only=True, slots=True)
class ConfigReloaded(Event):
    """The file was read anew and is in force.

    `changed` are the keys that differ from before (vfod.config.changes), `waiting` those whose
    value will be in force only after a restart, of earlier reloads too; `zone` is the
    place's.
    """

    config_digest: str
    changed: tuple[str, ...]
    waiting: tuple[str, ...]
    by: Origin
    zone: str = "UTC"


@dataclass(frozen=True, kw_only=True, slots=True)
class ConfigRefused(Event):
    """The file was read anew and has mistakes: all is as before. `complaints` are the first."""

    mistakes: int
    complaints: tuple[str, ...]
    by: Origin


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
class ClockJumped(Event):
    """The wall clock went so many seconds further than time did, back when negative.

    `cause` is "set" (network time, a person) or "suspended" (the machine slept so long).
    """

    seconds: float
    cause: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ClockDoubted(Event):
    """The wall clock is earlier than `known`: the times of what follows are not to be trusted.

    `reason` is "before-release" of this program, or "before-journal", its newest entry.
    """

    known: float
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ClockTrusted(Event):
    """The wall clock can be believed again, after so many true seconds of doubt."""

    doubted: float


@dataclass(frozen=True, kw_only=True, slots=True)
class DoorClosed(Event):
    """An output or a way in was switched off by a new configuration."""

    door: str


@dataclass(frozen=True, kw_only=True, slots=True)
class JournalSetAside(Event):
    """The journal's file was no sound database: renamed to `kept_as`, a new one begun."""

    kept_as: str
    reason: str
