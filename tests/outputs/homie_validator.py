"""Checks messages against the Homie convention, version 5, whoever sent them.

Knows nothing of this project, so that anybody may use it on any device: hand it the messages of a
device tree in the order in which they came, from before its first one, with the retain flag as it
was published (an MQTT 5 subscription with "retain as published" gives that).
Rules: the convention's own text (convention.md of its repository, commit 063301d, October 2024),
and from its later changes the field `definitions`. Neither the datatype `color` nor the schema that
may be the format of `json` is looked into.

From a shell, with what a subscriber of an MQTT 5 broker hears (this file needs only Python):

    mosquitto_sub -V 5 --retain-as-published -q 2 -t 'homie/5/#' -F '%r %q %t %x' -W 10 |
        python homie_validator.py --snapshot

`--snapshot` is for devices that were there before: the broker then sends what it retains in an
order of its own. It prints every complaint and exits with 1 if there is one.
"""

import json
import math
import re
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

STATES = {"init", "ready", "disconnected", "sleeping", "lost"}
DATATYPES = {
    "integer",
    "float",
    "boolean",
    "string",
    "enum",
    "color",
    "datetime",
    "duration",
    "json",
}
LOG_LEVELS = {"debug", "info", "warn", "error", "fatal"}
ID = re.compile(r"[a-z0-9-]+")
INTEGER = re.compile(r"-?[0-9]+")
FLOAT = re.compile(r"-?[0-9]+(\.[0-9]+)?([eE]-?[0-9]+)?")
DURATION = re.compile(r"PT(?=[0-9])([0-9]+H)?([0-9]+M)?([0-9]+S)?")

DEVICE_FIELDS = {
    "homie": str,
    "version": int,
    "nodes": dict,
    "name": str,
    "type": str,
    "children": list,
    "root": str,
    "parent": str,
    "extensions": list,
    "definitions": dict,
}
NODE_FIELDS = {"name": str, "type": str, "properties": dict}
PROPERTY_FIELDS = {
    "name": str,
    "datatype": str,
    "format": str,
    "settable": bool,
    "retained": bool,
    "unit": str,
}


@dataclass(frozen=True, kw_only=True)
class Message:
    """A message as it was published."""

    topic: str
    payload: bytes
    retained: bool
    qos: int


@dataclass
class Device:
    """What is known of a device."""

    state: str | None = None
    description: dict[str, Any] | None = None
    values: set[str] = field(default_factory=set)
    removed: bool = False


class Validator:
    """Takes messages one by one and collects what is wrong with them."""

    def __init__(self, domain: str = "homie") -> None:
        self.complaints: list[str] = []
        self.devices: dict[str, Device] = {}
        self._base = f"{domain}/5/"

    def take(self, message: Message) -> None:
        if not message.topic.startswith(self._base):
            self._complain(message, f"the topic does not begin with {self._base}")
            return
        device, *path = message.topic.removeprefix(self._base).split("/")
        if device == "$broadcast":
            self._expect(message, not message.retained, "a broadcast is retained")
            return
        if not ID.fullmatch(device):
            self._complain(message, f"{device!r} is no id")
            return
        known = self.devices.setdefault(device, Device())
        match path:
            case ["$state"]:
                self._state(message, device, known)
            case ["$description"]:
                self._description(message, device, known)
            case ["$log", level]:
                self._expect(message, level in LOG_LEVELS, "no such level")
                self._expect(message, not message.retained, "a log message is retained")
            case ["$alert", id_]:
                self._expect(message, bool(ID.fullmatch(id_)), "no id")
                self._expect(message, message.retained, "an alert is not retained")
            case [node, property_]:
                self._value(message, known, node, property_)
            case [node, property_, "$target"]:
                self._target(message, known, node, property_)
            case [node, property_, "set"]:
                self._command(message, known, node, property_)
            case _:
                self._complain(message, "no such topic")

    def end(self) -> None:
        """Check what must be true when nothing more comes."""
        for id_, device in self.devices.items():
            if device.state is None and not device.removed:
                self.complaints.append(f"{id_}: never said its $state")
            if device.state in ("ready", "sleeping") and device.description is None:
                self.complaints.append(f"{id_}: {device.state} without a description")

    def _complain(self, message: Message, what: str) -> None:
        self.complaints.append(f"{message.topic}: {what} ({message.payload[:60]!r})")

    def _expect(self, message: Message, true: bool, what: str) -> None:
        if not true:
            self._complain(message, what)

    # --- a device's own topics ------------------------------------------------------------------

    def _state(self, message: Message, id_: str, device: Device) -> None:
        self._expect(message, message.retained, "not retained")
        self._expect(message, message.qos > 0, "quality of service 0")
        state = message.payload.decode("utf-8", "replace")
        if not state:
            # An empty $state is how a device is removed for ever.
            self.devices[id_] = Device(removed=True)
            return
        self._expect(message, state in STATES, "no such state")
        if state == "ready":
            self._ready(message, id_, device)
        device.state = state

    def _ready(self, message: Message, id_: str, device: Device) -> None:
        if device.description is None:
            self._complain(message, "ready before its description")
            return
        for child in device.description.get("children", []):
            known = self.devices.get(child)
            if known is None or known.description is None:
                self._complain(
                    message, f"describes the child {child} before that has a description"
                )
            elif known.description.get("parent", known.description.get("root")) != id_:
                self._complain(message, f"its child {child} names another parent")
        described = {
            f"{node}/{property_}"
            for node, of in device.description["nodes"].items()
            for property_ in of.get("properties", {})
        }
        if left := device.values - described:
            self._complain(message, f"leaves values that it does not describe: {left}")

    def _description(self, message: Message, id_: str, device: Device) -> None:
        self._expect(message, message.retained, "not retained")
        if not message.payload:
            self._expect(message, device.state is None, "is taken away before its $state")
            return
        if device.state not in ("init", "disconnected", "lost"):
            self._complain(message, f"the description changes while {device.state}")
        try:
            found = json.loads(message.payload)
        except ValueError as error:
            self._complain(message, f"not JSON: {error}")
            return
        if not isinstance(found, dict):
            self._complain(message, "not an object")
            return
        device.description = found
        self._fields(message, "the device", found, DEVICE_FIELDS, {"homie", "version"})
        self._expect(message, bool(re.fullmatch(r"5\.\d+", str(found.get("homie")))), "not 5.x")
        if "parent" in found:
            self._expect(message, "root" in found, "a parent without a root")
        for other in (*found.get("children", []), found.get("root"), found.get("parent")):
            if other is not None:
                self._expect(message, bool(ID.fullmatch(str(other))), f"{other!r} is no id")
                self._expect(message, other != id_, "names itself")
        found.setdefault("nodes", {})
        for node, of in found["nodes"].items():
            self._expect(message, bool(ID.fullmatch(node)), f"node {node!r} is no id")
            self._fields(message, f"node {node}", of, NODE_FIELDS, set())
            for property_, described in of.get("properties", {}).items():
                where = f"{node}/{property_}"
                self._expect(message, bool(ID.fullmatch(property_)), f"{where} is no id")
                self._fields(message, where, described, PROPERTY_FIELDS, {"datatype"})
                self._format(message, where, described)

    def _fields(
        self,
        message: Message,
        where: str,
        found: Any,
        known: Mapping[str, type],
        required: set[str],
    ) -> None:
        if not isinstance(found, dict):
            self._complain(message, f"{where} is no object")
            return
        for name in required - found.keys():
            self._complain(message, f"{where} has no {name}")
        for name, value in found.items():
            if name not in known:
                self._complain(message, f"{where} has an unknown field {name}")
            elif not isinstance(value, known[name]) or (known[name] is int and value is True):
                self._complain(message, f"{where}: {name} is no {known[name].__name__}")

    def _format(self, message: Message, where: str, described: dict[str, Any]) -> None:
        datatype, form = described.get("datatype"), described.get("format")
        if datatype not in DATATYPES:
            self._complain(message, f"{where}: no datatype {datatype}")
            return
        if datatype == "enum":
            values = (form or "").split(",")
            if "" in values or len(set(values)) != len(values):
                self._complain(message, f"{where}: an enum's format is a list without doubles")
        elif datatype in ("integer", "float") and form is not None:
            numbers = form.split(":")
            pattern = INTEGER if datatype == "integer" else FLOAT
            if len(numbers) not in (2, 3) or not all(
                not n or pattern.fullmatch(n) for n in numbers
            ):
                self._complain(message, f"{where}: {form} is no format of a number")
                return
            low, high, step = _limits(form)
            if low > high or (step is not None and step <= 0):
                self._complain(message, f"{where}: {form} allows nothing")
        elif datatype == "boolean" and form is not None:
            labels = form.split(",")
            if len(labels) != 2 or "" in labels or labels[0] == labels[1]:
                self._complain(message, f"{where}: {form} is no pair of labels")

    # --- values ---------------------------------------------------------------------------------

    def _described(self, device: Device, node: str, property_: str) -> dict[str, Any] | None:
        nodes = (device.description or {}).get("nodes", {})
        found: dict[str, Any] | None = nodes.get(node, {}).get("properties", {}).get(property_)
        return found

    def _value(self, message: Message, device: Device, node: str, property_: str) -> None:
        described = self._described(device, node, property_)
        if message.retained and not message.payload:
            device.values.discard(f"{node}/{property_}")
            return
        if described is None:
            self._complain(message, "is not described")
            return
        wanted = described.get("retained", True)
        self._expect(message, message.retained == wanted, "the retain flag is not as described")
        if message.retained:
            device.values.add(f"{node}/{property_}")
        self._payload(message, described)

    def _target(self, message: Message, device: Device, node: str, property_: str) -> None:
        described = self._described(device, node, property_)
        if message.retained and not message.payload:
            return
        if described is None or not described.get("settable", False):
            self._complain(message, "a target of what cannot be set")
        else:
            self._payload(message, described)

    def _command(self, message: Message, device: Device, node: str, property_: str) -> None:
        described = self._described(device, node, property_)
        self._expect(message, not message.retained, "a command is retained")
        if described is None or not described.get("settable", False):
            self._complain(message, "is not settable")

    def _payload(self, message: Message, described: dict[str, Any]) -> None:
        try:
            text = "" if message.payload == b"\x00" else message.payload.decode("utf-8")
        except UnicodeDecodeError:
            self._complain(message, "not UTF-8")
            return
        datatype, form = described["datatype"], described.get("format")
        if not fits(text, datatype, form):
            self._complain(message, f"no {datatype} of format {form}")


def fits(text: str, datatype: str, form: str | None) -> bool:
    """Whether a payload is a value of a datatype and a format."""
    match datatype:
        case "integer":
            if not INTEGER.fullmatch(text) or not -(2**63) <= int(text) < 2**63:
                return False
            return _allows(form, float(text))
        case "float":
            return bool(FLOAT.fullmatch(text)) and _allows(form, float(text))
        case "boolean":
            return text in ("true", "false")
        case "enum":
            return text in (form or "").split(",")
        case "datetime":
            try:
                datetime.fromisoformat(text)
            except ValueError:
                return False
            return "T" in text
        case "duration":
            return bool(DURATION.fullmatch(text))
        case "json":
            try:
                return isinstance(json.loads(text), dict | list)
            except ValueError:
                return False
    return True


def _limits(form: str) -> tuple[float, float, float | None]:
    low, high, *step = form.split(":")
    return (
        float(low) if low else -math.inf,
        float(high) if high else math.inf,
        float(step[0]) if step and step[0] else None,
    )


def _allows(form: str | None, value: float) -> bool:
    """Round to the step first (base is the minimum, else the maximum), then look at the limits."""
    if not form:
        return True
    low, high, step = _limits(form)
    if step is not None:
        base = low if low > -math.inf else high
        if base < math.inf:
            value = math.floor((value - base) / step + 0.5) * step + base
    return low <= value <= high


def complaints(messages: Iterable[Message], domain: str = "homie") -> list[str]:
    """Everything that is wrong with a run of messages."""
    return _all_of(Validator(domain), messages)


def _all_of(validator: Validator, messages: Iterable[Message]) -> list[str]:
    for message in messages:
        validator.take(message)
    validator.end()
    return validator.complaints


def in_order(retained: Iterable[Message], domain: str = "homie") -> list[str]:
    """Complaints about what a broker retains of devices that were there before, in any order."""
    validator = Validator(domain)
    messages = [m for m in retained if m.retained]
    parts = {m.topic: m.topic.split("/") for m in messages}
    for path in parts.values():
        if len(path) > 2 and ID.fullmatch(path[2]):
            validator.devices.setdefault(path[2], Device(state="init"))

    def place(message: Message) -> int:
        return {"$description": 0, "$state": 2}.get(parts[message.topic][-1], 1)

    return _all_of(validator, sorted(messages, key=place))


def _read(line: str) -> Message:
    retained, qos, topic, *payload = line.rstrip("\n").split(" ")
    return Message(
        topic=topic,
        payload=bytes.fromhex("".join(payload)),
        retained=retained == "1",
        qos=int(qos),
    )


def main(words: list[str], lines: Iterable[str]) -> int:
    """Print the complaints about what was heard; 1 if there is one."""
    messages = [_read(line) for line in lines]
    found = in_order(messages) if "--snapshot" in words else complaints(messages)
    print("\n".join(found) or f"{len(messages)} messages, no complaint")
    return bool(found)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:], sys.stdin))
