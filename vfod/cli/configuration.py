"""`vfod check` and `vfod config`: is the configuration good, and what does it amount to."""

import dataclasses
import json
from collections.abc import Mapping
from datetime import time
from typing import Any
from zoneinfo import ZoneInfo

from vfod.cli.parser import Parser
from vfod.cli.plan import ahead, next_windows, one_line, plan_of
from vfod.cli.setting import configuration, environment, local_text, now
from vfod.config.loading import stations_of
from vfod.config.model import Config, VfoConfig
from vfod.config.places import journal_places, socket_places
from vfod.errors import UsageError
from vfod.units import format_frequency


def check(words: list[str]) -> int:
    """Print what the configuration amounts to; all complaints are an error."""
    parser = Parser(
        "check",
        "Look through the configuration: prints all complaints, each as file:line:column: what is\n"
        "wrong and what to write instead; or what a good configuration amounts to.",
        "vfod check ~/.config/vfod/vfod.yaml",
    )
    parser.add_argument("file", nargs="?", help="the same as --config FILE")
    parser.add_config()
    given = parser.parse_args(words)
    if given.file is not None and given.config is not None:
        raise UsageError("two files are named", remedy="name one")
    config = configuration(given.file or given.config)
    print("\n".join([f"{config.path} is good", *amounts_to(config, now())]))
    return 0


def config(words: list[str]) -> int:
    """Print the schema, or the configuration in force."""
    parser = Parser(
        "config",
        "schema: the JSON schema of the configuration, for an editor.\n"
        "show: the configuration with all defaults, as JSON; hertz, seconds, decibels.",
        "vfod config schema > vfod.schema.json",
    )
    parser.add_argument("what", choices=("schema", "show"))
    parser.add_config()
    given = parser.parse_args(words)
    if given.what == "schema":
        from vfod.config.schema import schema_text

        print(schema_text(), end="")
    else:
        print(json.dumps(to_plain(configuration(given.config)), indent=2))
    return 0


def amounts_to(config: Config, when: float) -> list[str]:
    """What the daemon will do with it, in lines."""
    lines = [f"  VFO {_vfo(vfo)}" for vfo in config.vfos.values()]
    own = [str(band) for band in config.bands if band.source == "own"]
    region = f"ITU region {config.place.region} has {len(config.bands) - len(own)} bands"
    lines.append(f"  bands: {region}{'; own: ' + ', '.join(own) if own else ''}")
    for sweep in config.sweeps.values():
        lines.append(f"  sweep {one_line(plan_of(config, sweep))}")
        for slot in next_windows(config, sweep, when):
            zone = slot.window.zone
            opens = local_text(slot.opens, zone, seconds=False)
            closes = local_text(slot.closes, zone, seconds=False)
            is_open = "open since" if slot.opens <= when else "opens"
            lines.append(f"    window {slot.window.name} {is_open} {opens}, until {closes}")
            if sweep.name == slot.window.sweep:
                _, warnings = ahead(config, sweep, slot)
                lines += [f"      warning: {text}" for text in warnings]
    if config.stations is not None:
        known = stations_of(config)
        lines.append(f"  stations: {len(known)} lines in {config.stations}")
    mqtt, web = config.mqtt, config.web
    lines += [
        f"  control socket {_first(socket_places(environment(), config.control.socket))}",
        f"  MQTT {f'broker {mqtt.host}:{mqtt.port}, as {mqtt.name}' if mqtt else 'off'}",
        f"  HTTP {f'at {web.host}:{web.port}' if web else 'off'}",
        f"  journal {_first(journal_places(environment(), config.journal))}",
    ]
    return lines


def _first(places: list[str]) -> str:
    return f"at the first usable of {', '.join(places)}" if len(places) > 1 else places[0]


def _vfo(vfo: VfoConfig) -> str:
    ranges = len(vfo.receiver.ranges)
    where = f"{format_frequency(vfo.receiver.low)} to {format_frequency(vfo.receiver.high)}"
    return f"{vfo.name} at {vfo.port}, {vfo.baud} baud; dial {where} in {ranges} range" + (
        "s" if ranges != 1 else ""
    )


def to_plain(value: Any) -> Any:
    """A configuration, or a part of it, as JSON knows it."""
    match value:
        case bool() | int() | float() | str() | None:
            return value
        case ZoneInfo():
            return value.key
        case time():
            return value.isoformat()
        case Mapping():
            return {str(key): to_plain(item) for key, item in value.items()}
        case frozenset():
            return sorted(value)
        case list() | tuple():
            return [to_plain(item) for item in value]
    if dataclasses.is_dataclass(value):
        return {
            field.name: to_plain(getattr(value, field.name))
            for field in dataclasses.fields(value)
            if field.repr
        }
    return str(value)
