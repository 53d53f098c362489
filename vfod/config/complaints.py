"""A complaint: where in the file, what is wrong there, and what to write instead.

A fault knows its place in the data, a complaint its line and column.
"""

import difflib
from collections.abc import Iterable
from typing import NamedTuple

from vfod.errors import ConfigError

#: A place in the data of a file: names of keys, and numbers (from 0) of entries in a list.
Where = tuple[str | int, ...]

#: Longest piece of the file that a complaint repeats.
_SHOWN = 40


class Complaint(NamedTuple):
    """One complaint; line and column count from 1, `text` is what and then the remedy."""

    line: int
    column: int
    text: str


class Fault(NamedTuple):
    """What is wrong at a place of the data, then the remedy; `key` where the key is meant."""

    where: Where
    text: str
    key: bool = False

    def __str__(self) -> str:
        return f"{label(self.where)}: {self.text}" if self.where else self.text


def label(where: Where) -> str:
    """A place in words, counted from 1: `sweeps.evening.skip.#2`."""
    return ".".join(f"#{part + 1}" if isinstance(part, int) else part[:_SHOWN] for part in where)


def refuse(path: str, complaints: Iterable[Complaint]) -> ConfigError:
    """All complaints as one error: `file:line:column: text`, in the order of the file."""
    ordered = sorted(set(complaints))
    return ConfigError([f"{path}:{c.line}:{c.column}: {_one_line(c.text)}" for c in ordered])


def _one_line(text: str) -> str:
    """What a terminal can show in one line, whatever the file has in its names and values."""
    return "".join(sign if sign.isprintable() else repr(sign)[1:-1] for sign in text)


def shown(value: object) -> str:
    """A piece of the file, quoted and cut to a length that a line of text bears."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a section"
    if isinstance(value, list):
        return "a list"
    text = value if isinstance(value, str) else str(value)
    cut = text if len(text) <= _SHOWN else text[:_SHOWN] + "..."
    return repr(cut)


def meant(name: str, known: Iterable[str]) -> str:
    """The remedy for a name that is not known: the nearest ones, else all."""
    names = list(known)
    near = difflib.get_close_matches(name.lower(), names, n=2)
    if near:
        return f"did you mean {' or '.join(near)}?"
    return f"known are {', '.join(names)}" if names else "none is described yet"
