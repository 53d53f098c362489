"""The box behind a serial server on the network: raw bytes, one client at a time."""

import asyncio
from typing import Self

from vfod.errors import UsageError
from vfod.sim.box import SimBox
from vfod.sim.pace import BAUD, Pace

#: Bytes that may wait for a client that does not read; a serial line would have lost them.
_WAITING = 4096


class TcpLine:
    """A listening socket with `box` behind it; `port` 0 takes a free one."""

    def __init__(
        self, box: SimBox, *, host: str = "127.0.0.1", port: int = 0, baud: int | None = BAUD
    ) -> None:
        self.box = box
        self.baud = baud
        self._host = host
        self._port = port
        self._server: asyncio.Server | None = None
        self.plugged = True
        self.client: _Client | None = None

    async def open(self) -> Self:
        """Listen. Raises UsageError when the address cannot be had."""
        loop = asyncio.get_running_loop()
        try:
            self._server = await loop.create_server(lambda: _Client(self), self._host, self._port)
        except OSError as error:
            raise UsageError(
                f"{self._host}:{self._port} cannot be listened at: {error.strerror or error}",
                remedy="name another address, or port 0 for a free one",
            ) from error
        self._port = self._server.sockets[0].getsockname()[1]
        return self

    @property
    def address(self) -> str:
        """What a host opens."""
        host = f"[{self._host}]" if ":" in self._host else self._host
        return f"socket://{host}:{self._port}"

    def close(self) -> None:
        """Drop the client and listen no more."""
        self.unplug()
        if self._server is not None:
            self._server.close()
            self._server = None

    def unplug(self) -> None:
        """Pull the box off the server, which ends the connection and refuses new ones."""
        self.plugged = False
        if self.client is not None:
            self.client.end()

    def plug(self) -> None:
        """Put the box back."""
        self.plugged = True


class _Client(asyncio.Protocol):
    def __init__(self, line: TcpLine) -> None:
        self._line = line
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        line = self._line
        if line.client is not None or not line.plugged:
            transport.abort()
            return
        line.client = self
        self._transport = transport
        self._down = Pace(line.box.feed, baud=line.baud)
        self._up = Pace(self._write, baud=line.baud)
        line.box.connect(self._up.send)

    def data_received(self, data: bytes) -> None:
        if self._transport is not None:
            self._down.send(data)

    def connection_lost(self, exc: Exception | None) -> None:
        self.end()

    def end(self) -> None:
        transport, self._transport = self._transport, None
        if transport is not None:
            transport.close()
            self._down.cut()
            self._up.cut()
            self._line.box.connect(None)
            self._line.client = None

    def _write(self, data: bytes) -> None:
        transport = self._transport
        if transport is not None and transport.get_write_buffer_size() < _WAITING:
            transport.write(data)
