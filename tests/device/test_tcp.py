"""The TCP port against real sockets on this machine, with real time."""

import asyncio
import contextlib
import socket
import struct
from collections.abc import AsyncIterator

import pytest

from tests.device.terminals import Ear, moment, until
from tests.device.tiny import TinyBox
from tests.real_parts import free_port
from vfod.clock import SystemClock
from vfod.device.link import Link
from vfod.device.tcp import TcpPort
from vfod.errors import LineError, NoReplyError, PortMissingError
from vfod.wire import messages as m

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


class Server(asyncio.Protocol):
    """A TCP serial server for one host, with a box behind it."""

    def __init__(self) -> None:
        self.box = TinyBox()
        self.host: asyncio.Transport | None = None
        self.connections = 0
        self.ended = 0

    def __call__(self) -> "Server":
        return self

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.host = transport
        self.box.send = transport.write
        self.connections += 1

    def connection_lost(self, exc: Exception | None) -> None:
        self.ended += 1

    def data_received(self, data: bytes) -> None:
        self.box.feed(data)

    async def start(self) -> int:
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(self, "127.0.0.1", 0)
        port: int = self._server.sockets[0].getsockname()[1]
        return port

    async def stop(self) -> None:
        self._server.close()
        if self.host is not None:
            self.host.abort()
        await self._server.wait_closed()
        await moment(0.01)


@pytest.fixture
async def server() -> AsyncIterator[tuple[Server, int]]:
    made = Server()
    port = await made.start()
    yield made, port
    await made.stop()


async def test_a_box_behind_a_server(server: tuple[Server, int]) -> None:
    """The same greeting and the same questions; the connection has no delay and is kept alive."""
    link = await Link.open(TcpPort("127.0.0.1", server[1]), SystemClock(), 1, lambda _: None)
    for kilohertz in range(5000, 5200):
        frequency = kilohertz * 1_000_000
        assert m.Tuned(frequency=frequency) == await link.ask(m.Tune(frequency=frequency))
    link.close()
    await moment(0.01)


async def test_options_of_the_socket(server: tuple[Server, int], ear: Ear) -> None:
    line = await TcpPort("127.0.0.1", server[1]).open(ear.received, ear.lost)
    sock = line._transport.get_extra_info("socket")  # type: ignore[attr-defined]  # inside
    assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
    assert sock.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)
    line.close()
    await moment(0.01)


@pytest.mark.parametrize("how", ["FIN", "RST"])
async def test_the_server_ends(server: tuple[Server, int], ear: Ear, how: str) -> None:
    """Both ends of a connection mean lost, once."""
    line = await TcpPort("127.0.0.1", server[1]).open(ear.received, ear.lost)
    await until(lambda: server[0].host)
    host = server[0].host
    assert host is not None
    if how == "RST":
        linger = struct.pack("ii", 1, 0)
        host.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
    host.close()
    await ear.until(lambda: ear.losses)
    line.write(b"late\n")
    await moment()
    assert ["lost"] == [error.reason for error in ear.losses]
    assert ("broke off" if how == "RST" else "closed by the serial server") in str(ear.losses[0])
    line.close()


async def test_a_server_that_vanishes_without_a_word(server: tuple[Server, int]) -> None:
    """No FIN, no RST, nothing comes any more: the ping finds it, after 2 s and three misses.

    How soon at the latest is in test_watching.py, where the clock jumps.
    """
    clock = SystemClock()
    link = await Link.open(TcpPort("127.0.0.1", server[1]), clock, 1, lambda _: None)
    server[0].box.deaf = True
    began = clock.monotonic()
    with pytest.raises(NoReplyError):
        await link.run()
    assert 2.0 < clock.monotonic() - began
    await moment(0.01)


async def test_nothing_listens(ear: Ear) -> None:
    with pytest.raises(PortMissingError, match=r"socket://127.0.0.1:\d+: cannot be reached"):
        await TcpPort("127.0.0.1", free_port()).open(ear.received, ear.lost)


async def test_an_unknown_host(ear: Ear) -> None:
    """`.invalid` never exists (RFC 2606)."""
    with pytest.raises(PortMissingError, match="not known"):
        await TcpPort("vfo.invalid", 4000).open(ear.received, ear.lost)


async def test_no_answer_at_all(ear: Ear, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full queue of a listener that accepts nobody is like a host that is switched off."""
    monkeypatch.setattr("vfod.device.tcp.CONNECT_LIMIT", 0.2)
    with contextlib.ExitStack() as stack:
        deaf = stack.enter_context(socket.create_server(("127.0.0.1", 0), backlog=0))
        for _ in range(3):
            filler = stack.enter_context(socket.socket())
            filler.setblocking(False)
            filler.connect_ex(deaf.getsockname())
        with pytest.raises(PortMissingError, match=r"no answer within 0\.2 s"):
            await TcpPort(*deaf.getsockname()).open(ear.received, ear.lost)


async def test_stuck(ear: Ear) -> None:
    """A server that reads nothing: when the kernel is full and 512 bytes wait, it is stuck."""
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        line = await TcpPort(*deaf.getsockname()).open(ear.received, ear.lost)
        written = 0
        while not ear.losses and written < 50_000_000:
            line.write(bytes(65536))
            written += 65536
            await moment(0.001)
        line.write(b"more")
    assert ["stuck"] == [error.reason for error in ear.losses]


async def test_lost_is_never_told_after_close(server: tuple[Server, int], ear: Ear) -> None:
    line = await TcpPort("127.0.0.1", server[1]).open(ear.received, ear.lost)
    await until(lambda: server[0].connections)
    line.close()
    line.close()
    line.write(b"nobody")
    await until(lambda: server[0].ended)
    assert [] == ear.losses
    assert 1 == server[0].ended


async def test_fifty_connections(server: tuple[Server, int]) -> None:
    """Open, greet, lost: nothing is left over (the marks of this file look for it)."""
    for _ in range(50):
        link = await Link.open(TcpPort("127.0.0.1", server[1]), SystemClock(), 1, lambda _: None)
        assert server[0].host is not None
        server[0].host.abort()
        with pytest.raises(LineError):
            await link.run()
        server[0].box = TinyBox()
    assert 50 == server[0].connections


def test_name() -> None:
    """The name is what a person writes, brackets around an IPv6 address included (RFC 3986)."""
    assert "socket://shack:4000" == TcpPort("shack", 4000).name
    assert "socket://[::1]:4000" == TcpPort("::1", 4000).name
