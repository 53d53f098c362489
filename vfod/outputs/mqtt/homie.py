"""The Homie convention, version 5, as values: devices, their descriptions and their payloads.

Only what this daemon needs of it, and nothing of what the daemon does. Pure.
"""

import json
import re
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from vfod.errors import DoorError, RequestError

VERSION = "5"

#: States of a device.
INIT, READY, LOST, DISCONNECTED = "init", "ready", "lost", "disconnected"

#: One byte that stands for the empty text, since an empty payload removes the topic.
EMPTY = b"\x00"

#: The convention's integers are of 64 bits.
_INTEGER = re.compile(r"-?[0-9]{1,19}", re.ASCII)


@dataclass(frozen=True, kw_only=True, slots=True)
class Property:
    """One value of a node; `id` is unique in it. An empty `format` or `unit` is not given."""

    id: str
    name: str
    datatype: str
    format: str = ""
    unit: str = ""
    settable: bool = False
    retained: bool = True

    def described(self) -> dict[str, Any]:
        """As it stands in a description; what is the convention's default is left out."""
        found: dict[str, Any] = {"name": self.name, "datatype": self.datatype}
        if self.format:
            found["format"] = self.format
        if self.unit:
            found["unit"] = self.unit
        if self.settable:
            found["settable"] = True
        if not self.retained:
            found["retained"] = False
        return found


@dataclass(frozen=True, kw_only=True, slots=True)
class Node:
    """A part of a device; `id` is unique in it."""

    id: str
    name: str
    properties: tuple[Property, ...]

    def described(self) -> dict[str, Any]:
        """As it stands in a description."""
        return {"name": self.name, "properties": {p.id: p.described() for p in self.properties}}


@dataclass(frozen=True, kw_only=True, slots=True)
class Device:
    """A device; `root` is the root device's id, or empty for the root itself."""

    id: str
    name: str
    nodes: tuple[Node, ...]
    root: str = ""
    children: tuple[str, ...] = ()

    def properties(self) -> Mapping[str, Property]:
        """All properties by `node/property`."""
        return {f"{n.id}/{p.id}": p for n in self.nodes for p in n.properties}

    def description(self) -> bytes:
        """The payload of `$description`; its version is a checksum of the rest."""
        found: dict[str, Any] = {"homie": "5.0", "name": self.name}
        if self.root:
            found |= {"root": self.root, "parent": self.root}
        if self.children:
            found["children"] = list(self.children)
        found["nodes"] = {node.id: node.described() for node in self.nodes}
        found["version"] = zlib.crc32(_compact(found))
        return _compact(found)


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """A device as it should stand at the broker.

    `values` go by `node/property` or `$alert/id`; None is what is not known and has no topic.
    Those in `paced` need not be told more than once a second.
    """

    device: Device
    state: str
    values: Mapping[str, str | None]
    paced: frozenset[str] = frozenset()


def _compact(value: object) -> bytes:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()


def identifier(text: str) -> str:
    """A text as an id: lower-case letters of ASCII, digits and hyphens."""
    found = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")
    if not found:
        raise DoorError(
            f"the name {text!r} has no letter that MQTT can use",
            remedy="give it a name with letters from a to z or digits",
            reason="name",
        )
    return found


def enum_format(values: Iterable[str]) -> str:
    """The format of an enumeration. DoorError for a value that it cannot carry."""
    known = list(dict.fromkeys(values))
    for value in known:
        if not value or "," in value:
            raise DoorError(
                f"the name {value!r} cannot stand in a list of MQTT",
                remedy="give it a name without a comma",
                reason="name",
            )
    return ",".join(known)


def payload(text: str | None) -> bytes:
    """A value as bytes; an empty payload, which removes the topic, where there is none."""
    if text is None:
        return b""
    return text.encode() or EMPTY


def boolean(value: bool) -> str:
    """`true` or `false`."""
    return "true" if value else "false"


def moment(time: float) -> str:
    """Seconds since 1970 as a datetime (ISO 8601, UTC)."""
    return datetime.fromtimestamp(time, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def accept(path: str, described: Property, given: bytes) -> str:
    """The text of a payload that was sent to set a property.

    Raises RequestError, naming the property and what it takes, when it does not fit.
    """
    try:
        text = "" if given == EMPTY else given.decode("utf-8")
    except UnicodeDecodeError:
        raise RequestError(f"{path}: the payload is not UTF-8") from None
    shown = repr(text[:40])
    match described.datatype:
        case "integer":
            if not _INTEGER.fullmatch(text):
                unit = f" of {described.unit}" if described.unit else ""
                raise RequestError(f"{path}: {shown} is not a whole number{unit}")
            _check_range(path, described, int(text))
        case "boolean" if text not in ("true", "false"):
            raise RequestError(f"{path}: {shown} is neither true nor false")
        case "enum" if text not in described.format.split(","):
            raise RequestError(
                f"{path}: {shown} is not one of its values", remedy=f"known: {described.format}"
            )
    return text


def _check_range(path: str, described: Property, value: int) -> None:
    low, _, high = described.format.partition(":")
    if (low and value < int(low)) or (high and value > int(high)):
        raise RequestError(
            f"{path}: {value} is outside {low} to {high} {described.unit}".rstrip(),
            remedy="stay inside",
        )
