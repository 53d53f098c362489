"""The table of docs/configuration.md, made from the code: every key, and when it takes effect."""

import re
from typing import Any

from vfod.config.changes import TABLE
from vfod.config.schema import schema

_BEGIN, _END = "<!-- table: vfod/config/changes.py -->\n", "<!-- end -->"

#: What stands for `*` in a row, by the section before it.
_STANDS_FOR = {
    "vfos": "VFO",
    "bands": "BAND",
    "sweeps": "SWEEP",
    "windows": "WINDOW",
    "receiver": "RANGE",
    "with": "GUEST",
    "watches": "WATCH",
}


def filled(page: str) -> str:
    """The page with its table as the code has it now."""
    head, found, rest = page.partition(_BEGIN)
    _, closed, tail = rest.partition(_END)
    assert found, "docs/configuration.md has no place for the table"
    assert closed, "docs/configuration.md has no end of the table"
    lines = ["| key | what it is | a change takes effect |", "| --- | --- | --- |"]
    lines += [f"| `{_shown(key)}` | {_says(key)} | {takes} |" for key, takes in TABLE.items()]
    return head + _BEGIN + "\n".join(lines) + "\n" + _END + tail


def _shown(key: str) -> str:
    parts = key.split(".")
    return ".".join(
        _STANDS_FOR[parts[place - 1]] if part == "*" else part for place, part in enumerate(parts)
    )


def _says(key: str) -> str:
    """The first sentence of what the schema says of a key."""
    whole = schema()
    part: dict[str, Any] = whole
    says = ""
    for name in key.split("."):
        if name == "*":
            named = part.get("patternProperties", {}).values()
            options = [*named, part.get("additionalProperties"), part.get("items")]
            part = next(option for option in options if isinstance(option, dict))
        else:
            part = part["properties"][name]
            says = part.get("description", "")
        while "$ref" in part or "anyOf" in part:
            arms = part.get("anyOf", [part])
            inner = [arm for arm in arms if "$ref" in arm or "properties" in arm or "items" in arm]
            if not inner:
                break
            part = inner[0]
            if "$ref" in part:
                part = whole["$defs"][part["$ref"].rpartition("/")[2]]
            if name == "*":
                says = part.get("description", says)
    first = re.split(r"(?<=[a-z0-9)]);|(?<=[a-z0-9)])\. ", re.sub(r"\s+", " ", says))[0]
    return first.rstrip(".").replace("|", "\\|")
