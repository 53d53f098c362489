"""A serial server on the network: raw bytes over one TCP connection.

The end of the stream (FIN) and a reset (RST) both mean lost. A server that vanishes without a
word is found by the link's ping, because TCP alone would notice only after minutes.
"""

import asyncio
import socket

from vfod.device.port import WRITE_LIMIT, Line, Lost, Received
from vfod.device.timing import (
    CONNECT_LIMIT,
    KEEPALIVE_IDLE,
    KEEPALIVE_INTERVAL,
    KEEPALIVE_PROBES,
)
from vfod.errors import LineLostError, PortMissingError

_REMEDY = "check that the serial server runs and that its address is right"


class TcpPort:
    """`socket://host:port`."""

    def __init__(self, host: str, port: int) -> None:
        self._host = host
        self._port = port

    @property
    def name(self) -> str:
        """See Port."""
        host = f"[{self._host}]" if ":" in self._host else self._host
        return f"socket://{host}:{self._port}"

    async def open(self, received: Received, lost: Lost) -> Line:
        """See Port; PortMissingError when nothing accepts the connection."""
        loop = asyncio.get_running_loop()
        try:
            async with asyncio.timeout(CONNECT_LIMIT):
                _, line = await loop.create_connection(
                    lambda: _TcpLine(self.name, received, lost), self._host, self._port
                )
        except TimeoutError:
            why = f"no answer within {CONNECT_LIMIT:g} s"
            raise PortMissingError(f"{self.name}: {why}", remedy=_REMEDY) from None
        except socket.gaierror as error:
            why = f"the host is not known ({error.strerror})"
            raise PortMissingError(f"{self.name}: {why}", remedy="check its name") from None
        except OSError as error:
            why = f"cannot be reached ({error.strerror or error})"
            raise PortMissingError(f"{self.name}: {why}", remedy=_REMEDY) from None
        return line


class _TcpLine(asyncio.Protocol):
    def __init__(self, name: str, received: Received, lost: Lost) -> None:
        self._name = name
        self._received = received
        self._lost = lost
        self._transport: asyncio.Transport | None = None
        self._stuck = False

    def write(self, data: bytes) -> None:
        if self._transport is None or self._transport.is_closing():
            return
        self._transport.write(data)
        if self._transport.get_write_buffer_size() > WRITE_LIMIT:
            self._stuck = True
            self._transport.abort()

    def close(self) -> None:
        if self._transport is not None:
            self._transport.abort()
            self._transport = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        sock = transport.get_extra_info("socket")
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE, KEEPALIVE_IDLE)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPINTVL, KEEPALIVE_INTERVAL)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPCNT, KEEPALIVE_PROBES)

    def data_received(self, data: bytes) -> None:
        if self._transport is not None:
            self._received(data)

    def connection_lost(self, exc: Exception | None) -> None:
        if self._transport is None:
            return
        self._transport = None
        if self._stuck:
            error = LineLostError(f"{self._name} accepts no more bytes", reason="stuck")
        elif exc is None:
            error = LineLostError(f"{self._name} was closed by the serial server")
        else:
            error = LineLostError(f"{self._name} broke off ({exc})")
        self._lost(error)
