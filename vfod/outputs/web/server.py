"""The HTTP server, on the daemon's own loop and at a socket bound here.

Left to itself it would end the whole process when its port is taken, take the process's signals,
and wake ten times a second to see whether it should end: most of what a daemon at rest costs.
"""

import asyncio
import errno
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from email.utils import formatdate

import uvicorn
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from vfod.clock import Clock
from vfod.errors import DoorError

#: Connections at the same time; one more gets 503.
_CONNECTIONS = 200

#: Seconds for answers under way when the server stops.
_GRACE = 3


@dataclass(frozen=True, kw_only=True, slots=True)
class Certificate:
    """Files with the certificate chain and its key, PEM."""

    chain: str
    key: str


async def serve(
    app: ASGIApp,
    *,
    host: str,
    port: int,
    clock: Clock,
    opened: Callable[[str], None],
    certificate: Certificate | None = None,
    proxies: tuple[str, ...] = (),
    closing: Callable[[], None] = lambda: None,
) -> None:
    """Serve until cancelled; `opened` is told the URL, `closing` lets endless answers end.

    From the addresses in `proxies`, and from no others, forwarded headers are believed. Raises
    DoorError where the address cannot be had.
    """
    sock = bind(host, port)
    server = _Server(
        uvicorn.Config(
            dated(app, clock),
            loop="none",
            http="h11",
            ws="none",
            lifespan="off",
            log_config=None,
            log_level="warning",
            access_log=False,
            proxy_headers=bool(proxies),
            forwarded_allow_ips=list(proxies),
            server_header=False,
            date_header=False,
            limit_concurrency=_CONNECTIONS,
            timeout_graceful_shutdown=_GRACE,
            ssl_certfile=certificate.chain if certificate else None,
            ssl_keyfile=certificate.key if certificate else None,
        )
    )
    serving = asyncio.create_task(server.serve(sockets=[sock]), name="web server")
    try:
        opened(_address(sock, "https" if certificate else "http"))
        await asyncio.shield(serving)
    finally:
        closing()
        server.end()
        await asyncio.gather(serving, return_exceptions=True)
        sock.close()


def dated(app: ASGIApp, clock: Clock) -> ASGIApp:
    """The application with a Date in each answer, as RFC 9110 (6.6.1) has it."""

    async def answer(scope: Scope, receive: Receive, send: Send) -> None:
        async def send_dated(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message)["date"] = formatdate(clock.wall(), usegmt=True)
            await send(message)

        await app(scope, receive, send_dated)

    return answer


class _Server(uvicorn.Server):
    """A server that leaves the process's signals to the daemon, and sleeps until it is ended."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self._ending = asyncio.Event()

    def end(self) -> None:
        """Answer what is under way, then end."""
        self.should_exit = True
        self._ending.set()

    async def main_loop(self) -> None:
        """The original's ticks date the answers and count them, which is done or not wanted."""
        await self._ending.wait()

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def bind(host: str, port: int) -> socket.socket:
    """A listening socket; DoorError says why there is none."""
    try:
        return socket.create_server(
            (host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET
        )
    except OSError as error:
        raise DoorError(
            f"HTTP cannot listen at {host} port {port}: {error.strerror}",
            remedy="end what listens there, or choose another address for HTTP",
            reason="busy" if error.errno == errno.EADDRINUSE else "address",
        ) from error


def _address(sock: socket.socket, scheme: str) -> str:
    host, port = sock.getsockname()[:2]
    return f"{scheme}://[{host}]:{port}/" if ":" in host else f"{scheme}://{host}:{port}/"
