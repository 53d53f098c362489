"""The line as it is in life, on pseudo-terminals and sockets of this machine, in real time.

The sweep is a quick one, so that an outage of a second falls into the middle of it.
"""

import asyncio
import contextlib
import os
import socket
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.device.terminals import moment
from tests.run.faults import Fault, Recorder, survive
from tests.run.shack import SCENARIO, Shack, shack, sweep
from vfod.device.port import Port
from vfod.device.serial import SerialPort
from vfod.device.tcp import TcpPort
from vfod.sim.box import SimBox
from vfod.sim.pty import PtyLine

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]

#: Long enough for two attempts to open the line again, and to see what they cost.
OUTAGE = 1.0
#: How soon all is well again is judged in test_faults.py, on the clock that jumps; here that is the
#: machine's affair, and this only ends the waiting.
IN_THE_END = 60

PLAN = sweep(dwell=0.12, settle=0.05, readings=2)
#: The detector is quick enough for that.
QUICK = SCENARIO + "receiver: {time_constant: 0.01s}\n"


@dataclass
class Cable:
    """A box on a pseudo-terminal behind a stable link, as udev makes one."""

    link: Path
    line: PtyLine | None = None
    devices: list[str] = field(default_factory=list)
    _taken: list[int] = field(default_factory=list)

    async def hang(self, box: SimBox) -> Port:
        """Put the box on."""
        self.line = PtyLine(box, link=self.link, baud=None)
        path = self.line.open()
        self.devices.append(self.line.device)
        return SerialPort(path)

    async def pull(self, _: Shack) -> None:
        """The device and the link are gone."""
        assert self.line is not None
        self.line.unplug()

    async def put(self, _: Shack) -> None:
        """A device again, to which the link points."""
        assert self.line is not None
        self.line.plug()
        self.devices.append(self.line.device)

    async def put_elsewhere(self, it: Shack) -> None:
        """Meanwhile the kernel has given the old name to another device."""
        for _ in range(8):
            self._taken += os.openpty()
            if os.ttyname(self._taken[-1]) == self.devices[0]:
                break
        await self.put(it)
        self.close_others()

    def close_others(self) -> None:
        for fd in self._taken:
            os.close(fd)
        self._taken.clear()

    def close(self) -> None:
        """Take everything away."""
        self.close_others()
        if self.line is not None:
            self.line.close()


class Server(asyncio.Protocol):
    """A TCP serial server for one host; it can end, break off, and vanish without a word."""

    def __init__(self) -> None:
        self._box: SimBox | None = None
        self._server: asyncio.Server | None = None
        self._hosts: list[asyncio.Transport] = []
        self._port = 0
        self._is_dead = False

    async def hang(self, box: SimBox) -> Port:
        """Put the box behind it and listen."""
        self._box = box
        await self._listen()
        return TcpPort("127.0.0.1", self._port)

    async def _listen(self) -> None:
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(lambda: self, "127.0.0.1", self._port)
        self._port = self._server.sockets[0].getsockname()[1]

    async def end(self, _: Shack | None = None) -> None:
        """Close the connection (FIN), and listen no more."""
        assert self._server is not None
        self._server.close()
        for host in self._hosts:
            host.close()

    async def break_off(self, it: Shack) -> None:
        """The same with RST."""
        for host in self._hosts:
            linger = struct.pack("ii", 1, 0)
            host.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
        await self.end(it)

    async def vanish(self, _: Shack) -> None:
        """Nothing comes through any more, and nobody says so."""
        self._is_dead = True

    async def come_back(self, _: Shack) -> None:
        """Everything works again, on a new connection; what it was sent meanwhile is lost."""
        self._is_dead = False
        if self._server is not None and not self._server.is_serving():
            await self._listen()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        assert self._box is not None
        self._hosts.append(transport)

        def send(data: bytes) -> None:
            if not self._is_dead:
                transport.write(data)

        self._box.connect(send)

    def data_received(self, data: bytes) -> None:
        if not self._is_dead and self._box is not None:
            self._box.feed(data)

    def connection_lost(self, exc: Exception | None) -> None:
        self._hosts = [host for host in self._hosts if not host.is_closing()]


@contextlib.asynccontextmanager
async def _shack(hang: Callable[[SimBox], Awaitable[Port]]) -> AsyncIterator[Shack]:
    async with shack(sweeps=[PLAN], scenario=QUICK, hang=hang) as it:
        yield it


async def test_back_under_the_same_name(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, record_property: Recorder
) -> None:
    """The device and its stable link go and come."""
    cable = Cable(tmp_path / "vfo")
    fault = Fault(name="unplugged, back under the same name (pty)", begin=cable.pull,
                  end=cable.put, lasts=OUTAGE, within=IN_THE_END, reason="lost")  # fmt: skip
    try:
        async with _shack(cable.hang) as it:
            await survive(it, PLAN, fault, caplog, record_property)
    finally:
        cable.close()
    assert 2 == len(cable.devices)


async def test_back_under_another_name(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, record_property: Recorder
) -> None:
    """The stable link points to another device than before."""
    cable = Cable(tmp_path / "vfo")
    fault = Fault(name="back under another name behind a stable link (pty)",
                  begin=cable.pull, end=cable.put_elsewhere, lasts=OUTAGE, within=IN_THE_END,
                  reason="lost")  # fmt: skip
    try:
        async with _shack(cable.hang) as it:
            await survive(it, PLAN, fault, caplog, record_property)
    finally:
        cable.close()
    assert 2 == len(set(cable.devices))


@pytest.mark.parametrize(
    ("how", "name", "reason"),
    [
        ("end", "TCP serial server ends with FIN", "lost"),
        ("break_off", "TCP serial server ends with RST", "lost"),
        ("vanish", "TCP serial server ends without a word", "silent"),
    ],
)
async def test_a_serial_server_that_ends(
    how: str, name: str, reason: str, caplog: pytest.LogCaptureFixture, record_property: Recorder
) -> None:
    """A new connection, as soon as there is one to be had."""
    server = Server()
    fault = Fault(name=name, begin=getattr(server, how), end=server.come_back, lasts=OUTAGE,
                  within=IN_THE_END, reason=reason)  # fmt: skip
    try:
        async with _shack(server.hang) as it:
            await survive(it, PLAN, fault, caplog, record_property)
    finally:
        await server.end()
        # Until the loop has closed the sockets.
        await moment(0.01)
