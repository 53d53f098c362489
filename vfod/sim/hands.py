"""A person's hand on the simulated box: keys of a terminal, or bytes of a pipe.

    right, up, +    one step up          1 to 9   press that button
    left, down, -   one step down        u        unplug the cable, plug it in again
    r               reset                q        end the simulation

On a terminal one line shows what the box does and what its receiver truly hears.
A pipe takes the same characters, so that a script can be the hand.
"""

import asyncio
import contextlib
import os
import re
import sys
import termios
import tty
from collections.abc import Callable
from typing import Any

from vfod.sim.world import Plug, World
from vfod.units import format_frequency

#: How often the line is drawn anew, seconds: the levels move by themselves.
_REDRAW = 0.25
#: Widest line that fits a terminal of 80 columns.
_WIDTH = 79
_READ_SIZE = 256

_UP = {"+", "=", "A", "C"}
_DOWN = {"-", "_", "B", "D"}
#: An arrow in either of the two forms of a terminal, or any single byte.
_KEY = re.compile(rb"\x1b[\[O]([A-D])|(.)", re.DOTALL)
_HALF_ARROW = re.compile(rb"\x1b[\[O]?\Z")


class Keys:
    """Reads keys from a descriptor until `close`; `stop` is called for q."""

    def __init__(
        self, world: World, plug: Plug, stop: Callable[[], None], *, source: int = 0
    ) -> None:
        self._world = world
        self._plug = plug
        self._stop = stop
        self._source = source
        self._loop = asyncio.get_running_loop()
        self._plugged = True
        self._held = b""
        self._before: list[Any] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._reading = False

    def start(self) -> None:
        """Take keys from now on."""
        if os.isatty(self._source):
            self._before = termios.tcgetattr(self._source)
            tty.setcbreak(self._source)
            self._draw()
        try:
            self._loop.add_reader(self._source, self._readable)
            self._reading = True
        except PermissionError:
            # A plain file as the standard input cannot be waited for, and has no keys to come.
            self._take(os.read(self._source, _READ_SIZE))

    def close(self) -> None:
        """Leave the terminal as it was found, where it is still there."""
        self._quiet()
        if self._timer is not None:
            self._timer.cancel()
        if self._before is not None:
            with contextlib.suppress(termios.error):
                termios.tcsetattr(self._source, termios.TCSADRAIN, self._before)
            self._before = None
            self._write("\n")

    def _readable(self) -> None:
        data = b""
        with contextlib.suppress(OSError):
            data = os.read(self._source, _READ_SIZE)
        if data:
            self._take(data)
        else:
            self._quiet()

    def _quiet(self) -> None:
        if self._reading:
            self._reading = False
            self._loop.remove_reader(self._source)

    def _take(self, data: bytes) -> None:
        data = self._held + data
        half = _HALF_ARROW.search(data)
        self._held = half.group() if half else b""
        data = data[: len(data) - len(self._held)]
        for arrow, plain in _KEY.findall(data):
            # A letter that was typed is no arrow.
            self.press((arrow or plain.lower()).decode("latin-1"))
        if self._before is not None:
            self._draw()

    def press(self, key: str) -> None:
        """What one key does; A to D are the arrows up, down, right, left."""
        box = self._world.box
        if key in _UP:
            box.turn(1)
        elif key in _DOWN:
            box.turn(-1)
        elif key in "123456789":
            box.press(key)
        elif key == "r":
            box.reset()
        elif key == "u":
            self._plugged = not self._plugged
            if self._plugged:
                self._plug.plug()
            else:
                self._plug.unplug()
        elif key == "q":
            self._stop()

    def _draw(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
        self._timer = self._loop.call_later(_REDRAW, self._draw)
        self._write("\r" + describe(self._world, plugged=self._plugged)[:_WIDTH] + "\x1b[K")

    def _write(self, text: str) -> None:
        """A terminal that was closed takes nothing more, which SIGHUP tells."""
        with contextlib.suppress(OSError):
            sys.stdout.write(text)
            sys.stdout.flush()


def describe(world: World, *, plugged: bool = True) -> str:
    """What the box does and what its receiver hears, in one line."""
    box = world.box
    centre = box.listening
    parts = [f"oscillator {box.oscillator / 1e6:.3f} kHz"]
    if not plugged:
        parts.append("unplugged")
    if box.muted:
        parts.append("muted")
    # What may be long comes last, where a narrow terminal cuts it off.
    if centre is None:
        parts.append("output off")
    else:
        parts.append(f"receives {format_frequency(round(centre))}")
        heard = max(world.in_tune(), key=lambda one: one.level, default=None)
        parts.append(f"{heard.level:.0f} dBm {heard.station.name}" if heard else "noise")
    return ", ".join(parts)
