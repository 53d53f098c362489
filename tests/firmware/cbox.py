"""The C responder with its model, in this process or in one of its own.

`do(word, value)` carries out one of the words of host_main.c and gives the bytes that the box sent
because of it. `Steps` says the steps of docs/protocol-vectors.yaml in these words.
"""

import ctypes
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.wire.reference import VECTORS, millihertz

Do = Callable[[str, Any], bytes]

#: Events are held for 50 ms after the last one (docs/protocol.md, 6.4), by a clock of milliseconds.
SPACING = 51
#: What a tune takes where a case says `slow: true`, milliseconds: longer than all other waiting.
SLOW = 2 * 10**9

_ROOM = 1 << 16


def library(path: Path) -> Any:
    """The functions of model.h."""
    found = ctypes.CDLL(str(path))
    me, text = ctypes.c_void_p, ctypes.c_char_p
    for name, gives, *takes in (
        ("size", ctypes.c_size_t),
        ("make", None, me, ctypes.c_uint32),
        ("power_on", None, me, ctypes.c_uint32),
        ("feed", None, me, text, ctypes.c_size_t),
        ("wait", None, me, ctypes.c_uint32),
        ("turn", None, me, ctypes.c_uint64),
        ("press", None, me, text),
        ("battery", None, me, ctypes.c_uint16),
        ("is_busy", ctypes.c_bool, me),
        ("frequency", ctypes.c_uint64, me),
        ("step", ctypes.c_uint32, me),
        ("now", None, me, ctypes.c_uint32),
        ("break", None, me, ctypes.c_bool),
        ("blind", None, me, ctypes.c_bool),
        ("deed", None, me, ctypes.c_int32),
        ("charge", None, me, ctypes.c_uint16),
        ("deeds", ctypes.c_uint32, me),
        ("take", ctypes.c_size_t, me, text, ctypes.c_size_t),
    ):
        function = getattr(found, f"model_{name}")
        function.restype, function.argtypes = gives, takes
    return found


class LibraryBox:
    """One box in this process; there may be many."""

    def __init__(self, functions: Any) -> None:
        self.c = functions
        self._memory = ctypes.create_string_buffer(functions.model_size())
        self.me = ctypes.addressof(self._memory)
        self._sent = ctypes.create_string_buffer(_ROOM)

    def do(self, word: str, value: Any) -> bytes:
        """See above."""
        match word:
            case "send":
                self.c.model_feed(self.me, value, len(value))
            case "reset":
                self.c.model_power_on(self.me, int(value, 16))
            case "press":
                self.c.model_press(self.me, value.encode("ascii"))
            case _:
                getattr(self.c, f"model_{word}")(self.me, value)
        return self.taken()

    def taken(self) -> bytes:
        """What was sent since the last time."""
        count = self.c.model_take(self.me, self._sent, _ROOM)
        return self._sent.raw[:count]


class ProcessBox:
    """One box in a process of its own, where a sanitizer may end it."""

    def __init__(self, program: Path) -> None:
        self._process = subprocess.Popen(
            [program, "script"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def do(self, word: str, value: Any) -> bytes:
        """See above."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        text = value.hex() if isinstance(value, bytes) else value
        self._process.stdin.write(f"{word} {text}\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        assert answer, f"the box ended with {self._process.wait()}"
        return bytes.fromhex(answer)

    def close(self) -> int:
        """End it; its exit code."""
        self._process.communicate()
        return self._process.returncode


class Steps:
    """The reference box of the vectors, moved by the steps of a case."""

    def __init__(self, do: Do, *, slow: bool) -> None:
        self._do = do
        do("make", SLOW if slow else 0)
        do("reset", VECTORS["reference_box"]["boot"])

    def step(self, word: str, value: Any) -> bytes:
        """One step; the bytes that come out."""
        match word:
            case "send":
                return self._do("send", value.encode("latin-1"))
            case "turn":
                return self._after("turn", millihertz(value))
            case "hold":
                # Every case that has it has just sent an event.
                return self._do("turn", millihertz(value))
            case "hold_press":
                return self._do("press", value)
            case "release":
                return self._do("wait", SPACING)
            case "settled":
                return self._do("wait", SLOW + 1)
            case "press" | "battery":
                return self._after(word, value)
            case "broken":
                return self._do("break", int(value))
            case "reset":
                return self._do("reset", value)
        raise AssertionError(f"no such step: {word}")

    def _after(self, word: str, value: Any) -> bytes:
        """When an event may go out again."""
        return self._do("wait", SPACING) + self._do(word, value)
