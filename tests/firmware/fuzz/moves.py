"""What an input of the fuzzers means: bytes for the box, and what a hand and the time do meanwhile.

The first byte says by its lowest bit whether a tune waits for the end of its settle time. Of the
others FF is no byte for the box but begins three, FF, what, how; what is taken by its lower bits:

    0   the byte FF itself
    1   the output is turned by hand to 7 MHz + how × 1 kHz, when an event may be sent; 2 at once
    3   a button is pressed, when an event may be sent; 4 at once
    5   time passes: a little, or when how is odd until everything has settled
    6   the battery gets low
    7   a reset with how as boot id when how is odd, else a defect begins or ends

target.c does the same in C.
"""

from collections.abc import Iterator
from typing import Any

from tests.wire.reference import VECTORS, millihertz

MARK = 0xFF
BUTTONS = ("up", "down", "twelve-chars")
TURN_FROM, TURN_BY = 7_000_000_000, 1_000_000

Move = tuple[str, Any]


def moves(data: bytes) -> Iterator[Move]:
    """The steps of docs/protocol-vectors.yaml for an input, and `wait`, which is for a while."""
    at = 1
    while at < len(data):
        end = data.find(MARK, at)
        if end < 0:
            end = len(data)
        if end > at:
            yield "send", data[at:end].decode("latin-1")
        if end + 2 < len(data):
            yield _move(data[end + 1] & 7, data[end + 2])
        at = end + 3


def _move(what: int, how: int) -> Move:
    match what:
        case 1 | 2:
            return ("turn", "hold")[what - 1], f"{(TURN_FROM + TURN_BY * how) // 1000}.000"
        case 3 | 4:
            return ("press", "hold_press")[what - 3], BUTTONS[how % 3]
        case 5:
            return ("settled" if how & 1 else "wait"), True
        case 6:
            return "battery", how * 257
        case 7:
            return ("reset", f"{how:X}") if how & 1 else ("broken", bool(how & 2))
    return "send", "\xff"


def seeds() -> list[bytes]:
    """The cases of the vectors as inputs."""
    return [_encoded(case) for case in VECTORS["box"]]


def _encoded(case: dict[str, Any]) -> bytes:
    data = bytearray([1 if case.get("slow") else 0])
    for step in case["steps"]:
        ((word, value),) = step.items()
        match word:
            case "send":
                data += value.encode("latin-1").replace(b"\xff", bytes([MARK, 0, 0]))
            case "turn" | "hold":
                how = max(0, millihertz(value) - TURN_FROM) // TURN_BY % 256
                data += bytes([MARK, 1 if word == "turn" else 2, how])
            case "press" | "hold_press":
                data += bytes([MARK, 3 if word == "press" else 4, 0])
            case "release" | "settled":
                data += bytes([MARK, 5, 0 if word == "release" else 1])
            case "battery":
                data += bytes([MARK, 6, value // 257])
            case "reset" | "broken":
                data += bytes([MARK, 7, 1 if word == "reset" else 2])
    return bytes(data)
