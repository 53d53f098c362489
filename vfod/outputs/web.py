"""HTTP: the metrics, the daemon's health, and the table of requests at one address.

It listens on loopback unless told otherwise, and answers only to the names it is known by, so that
a page from elsewhere cannot reach it through a browser in this house. The server runs on the
daemon's own loop with a socket bound here: left to itself it would end the whole process when its
port is taken, and take the process's signals.
"""

import asyncio
import errno
import itertools
import socket
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

import uvicorn
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from vfod.clock import Clock
from vfod.errors import DoorError
from vfod.events import Door, Origin
from vfod.outputs import rpc
from vfod.outputs.door import Count, Opened, keep_open
from vfod.state import Submit, Tell

NAME = "web"

#: Names of this machine for itself, as a Host header gives them.
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")

#: Connections at the same time; one more gets 503.
_CONNECTIONS = 200

#: Seconds for answers under way when the server stops.
_GRACE = 3

#: Renders the metrics for an Accept header: body and content type.
Render = Callable[[str], tuple[bytes, str]]

#: Seconds since each part of the daemon last showed life.
Beats = Callable[[], Mapping[str, float]]


@dataclass(frozen=True, kw_only=True, slots=True)
class WebSettings:
    """Where to listen and as whom to answer."""

    host: str = "127.0.0.1"
    #: 0 takes any free port.
    port: int = 0
    #: Names, beside those of loopback and `host` itself, that a Host header may give.
    names: tuple[str, ...] = ()
    #: Seconds without a sign of life after which a part counts as stuck.
    stale_after: float = 30.0


class Web:
    """The door itself; `address` is its URL while it is open."""

    def __init__(
        self,
        settings: WebSettings,
        *,
        submit: Submit,
        render: Render,
        beats: Beats,
        tell: Tell,
        count: Count,
        clock: Clock,
    ) -> None:
        self.address: str | None = None
        self._settings = settings
        self._submit = submit
        self._render = render
        self._beats = beats
        self._tell = tell
        self._count = count
        self._clock = clock
        self._numbers = itertools.count(1)
        routes = [
            Route("/metrics", self._metrics),
            Route("/healthz", self._health),
            Route("/rpc", self._rpc, methods=["POST"]),
        ]
        host = f"[{settings.host}]" if ":" in settings.host else settings.host
        self._app = _KnownNames(Starlette(routes=routes), {*LOOPBACK_NAMES, host, *settings.names})

    async def run(self) -> None:
        """Serve until cancelled."""
        await keep_open(NAME, self._serve, tell=self._tell, clock=self._clock)

    async def _serve(self, opened: Opened) -> None:
        sock = _bind(self._settings.host, self._settings.port)
        server = _Server(
            uvicorn.Config(
                self._app,
                loop="none",
                http="h11",
                ws="none",
                lifespan="off",
                log_config=None,
                log_level="warning",
                access_log=False,
                proxy_headers=False,
                server_header=False,
                limit_concurrency=_CONNECTIONS,
                timeout_graceful_shutdown=_GRACE,
            )
        )
        serving = asyncio.create_task(server.serve(sockets=[sock]), name="web server")
        try:
            self.address = _address(sock)
            opened(self.address)
            await asyncio.shield(serving)
        finally:
            self.address = None
            server.should_exit = True
            await asyncio.gather(serving, return_exceptions=True)
            sock.close()

    async def _metrics(self, request: Request) -> Response:
        body, content_type = self._render(request.headers.get("accept", ""))
        return Response(body, headers={"content-type": content_type})

    async def _health(self, request: Request) -> Response:
        beats = {name: round(since, 1) for name, since in self._beats().items()}
        stuck = [name for name, since in beats.items() if since > self._settings.stale_after]
        return JSONResponse(
            {"healthy": not stuck, "stuck": stuck, "seconds_since": beats},
            503 if stuck else 200,
            headers={"cache-control": "no-store"},
        )

    async def _rpc(self, request: Request) -> Response:
        # A browser sends this type to another origin only after asking, and gets no permission.
        if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return PlainTextResponse("send content-type: application/json\n", 415)
        try:
            body = await _read(request.stream())
        except ClientDisconnect:
            return Response(status_code=400)
        if body is None:
            return PlainTextResponse(f"at most {rpc.LINE_LIMIT} bytes are read\n", 413)
        who = request.client.host if request.client else ""
        exchange = rpc.Exchange(
            submit=self._submit,
            origin=Origin(door=Door.PAGE, who=who),
            label=f"{Door.PAGE}-{next(self._numbers)}",
            count=self._count,
        )
        answer = await exchange.answer(body)
        if answer is None:
            return Response(status_code=204)
        return Response(
            answer, media_type="application/json", headers={"cache-control": "no-store"}
        )


class _Server(uvicorn.Server):
    """A server that leaves the process's signals to the daemon."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


class _KnownNames:
    """Lets through what is addressed to one of our names, and comes from a page of ours or none."""

    def __init__(self, app: ASGIApp, names: set[str]) -> None:
        self._app = app
        self._names = {name.lower() for name in names}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = dict(scope["headers"])
        host = headers.get(b"host", b"").decode("latin-1").lower()
        origin = headers.get(b"origin", b"").decode("latin-1").lower()
        refusal = None
        if _name(host) not in self._names:
            refusal = PlainTextResponse(
                "this server is not known by that name; add it to its names\n", 421
            )
        elif origin and origin.partition("://")[2] != host:
            refusal = PlainTextResponse("pages from elsewhere may not ask here\n", 403)
        await (refusal or self._app)(scope, receive, send)


def _name(authority: str) -> str:
    """The host of `host:port`, an IPv6 address with its brackets."""
    host, _, port = authority.rpartition(":")
    return host if host and port.isdigit() else authority


async def _read(stream: AsyncIterator[bytes]) -> bytes | None:
    """The body, or None when it is longer than is read."""
    body = b""
    async for part in stream:
        body += part
        if len(body) > rpc.LINE_LIMIT:
            return None
    return body


def _bind(host: str, port: int) -> socket.socket:
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


def _address(sock: socket.socket) -> str:
    host, port = sock.getsockname()[:2]
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"
