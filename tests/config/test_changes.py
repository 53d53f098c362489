"""Two files compared key by key, and the table of when a change takes effect."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from vfod.config.changes import NAMED, TABLE, Takes, changes, row, takes
from vfod.config.loading import load, parse
from vfod.config.schema import schema

CONFIGS = Path(__file__).parents[2] / "configs"

FILE = """
vfos:
  main: {port: /dev/a, receiver: [{from: 150k, to: 30M, detector: direct}]}
  attic: {port: /dev/b}
sweeps:
  evening: {bands: [41m], hold: off}
  friends: {channels: [6070k]}
windows:
  - {sweep: evening, from: 22:00, until: 02:00}
  - {name: late, sweep: friends, from: 02:00, until: 03:00}
mqtt: {host: broker}
"""


def keys_of_the_schema() -> Iterator[str]:
    """Every key that may stand in a file, from the schema alone: names and numbers as `*`."""
    whole = schema()

    def walk(part: dict[str, Any], at: str) -> Iterator[str]:
        for arm in part.get("anyOf", [part]):
            if "$ref" in arm:
                yield from walk(whole["$defs"][arm["$ref"].rpartition("/")[2]], at)
            for name, inside in arm.get("properties", {}).items():
                key = f"{at}.{name}" if at else name
                yield key
                yield from walk(inside, key)
            named = arm.get("patternProperties", {}).values()
            for entries in (*named, arm.get("additionalProperties"), arm.get("items")):
                if isinstance(entries, dict) and "$ref" in entries:
                    yield f"{at}.*"
                    yield from walk(entries, f"{at}.*")

    yield from walk(whole, "")


def test_every_key_of_the_schema_has_a_row() -> None:
    """A new key cannot be forgotten, and no row is for a key that is gone.

    A section that is always there has no row of its own.
    """
    always = {"place", "bands", "sweeps", "sweeps.*.margin", "control", "journal"}
    assert always | TABLE.keys() == set(keys_of_the_schema())
    assert not always & TABLE.keys()


def difference(*swaps: tuple[str, str]) -> tuple[str, ...]:
    text = FILE
    for old, new in swaps:
        assert old in text
        text = text.replace(old, new)
    return changes(parse(FILE, "f").written, parse(text, "f").written)


@pytest.mark.parametrize(
    ("swaps", "keys"),
    [
        ([], []),
        ([("port: /dev/a", "port: /dev/c")], ["vfos.main.port"]),
        ([("from: 150k", "from: 100k")], ["vfos.main.receiver.1.from"]),
        (
            [("detector: direct}", "detector: direct}, {from: 30M, to: 40M, detector: direct}")],
            ["vfos.main.receiver.2"],
        ),
        ([("attic: {port: /dev/b}", "attic: {port: /dev/b, quiet: 10m}")], []),
        ([("  attic: {port: /dev/b}\n", "")], ["vfos.attic"]),
        ([("attic: {", "cellar: {")], ["vfos.cellar", "vfos.attic"]),
        ([("hold: off", "hold: {times: 2}")], ["sweeps.evening.hold"]),
        ([("hold: off", "margin: {stay: 2dB}, hold: off")], ["sweeps.evening.margin.stay"]),
        ([("until: 02:00", "until: 01:00")], ["windows.evening.until"]),
        ([("name: late, ", "")], ["windows.friends", "windows.late"]),
        ([("- {sweep: evening", "- {name: evening, sweep: evening")], []),
        ([("mqtt: {host: broker}", "mqtt: off")], ["mqtt"]),
        ([("host: broker", "host: broker, tls: {}")], ["mqtt.tls"]),
        (
            [("evening, from: 22:00", "friends, from: 23:00"), ("name: late", "name: evening")],
            ["windows.friends", "windows.evening.sweep", "windows.evening.from",
             "windows.evening.until", "windows.late"],
        ),
    ],
)  # fmt: skip
def test_what_differs(swaps: list[tuple[str, str]], keys: list[str]) -> None:
    """Each key by its name in the file; what an entry holds is not listed when it comes or goes."""
    assert set(keys) == set(difference(*swaps))


def test_the_order_of_windows_and_vfos_counts() -> None:
    """The first window has the dial, the first VFO is meant: another order is a change."""
    lines = [line for line in FILE.splitlines() if "sweep: " in line]
    assert ("windows",) == difference((f"{lines[0]}\n{lines[1]}", f"{lines[1]}\n{lines[0]}"))
    assert "vfos" in difference(
        ("  attic: {port: /dev/b}\n", ""), ("vfos:\n", "vfos:\n  attic: {port: /dev/b}\n")
    )


def test_a_key_finds_its_row() -> None:
    """Names and numbers are passed over, wherever they stand."""
    assert "vfos.*.receiver.*.from" == row("vfos.main.receiver.2.from")
    assert "windows.*" == row("windows.late")
    assert Takes.RESTART is takes("journal.path")
    assert Takes.PASS is takes("sweeps.vfo.dwell")
    assert "windows.*.with.*.every" == row("windows.late.with.2.every")
    assert {"vfos", "bands", "sweeps", "windows", "watches"} == set(NAMED)


def test_every_key_of_the_example_is_in_the_table() -> None:
    """configs/documented.yaml has them all: compared with nothing, each has its row."""
    whole = load(str(CONFIGS / "documented.yaml")).written
    for section, inside in whole.items():
        for key in changes({}, {section: inside}) + changes({section: {}}, {section: inside}):
            assert row(key) in TABLE or "." not in key, key
