"""A pseudo-terminal, and an ear for what a line tells."""

import asyncio
import contextlib
import fcntl
import os
import sys
import termios
import tty
from collections.abc import Callable

import pytest

from tests.device.tiny import TinyBox
from vfod.clock import SystemClock
from vfod.device.port import Line
from vfod.device.serial import SerialPort
from vfod.errors import (
    LineError,
)


def _waiting(fd: int) -> bytes:
    return fcntl.ioctl(fd, termios.FIONREAD, bytes(4))


class Pty:
    """A pseudo-terminal; the far end is `master`, and may have a box behind it."""

    def __init__(self, box: TinyBox | None = None) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        # Kept, so that the far end does not see a hang-up when the host is away.
        self.slave = slave
        self._watched = box is not None
        os.set_blocking(self.master, False)
        if box is not None:
            box.send = self.send
            loop = asyncio.get_running_loop()
            loop.add_reader(self.master, lambda: box.feed(os.read(self.master, 4096)))

    def send(self, data: bytes) -> None:
        # A box may have something to say when its plug has been pulled.
        if self.master >= 0:
            os.write(self.master, data)

    async def got(self, count: int) -> bytes:
        """So many bytes from the host, as they come: the kernel hands them on in its own time."""
        data = b""
        while len(data) < count:
            with contextlib.suppress(BlockingIOError):
                data += os.read(self.master, 4096)
            await moment(0.001)
        return data

    async def holds(self, count: int) -> None:
        """Wait until so many bytes lie at the host's end and nobody has read them."""
        await until(lambda: int.from_bytes(_waiting(self.slave), sys.byteorder) == count)

    def unplug(self) -> None:
        if self.master >= 0:
            if self._watched:
                asyncio.get_running_loop().remove_reader(self.master)
            os.close(self.master)
            os.close(self.slave)
            self.master = self.slave = -1


class Ear:
    """What a line told."""

    def __init__(self) -> None:
        self.data = b""
        self.losses: list[LineError] = []
        self._changed = asyncio.Event()

    def received(self, data: bytes) -> None:
        self.data += data
        self._changed.set()

    def lost(self, error: LineError) -> None:
        self.losses.append(error)
        self._changed.set()

    async def until(self, true: Callable[[], object]) -> None:
        while not true():
            self._changed.clear()
            await self._changed.wait()


async def opened(path: str, ear: Ear) -> Line:
    return await SerialPort(path).open(ear.received, ear.lost)


async def moment(seconds: float = 0.05) -> None:
    clock = SystemClock()
    await clock.sleep_until(clock.monotonic() + seconds)


async def until(true: Callable[[], object]) -> None:
    """Let the loop run until something is the case; the test's own limit ends it otherwise."""
    while not true():
        await moment(0.002)


async def failure(path: str, ear: Ear, kind: type[LineError]) -> LineError:
    with pytest.raises(kind) as caught:
        await opened(path, ear)
    return caught.value
