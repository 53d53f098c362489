"""What the slower verbs find around them: the configuration, the journal, the zone, the daemon."""

import json
import os
import sys
from datetime import tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from vfod.cli.ask import ask, socket_path
from vfod.clock import SystemClock
from vfod.config.loading import load
from vfod.config.model import Config
from vfod.config.places import config_places, exists, find_config, journal_places, to_open
from vfod.errors import ConfigError, DaemonAbsentError, UsageError, VfodError
from vfod.plan.localtime import local_words

if TYPE_CHECKING:
    from vfod.store import Reader


def environment() -> dict[str, str]:
    """The environment, for vfod.config.places."""
    return dict(os.environ)


def now() -> float:
    """Seconds since 1970 UTC."""
    return SystemClock().wall()


def configuration(given: str | None) -> Config:
    """The configuration in force; ConfigError with all complaints."""
    return load(find_config(given, environment()))


def configuration_if_any(given: str | None) -> Config | None:
    """The configuration, for a verb that can do without; one that was named must be sound."""
    if given or environment().get("VFOD_CONFIG"):
        return configuration(given)
    path = to_open(config_places(environment()))
    if not exists(path):
        return None
    try:
        return load(path)
    except ConfigError as error:
        says = f"vfod: {path} is passed over, it has {len(error.complaints)} mistakes"
        print(f"{says}; `vfod check` tells them", file=sys.stderr)
        return None


def journal_path(given: str | None, config: Config | None) -> Path:
    """The journal to read; there may be none."""
    configured = config.journal if config else None
    return Path(given or to_open(journal_places(environment(), configured)))


def zone_of(config: Config | None) -> tzinfo | None:
    """The zone in which a person's times are; None is the machine's own."""
    return config.place.zone if config else None


def local_zone() -> str:
    """The machine's time zone by its name in the IANA database; UTC where it does not say."""
    name = os.environ.get("TZ", "").removeprefix(":")
    if not name:
        _, _, name = str(Path("/etc/localtime").resolve()).partition("/zoneinfo/")
    try:
        return ZoneInfo(name).key
    except (ValueError, OSError, KeyError):
        return "UTC"


def local_text(when: float, zone: tzinfo | None, *, seconds: bool = True) -> str:
    """A time as a person reads it: `2026-11-25 21:04:07`."""
    return local_words(when, zone, "%Y-%m-%d %H:%M:%S" if seconds else "%a %Y-%m-%d %H:%M")


def check_vfo(name: str | None, config: Config | None, reader: "Reader") -> None:
    """UsageError where neither the configuration nor the journal knows a VFO of this name."""
    known = [*(config.vfos if config else ()), *reader.vfos()]
    if name is not None and name not in known and not reader.knows(name):
        raise UsageError(
            f"there is no VFO {name[:40]!r}",
            remedy=f"known are {', '.join(dict.fromkeys(known)) or 'none'}",
        )


def call(given_socket: str | None, method: str, **params: object) -> dict[str, Any]:
    """The daemon's answer to a query; DaemonAbsentError, or what the daemon refused it with."""
    return call_for(0.0, given_socket, method, params)


def call_for(
    seconds: float, given_socket: str | None, method: str, params: dict[str, Any]
) -> dict[str, Any]:
    """The same, of what takes so many seconds by itself."""
    question = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
    line = json.dumps(question).encode() + b"\n"
    return result_of(json.loads(ask(socket_path(given_socket), line, seconds)))


def result_of(answer: dict[str, Any]) -> dict[str, Any]:
    """The result in an answer of the daemon, or its error raised."""
    if "error" in answer:
        error = VfodError(answer["error"]["message"])
        error.exit_code = answer["error"]["data"]["exit"]
        raise error
    if "result" not in answer:
        raise DaemonAbsentError("the daemon went away before it answered")
    result: dict[str, Any] = answer["result"]
    return result


def print_json(value: object) -> None:
    """A value in one line of JSON, for a machine."""
    print(json.dumps(value, separators=(",", ":"), default=str))
