"""The validator finds each fault, and the convention's own examples pass.

Formats of numbers and their rounding: examples of the Homie convention, version 5 (commit 063301d
of its text): `2:6:2` takes 2, 4 and 6; `0:` any value from 0; `:10` any value to 10.
"""

import json
from typing import Any

import pytest

from tests.outputs.homie_validator import Message, complaints, fits, main

PROPERTIES: dict[str, Any] = {
    "celsius": {"datatype": "float", "format": "-20:120", "unit": "°C"},
    "mode": {"datatype": "enum", "format": "slow,fast", "settable": True},
    "pressed": {"datatype": "boolean", "retained": False},
}


def description(**more: Any) -> bytes:
    nodes = {"n": {"name": "Node", "properties": PROPERTIES}}
    return json.dumps({"homie": "5.0", "version": 7, "nodes": nodes, **more}).encode()


def message(path: str, payload: bytes | str, retained: bool = True, qos: int = 1) -> Message:
    given = payload.encode() if isinstance(payload, str) else payload
    return Message(topic=f"homie/5/{path}", payload=given, retained=retained, qos=qos)


GOOD = [
    message("tree/$state", "init"),
    message("leaf/$state", "init"),
    message("leaf/$description", description(root="tree", parent="tree")),
    message("leaf/n/celsius", "21.5"),
    message("leaf/n/mode", "slow"),
    message("leaf/$state", "ready"),
    message("tree/$description", description(children=["leaf"])),
    message("tree/$state", "ready"),
    message("leaf/n/pressed", "true", retained=False),
    message("leaf/n/mode/set", "fast", retained=False),
    message("leaf/n/mode", ""),
    message("leaf/$log/warn", "mind", retained=False),
    message("leaf/$alert/battery", "low"),
    message("leaf/n/mode/$target", "fast"),
    message("$broadcast/alert", "fire", retained=False),
    message("tree/$state", "disconnected"),
]


def test_a_life_without_fault_passes() -> None:
    assert [] == complaints(GOOD)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (message("leaf/n/celsius", "NaN"), "no float"),
        (message("leaf/n/celsius", "1,5"), "no float"),
        (message("leaf/n/celsius", "121"), "no float of format -20:120"),
        (message("leaf/n/mode", "Slow"), "no enum"),
        (message("leaf/n/mode", "slow", retained=False), "retain flag"),
        (message("leaf/n/pressed", "true"), "retain flag"),
        (message("leaf/n/pressed", "1", retained=False), "no boolean"),
        (message("leaf/n/other", "1"), "is not described"),
        (message("leaf/n/mode/set", "fast"), "a command is retained"),
        (message("leaf/n/celsius/set", "1", retained=False), "is not settable"),
        (message("leaf/n/mode/$target", "Fast"), "no enum"),
        (message("leaf/n/celsius/$target", "1"), "a target of what cannot be set"),
        (message("$broadcast/alert", "fire"), "a broadcast is retained"),
        (message("leaf/$description", ""), "is taken away before its $state"),
        (message("leaf/$state", "asleep"), "no such state"),
        (message("leaf/$state", "ready", retained=False), "not retained"),
        (message("leaf/$state", "ready", qos=0), "quality of service 0"),
        (message("leaf/$description", description(root="tree")), "changes while ready"),
        (message("leaf/$log/loud", "x", retained=False), "no such level"),
        (message("leaf/$log/warn", "x"), "a log message is retained"),
        (message("leaf/$alert/low", "x", retained=False), "an alert is not retained"),
        (message("Leaf/$state", "ready"), "is no id"),
        (message("leaf/a/b/c/d", "1"), "no such topic"),
        (message("other/$state", "sleeping"), "sleeping without a description"),
        (message("other/$log/warn", "x", retained=False), "never said its $state"),
        (Message(topic="home/5/x/$state", payload=b"", retained=True, qos=1), "does not begin"),
    ],
)
def test_a_fault_is_found(wrong: Message, says: str) -> None:
    """Each of these, put into a life without fault, is the one complaint."""
    found = complaints([*GOOD[:-1], wrong])
    assert 1 == len(found)
    assert says in found[0]


@pytest.mark.parametrize(
    ("described", "says"),
    [
        (b"{", "not JSON"),
        (b"[]", "not an object"),
        (json.dumps({"homie": "5.0"}).encode(), "has no version"),
        (description(homie="4.0"), "not 5.x"),
        (description(version="7"), "version is no int"),
        (description(colour="red"), "unknown field"),
        (description(parent="tree"), "a parent without a root"),
        (description(children=["new"]), "names itself"),
        (description(nodes={"N": {}}), "node 'N' is no id"),
        (description(nodes={"n": {"properties": {"p": {}}}}), "has no datatype"),
    ],
)
def test_a_bad_description_is_found(described: bytes, says: str) -> None:
    found = complaints([message("new/$state", "init"), message("new/$description", described)])
    assert any(says in line for line in found), found


@pytest.mark.parametrize(
    ("datatype", "form"),
    [
        ("enum", None),
        ("enum", "a,,b"),
        ("enum", "a,a"),
        ("integer", "1"),
        ("integer", "1.5:2"),
        ("float", "5:1"),
        ("float", "1:5:0"),
        ("boolean", "on"),
        ("number", None),
    ],
)
def test_a_bad_format_is_found(datatype: str, form: str | None) -> None:
    property_ = {"datatype": datatype} | ({} if form is None else {"format": form})
    described = description(nodes={"n": {"properties": {"p": property_}}})
    found = complaints([message("new/$state", "init"), message("new/$description", described)])
    assert 1 == len(found), found


def test_a_child_must_be_there_before_its_parent_is_ready() -> None:
    """And it must name that parent."""
    first = [message("tree/$state", "init")]
    tree = message("tree/$description", description(children=["leaf"]))
    ready = message("tree/$state", "ready")
    assert 1 == len(complaints([*first, tree, ready]))
    orphan = [message("leaf/$state", "init"), message("leaf/$description", description())]
    assert ["names another parent" in line for line in complaints([*first, *orphan, tree, ready])]


def test_a_value_that_is_no_longer_described_must_go() -> None:
    """A device that becomes another one takes its old values away before it is ready."""
    changed = description(root="tree", nodes={"n": {"properties": {"mode": PROPERTIES["mode"]}}})
    again = [message("leaf/$state", "init"), message("leaf/$description", changed)]
    ready = message("leaf/$state", "ready")
    (found,) = complaints([*GOOD[:-1], *again, ready])
    assert "leaves values that it does not describe: {'n/celsius'}" in found
    assert [] == complaints([*GOOD[:-1], *again, message("leaf/n/celsius", ""), ready])


@pytest.mark.parametrize(
    ("datatype", "form", "good", "bad"),
    [
        ("integer", "2:6:2", ["2", "4", "6"], ["0", "9", "", "2.0", "+4", " 4"]),
        ("float", "0:", ["0", "1e3", "0.1"], ["-0.1", "1e", ".5", "inf", "Infinity"]),
        ("float", ":10", ["10", "-99"], ["10.1"]),
        ("integer", None, [str(2**63 - 1), str(-(2**63))], [str(2**63)]),
        ("boolean", None, ["true", "false"], ["True", "on", ""]),
        ("datetime", None, ["2026-11-25T18:00:00Z"], ["2026-11-25", "18:00", ""]),
        ("duration", None, ["PT12H5M46S", "PT5M"], ["PT", "5M", "P1D"]),
        ("json", None, ['{"a":1}', "[]"], ["1", "{"]),
    ],
)
def test_payloads(datatype: str, form: str | None, good: list[str], bad: list[str]) -> None:
    assert {True} == {fits(text, datatype, form) for text in good}
    assert {False} == {fits(text, datatype, form) for text in bad}


def test_a_device_that_is_taken_away() -> None:
    """The convention: first an empty $state, then everything else that was retained."""
    gone = [message(path, "") for path in ("leaf/$state", "leaf/$description", "leaf/n/celsius")]
    assert [] == complaints([*GOOD[:6], *gone])


def test_what_a_stranger_hears_of_devices_that_were_there_before(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """In whatever order a broker sends what it retains; from the lines of a subscriber."""
    retained = {m.topic: m for m in GOOD[:-1] if m.retained}
    lines = [f"{int(m.retained)} {m.qos} {m.topic} {m.payload.hex()}\n" for m in retained.values()]
    for heard in (lines, lines[::-1]):
        assert 0 == main(["--snapshot"], heard)
    assert "8 messages, no complaint\n" == capsys.readouterr().out.splitlines(True)[0]
    assert 1 == main(["--snapshot"], [*lines, "1 1 homie/5/leaf/n/celsius 4e614e\n"])
    assert "leaf/n/celsius: no float of format -20:120 (b'NaN')" in capsys.readouterr().out
    assert 1 == main([], lines), "as a life, the last states alone are none"
