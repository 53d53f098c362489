"""The image of tests/firmware/cortex_m3 in an emulated processor.

The line of the box and the hand on it are two pseudo-terminals. The emulator obeys by QMP, the
machine protocol of its own documentation: a line of JSON for each command and for each answer.
"""

import json
import os
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.firmware.build import CORTEX_M3, EXAMPLE, HERE, RESPONDER, able, compiled
from tests.real_parts import real_part
from vfod.clock import Clock
from vfod.conform.bench import Hand

_MACHINE = "-machine lm3s6965evb -display none -serial pty -serial pty -qmp stdio"
_BOARD = HERE / "cortex_m3"
#: What example_main.c says it needs.
EXAMPLE_ABLE = ("knob", "touch", "level", "output")


def image(
    to: Path, main: Path = EXAMPLE, options: Sequence[str] = tuple(able(EXAMPLE_ABLE))
) -> Path:
    """The responder, a main loop around it and the board, linked for the processor."""
    linking = [*CORTEX_M3, "-nostdlib", f"-Wl,-T,{_BOARD / 'image.ld'}", f"-I{_BOARD}"]
    sources = [RESPONDER, main, _BOARD / "board.c"]
    return compiled("arm-none-eabi-gcc", [*linking, *options], sources, to)


class Emulator:
    """A running processor."""

    def __init__(self, image_file: Path, log: Path) -> None:
        words = [real_part("qemu-system-arm"), *_MACHINE.split(), "-kernel", str(image_file)]
        with log.open("wb") as complaints:
            self._process = subprocess.Popen(
                words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=complaints
            )
        self._kept: list[int] = []
        try:
            self._command("qmp_capabilities")
            ends = {end["label"]: end["filename"] for end in self._command("query-chardev")}
        except BaseException:
            self.close()
            raise
        #: The device on which the box answers.
        self.port = ends["serial0"].removeprefix("pty:")
        # Kept open, because the emulator looks only once a second whether somebody opened it.
        self._kept = [_open(ends[label]) for label in ("serial0", "serial1")]

    def reset(self) -> None:
        """Press the reset button."""
        self._command("system_reset")

    def hand(self, what: str) -> None:
        """Turn the knob with `+` and `-`, press a button with its letter."""
        os.write(self._kept[1], what.encode("ascii"))

    def close(self) -> None:
        """Switch it off."""
        self._process.kill()
        self._process.communicate()
        for end in self._kept:
            os.close(end)

    def _command(self, name: str) -> Any:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps({"execute": name}).encode() + b"\n")
        self._process.stdin.flush()
        for line in self._process.stdout:
            # Between the answers are a greeting, events, and words that are no JSON.
            if line.startswith(b'{"return"'):
                return json.loads(line)["return"]
        raise AssertionError(f"the emulator has no answer to {name}")


def _open(filename: str) -> int:
    return os.open(filename.removeprefix("pty:"), os.O_RDWR | os.O_NOCTTY)


#: How hand_moved in board.c does what the check asks a person to do.
DEEDS = {
    "turn": "+++",
    "turn-up": "+++",
    "turn-down": "---",
    "press": "b",
    "spin": "+",
    "reset": "",
}


def deeds_on(emulator: Emulator, clock: Clock) -> Hand:
    """A hand on the knob, the button and the reset of the emulator."""

    async def hand(deed: str) -> bool:
        for _ in range(40 if deed == "spin" else 1):
            if deed == "reset":
                emulator.reset()
            elif deed in DEEDS:
                emulator.hand(DEEDS[deed])
            await clock.sleep_until(clock.monotonic() + 0.01)
        return deed in DEEDS

    return hand
