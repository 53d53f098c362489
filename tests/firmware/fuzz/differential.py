"""The responder in C and the one in Python get the same bytes and must give the same replies.

Both drive the reference box of docs/protocol-vectors.yaml. Compared is everything but the word for
a person in a refusal, which 8.2 leaves free, and the checksum, which must be right.
"""

import contextlib
import random
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from tests.firmware.cbox import SPACING, LibraryBox, Steps
from tests.firmware.fuzz.inputs import Inputs
from tests.firmware.fuzz.moves import moves
from tests.wire.reference import ReferenceBox, millihertz
from tests.wire.test_box import lines_of, meaning
from vfod.errors import WireError
from vfod.wire.grammar import parse

#: The battery is told once in ten minutes (docs/protocol.md, 6.1), by a clock of milliseconds.
_TEN_MINUTES = 600_001


@dataclass
class Findings:
    """How many inputs were tried, how many lines came back, and where the two differ."""

    inputs: int = 0
    replies: int = 0
    disagreements: list[bytes] = field(default_factory=list)


def compare(functions: Any, seconds: float, seed: int, also: Iterable[bytes] = ()) -> Findings:
    """Try the inputs `also`, then others for so long, or until an interrupt."""
    found = Findings()
    box = LibraryBox(functions)
    until = time.monotonic() + seconds
    for data in also:
        _try(box, data, found)
    invent = Inputs(random.Random(seed))
    with contextlib.suppress(KeyboardInterrupt):
        while time.monotonic() < until:
            _try(box, invent.input(), found)
    return found


def _try(box: LibraryBox, data: bytes, found: Findings) -> None:
    one, other = answers(box, data)
    found.inputs += 1
    found.replies += len(one)
    if one != other:
        found.disagreements.append(data)


def answers(box: LibraryBox, data: bytes) -> tuple[list[str], list[str]]:
    """What the responder in C says to an input, and what the one in Python."""
    slow = bool(data[:1] and data[0] & 1)
    c, python = _InC(box.do, slow=slow), _InPython(slow=slow)
    said: tuple[list[str], list[str]] = ([], [])
    for word, value in _legal(data):
        said[0].extend(map(_told, lines_of(c.step(word, value))))
        said[1].extend(map(_told, lines_of(python.step(word, value))))
    return said


def _told(line: bytes) -> str:
    try:
        return str(meaning(parse(line)))
    except WireError as error:
        return f"{line!r} is no line: {error}"


def _legal(data: bytes) -> Iterator[tuple[str, Any]]:
    """The moves of an input, with what else must happen so that they have one right outcome.

    An event is held back because another one was just sent. What is held is released before time
    passes and before anything else is told; so is a turn before a button would be held as well,
    because the protocol leaves the order of these two open.
    """
    held = ""
    for word, value in moves(data):
        at_once = word in ("send", "reset", "broken", "hold") or held == word
        if held and not at_once:
            yield "release", True
            held = ""
        if word in ("hold", "hold_press"):
            if not held:
                yield "press", "up"
            held = word
        if word == "reset":
            held = ""
        yield word, value
    if held:
        yield "release", True


class _InC(Steps):
    """The responder in C."""

    def step(self, word: str, value: Any) -> bytes:
        match word:
            case "wait":
                return self._do("wait", SPACING)
            case "release":
                # A button and a turn.
                return self._do("wait", SPACING) + self._do("wait", SPACING)
            case "battery":
                return self._do("wait", _TEN_MINUTES) + super().step(word, value)
        return super().step(word, value)


class _InPython(ReferenceBox):
    """The one in Python, with what has to do with time."""

    def __init__(self, *, slow: bool) -> None:
        super().__init__({"slow": slow})

    def step(self, word: str, value: Any) -> bytes:
        match word:
            case "wait":
                return b""
            case "settled" if self._tuning is None:
                return b""
            case "turn" | "hold" if millihertz(value) == self._state.frequency:
                return b""  # At the end of the range, say: no effect and no event (6.10).
            case "hold":
                return super().step(word, value) + self._hand_wins()
            case "release":
                # A tune that waits now came after the hand, and did not ask for it.
                tuning, self._tuning = self._tuning, None
                out = super().step(word, value)
                self._tuning = tuning
                return out
        return super().step(word, value)

    def _hand_wins(self) -> bytes:
        """The tune is refused at once, though the event for the turn has to wait (6.8)."""
        told = self.session
        asked, self._tuning = self._tuning, None
        if asked is None:
            return b""
        return told.refuse(asked, "hand", "hand moved since", self._state.frequency)
