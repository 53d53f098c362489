"""From bytes to lines, and in step again after anything.

A line ends with LF; CR ends it as well, because that is what a terminal's enter key sends, and
an empty line is nothing, so CR LF does no harm. `#` and `!` stand only at the beginning of a
line, so one of them begins a new line wherever it comes: half a line, noise or a boot banner
without an end costs itself and never the good line after it.

Both ends of the wire read with this class (docs/protocol.md, section 2).
"""

import re
from dataclasses import dataclass
from enum import StrEnum

#: Longest line with its line feed, in bytes; fits a receive buffer of 120 bytes with room for
#: a terminating zero, and a chunk of a slow USB endpoint twice.
LINE_LIMIT = 120

_LF, _CR, _HASH, _BANG = b"\n\r#!"
#: What comes nearly always: one whole line and nothing else.
_WHOLE = re.compile(rb"([#!]?[\x20\x22\x24-\x7e]{1,%d})\n" % (LINE_LIMIT - 2))
_PIECE = re.compile(rb"[\r\n]|[#!]|[\x20\x22\x24-\x7e]+|[^\x20-\x7e\r\n]+")


class Fault(StrEnum):
    """Why bytes were no line."""

    OVERLONG = "overlong"
    UNPRINTABLE = "unprintable"
    #: A `#` or `!` began a new line before this one had ended.
    CUT = "cut"


@dataclass(frozen=True, slots=True)
class Garbage:
    """Bytes that were no line: why, and the first of them (at most a line's length)."""

    kind: Fault
    sample: bytes


class LineReader:
    """Cuts a stream of bytes into lines without line end; holds at most one line."""

    def __init__(self) -> None:
        self._held = bytearray()
        self._fault: Fault | None = None

    def feed(self, data: bytes) -> list[bytes | Garbage]:
        """Take bytes in pieces of any size; give the lines and the garbage that ended in them."""
        if not self._held and self._fault is None and (whole := _WHOLE.fullmatch(data)):
            return [whole[1]]
        found: list[bytes | Garbage] = []
        for match in _PIECE.finditer(data):
            piece = match.group()
            first = piece[0]
            if first in (_LF, _CR):
                if self._fault is not None:
                    found.append(Garbage(self._fault, bytes(self._held)))
                elif self._held:
                    found.append(bytes(self._held))
                self._begin(b"")
            elif first in (_HASH, _BANG):
                if self._held or self._fault is not None:
                    found.append(Garbage(Fault.CUT, bytes(self._held)))
                self._begin(piece)
            else:
                self._hold(piece, printable=0x20 <= first <= 0x7E)
        return found

    @property
    def held(self) -> int:
        """Bytes held back until their line ends."""
        return len(self._held)

    def _begin(self, start: bytes) -> None:
        self._held[:] = start
        self._fault = None

    def _hold(self, piece: bytes, *, printable: bool) -> None:
        room = LINE_LIMIT - 1 - len(self._held)
        if self._fault is None:
            if not printable:
                self._fault = Fault.UNPRINTABLE
            elif len(piece) > room:
                self._fault = Fault.OVERLONG
        self._held += piece[:room]
