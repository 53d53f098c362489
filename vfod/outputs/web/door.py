"""The HTTP door: its addresses, and what is answered there.

It listens on loopback unless told otherwise; `vfod.outputs.web.guard` says who may come in.
"""

import asyncio
import itertools
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass

from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

from vfod import requests
from vfod.clock import Clock
from vfod.errors import RefusedError
from vfod.events import Door, Origin
from vfod.outputs import rpc
from vfod.outputs.door import Count, Opened, Snapshot, Subscribe, keep_open
from vfod.outputs.web.guard import LOOPBACK_NAMES, NO_KEYS, Access, Guard, Keys, Pace
from vfod.outputs.web.live import PAGES, Beside, Live
from vfod.outputs.web.server import Certificate, serve
from vfod.outputs.web.site import PUBLIC, Site
from vfod.state import Submit, Tell

NAME = "web"

#: Requests of one caller: a page that loads asks for a dozen things, a hand that turns a wheel for
#: twenty changes a second, a scraper for one thing in seconds.
_BURST, _RATE = 150.0, 50.0

#: Changes of one caller: a key held down repeats thirty times a second for a moment.
_CHANGES, _CHANGE_RATE = 60.0, 15.0

#: Tries to log in of one caller: a person mistypes; who guesses needs for ever.
_TRIES, _TRY_RATE = 8.0, 0.1

#: Renders the metrics for an Accept header: body and content type.
Render = Callable[[str], tuple[bytes, str]]

#: Seconds since each part of the daemon last showed life.
Beats = Callable[[], Mapping[str, float]]


@dataclass(frozen=True, kw_only=True, slots=True)
class WebSettings:
    """Where to listen, as whom to answer, and to whom."""

    host: str = "127.0.0.1"
    #: 0 takes any free port.
    port: int = 0
    #: Names, beside those of loopback and `host` itself, that a Host header may give.
    names: tuple[str, ...] = ()
    keys: Keys = NO_KEYS
    certificate: Certificate | None = None
    #: Addresses whose forwarded headers are believed.
    proxies: tuple[str, ...] = ()
    #: Seconds without a sign of life after which a part counts as stuck.
    stale_after: float = 30.0


class Web:
    """The door itself; `address` is its URL while it is open."""

    def __init__(
        self,
        settings: WebSettings,
        *,
        submit: Submit,
        subscribe: Subscribe,
        snapshot: Snapshot,
        render: Render,
        beats: Beats,
        tell: Tell,
        count: Count,
        clock: Clock,
        beside: Beside = lambda _: {},
        tonight: Callable[[str], Awaitable[str]] | None = None,
    ) -> None:
        self.address: str | None = None
        self._settings = settings
        self._submit = submit
        self._snapshot = snapshot
        self._tonight = tonight
        self._render = render
        self._beats = beats
        self._tell = tell
        self._count = count
        self._clock = clock
        self._numbers = itertools.count(1)
        self._changes = Pace(clock, burst=_CHANGES, rate=_CHANGE_RATE)
        self._live = Live(subscribe=subscribe, snapshot=snapshot, beside=beside, clock=clock)
        site = Site(settings.keys, Pace(clock, burst=_TRIES, rate=_TRY_RATE))
        routes = [
            Route("/", site.page),
            Route("/assets/{name}", site.asset),
            Route("/login", site.login, methods=["GET", "POST"]),
            Route("/logout", site.logout, methods=["POST"]),
            Route("/events", self._events),
            Route("/tonight/{vfo}", self._night),
            Route("/metrics", self._metrics),
            Route("/healthz", self._health),
            Route("/rpc", self._rpc, methods=["POST"]),
        ]
        host = f"[{settings.host}]" if ":" in settings.host else settings.host
        self._app = Guard(
            Starlette(routes=routes),
            names={*LOOPBACK_NAMES, host, *settings.names},
            keys=settings.keys,
            pace=Pace(clock, burst=_BURST, rate=_RATE),
            public=PUBLIC,
        )

    async def run(self) -> None:
        """Serve until cancelled."""
        await keep_open(NAME, self._serve, tell=self._tell, clock=self._clock)

    async def _serve(self, opened: Opened) -> None:
        def listening(address: str) -> None:
            self.address = address
            opened(address)

        living = asyncio.create_task(self._live.run(), name="live")
        try:
            await serve(
                self._app,
                host=self._settings.host,
                port=self._settings.port,
                clock=self._clock,
                opened=listening,
                certificate=self._settings.certificate,
                proxies=self._settings.proxies,
                closing=self._live.end,
            )
        finally:
            self.address = None
            living.cancel()
            await asyncio.gather(living, return_exceptions=True)

    async def _events(self, request: Request) -> Response:
        if self._live.pages >= PAGES:
            return PlainTextResponse("too many pages are open\n", 503)
        last = request.headers.get("last-event-id", "")
        seen = int(last) if last.isascii() and last.isdigit() and len(last) < 19 else None
        return StreamingResponse(
            self._live.stream(seen),
            media_type="text/event-stream",
            headers={"cache-control": "no-store", "x-accel-buffering": "no"},
        )

    async def _night(self, request: Request) -> Response:
        vfo = request.path_params["vfo"]
        if self._tonight is None or vfo not in self._snapshot().vfos:
            return Response(status_code=404)
        return HTMLResponse(await self._tonight(vfo), headers={"cache-control": "no-store"})

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
        access = request.state.access
        exchange = rpc.Exchange(
            submit=self._submit,
            origin=Origin(door=Door.PAGE, who=who),
            label=f"{Door.PAGE}-{next(self._numbers)}",
            count=self._count,
            may=lambda request: self._may(request, who, access),
        )
        answer = await exchange.answer(body)
        if answer is None:
            return Response(status_code=204)
        return Response(
            answer, media_type="application/json", headers={"cache-control": "no-store"}
        )

    def _may(self, wanted: requests.Request, who: str, access: Access) -> None:
        """Raises RefusedError where this caller may not ask for that."""
        if not isinstance(wanted, requests.Change):
            return
        if access is not Access.CHANGE:
            raise RefusedError(
                "this token may only look", remedy="log in with the token that may change things"
            )
        if not self._changes.allows(who):
            raise RefusedError("too many changes at once", remedy="wait a second")


async def _read(stream: AsyncIterator[bytes]) -> bytes | None:
    """The body, or None when it is longer than is read."""
    body = b""
    async for part in stream:
        body += part
        if len(body) > rpc.LINE_LIMIT:
            return None
    return body
