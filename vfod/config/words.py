"""Names, ports, addresses and counts as a configuration writes them.

As in `quantities`, each function takes what the YAML reader made of a value and raises UnfitError
with a text that says what is wrong and what to write instead.
"""

import math
import re
from collections.abc import Callable
from typing import Any

from vfod.config.complaints import shown

#: As vfod.radio.bands has it: usable without quotes in YAML, a shell, a topic and a label.
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_LONGEST_NAME = 60


class UnfitError(ValueError):
    """A value that is not what it should be; the text is the complaint."""


def text_of(value: Any, what: str, example: str) -> str:
    """The text of a value that a person may have written as text or as a number."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise UnfitError(f"{shown(value)} is not {what}; write it like {example}")
    return str(value).strip()


def name(value: Any) -> str:
    """A name that can stand in a topic, a label, a shell and YAML without quotes."""
    if isinstance(value, str) and len(value) <= 60 and _NAME.fullmatch(value):
        return value
    usable = re.sub(r"[^a-z0-9]+", "-", str(value).lower()).strip("-")[:60]
    if usable == str(value):
        example = f'write it in quotes, "{usable}"'
    else:
        example = f"write {usable}" if usable else "write it like evening-2"
    raise UnfitError(
        f"{shown(value)} is not a name of lower-case letters, digits and hyphens; {example}"
    )


def port(value: Any) -> str:
    """Where a VFO hangs: a path of a serial device, or a TCP serial server."""
    example = "/dev/serial/by-id/... or socket://host:port"
    text = text_of(value, "a port", example)
    if text.startswith("socket://"):
        _address(text.removeprefix("socket://"), 1, "socket://192.168.1.20:2000")
        return text
    if not text.startswith("/") or "\0" in text:
        raise UnfitError(f"{shown(text)} is not the whole path of a port; write {example}")
    return text


def listen(value: Any) -> tuple[str, int]:
    """An address to listen at; port 0 is any free one."""
    return _address(text_of(value, "an address", "127.0.0.1:8073"), 0, "127.0.0.1:8073")


def _address(text: str, lowest: int, example: str) -> tuple[str, int]:
    host, colon, number = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    usable = colon and host and number.isascii() and number.isdigit() and len(number) <= 5
    if not usable or not lowest <= int(number) <= 65535 or "/" in host:
        raise UnfitError(f"{shown(text)} is not a host and a port; write it like {example}")
    return host, int(number)


def path(value: Any) -> str:
    """A path; where it is relative, loading makes it follow the configuration file."""
    text = text_of(value, "a path", "/etc/vfod/broker-password")
    if not text or "\0" in text:
        raise UnfitError(f"{shown(value)} is not a path; write it like /etc/vfod/broker-password")
    return text


def plain(value: Any) -> str:
    """A short text that may well look like a number."""
    text = text_of(value, "a text", "listener")
    if not text or not text.isprintable() or len(text) > 200:
        raise UnfitError(f"{shown(value)} is not a short text; write it like listener")
    return text


def host(value: Any) -> str:
    """A host by name or address."""
    text = text_of(value, "a host", "127.0.0.1")
    if not text.isprintable() or not text or any(sign in text for sign in " /@"):
        raise UnfitError(f"{shown(value)} is not a host; write it like 127.0.0.1 or broker.example")
    return text


def number(low: float, high: float, example: str) -> Callable[[Any], float]:
    """Numbers between two bounds, both included."""

    def check(value: Any) -> float:
        fits = isinstance(value, int | float) and not isinstance(value, bool)
        if not fits or not math.isfinite(value) or not low <= value <= high:
            raise UnfitError(
                f"{shown(value)} is not a number from {low:g} to {high:g}; write it like {example}"
            )
        return float(value)

    return check


def whole(low: int, high: int, example: int) -> Callable[[Any], int]:
    """Whole numbers between two bounds, both included."""

    def check(value: Any) -> int:
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise UnfitError(
                f"{shown(value)} is not a whole number from {low} to {high}; "
                f"write it like {example}"
            )
        return value

    return check


def one_of(*known: Any) -> Callable[[Any], Any]:
    """One of a few words, or numbers."""

    def check(value: Any) -> Any:
        for word in known:
            if value == word and not isinstance(value, bool):
                return word
        choice = " or ".join(str(word) for word in known)
        raise UnfitError(f"{shown(value)} does not fit here; write {choice}")

    return check


def true_false(value: Any) -> bool:
    """Yes or no."""
    if not isinstance(value, bool):
        raise UnfitError(f"{shown(value)} is neither true nor false; write one of them")
    return value
