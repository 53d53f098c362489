"""The agenda as iCalendar (RFC 5545), for any calendar that reads it.

Times are UTC, so that no calendar needs to know a zone's rules. An event keeps its UID as long as
its VFO, window and night have their names, so that a calendar that reads the agenda again moves
the event and does not double it.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from vfod import __version__
from vfod.errors import UsageError

#: Octets in a line without its end (RFC 5545, section 3.1).
_LINE = 75


def calendar(windows: Sequence[Mapping[str, Any]], when: float) -> bytes:
    """The windows of an agenda, as `vfod agenda --json` has them, that run; `when` is now.

    Raises UsageError for none, because a calendar may not be empty (section 3.6).
    """
    running = [window for window in windows if window["runs"]]
    if not running:
        raise UsageError(
            "no window opens in that time, and a calendar must have an event",
            remedy="look further ahead with --days",
        )
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:-//vfod//vfod {__version__}//EN"]
    lines.append("METHOD:PUBLISH")
    parts: dict[tuple[str, ...], int] = {}
    for window in running:
        # A window that another one interrupts is in the agenda in parts, and when it is asked for
        # in the middle of the night the first of them is over: what came before names a part.
        names = tuple(str(window[key]) for key in ("vfo", "window", "night", "after"))
        parts[names] = parts.get(names, 0) + 1
        lines += _event(window, uuid5(NAMESPACE_URL, _path(names, parts[names])).urn[9:], when)
    lines.append("END:VCALENDAR")
    return b"".join(_folded(line) for line in lines)


def _path(names: tuple[str, ...], part: int) -> str:
    return "/".join(["vfod:", *(name.replace("/", "//") for name in names), str(part)])


def _event(window: Mapping[str, Any], uid: str, when: float) -> Iterator[str]:
    what = f"{window['window']}: sweep {window['sweep']}"
    says = [f"night of {window['night']}, VFO {window['vfo']}", *window["reasons"]]
    yield "BEGIN:VEVENT"
    yield f"UID:{uid}"
    yield f"DTSTAMP:{_utc(when)}"
    yield f"DTSTART:{_utc(window['opens'])}"
    yield f"DTEND:{_utc(window['closes'])}"
    yield f"SUMMARY:{_text(what)}"
    yield f"DESCRIPTION:{_text(chr(10).join(says))}"
    # The set is busy then, its owner is not.
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _utc(when: float) -> str:
    """Section 3.3.5, form 2."""
    return f"{datetime.fromtimestamp(round(when), UTC):%Y%m%dT%H%M%SZ}"


def _text(text: str) -> str:
    """Section 3.3.11; a control character, which no text may have, becomes a space."""
    for sign in "\\;,":
        text = text.replace(sign, f"\\{sign}")
    return "".join(
        "\\n" if sign == "\n" else " " if ord(sign) < 32 or ord(sign) == 127 else sign
        for sign in text
    )


def _folded(line: str) -> bytes:
    """With its line end, cut where it is too long, never within a character."""
    pieces: list[bytes] = []
    piece = b""
    for sign in line:
        octets = sign.encode("utf-8", "replace")
        # A line that goes on begins with a space, which counts.
        if len(piece) + len(octets) + bool(pieces) > _LINE:
            pieces.append(piece)
            piece = b""
        piece += octets
    return b"\r\n ".join([*pieces, piece]) + b"\r\n"
