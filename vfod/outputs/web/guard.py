"""Who may come in, and how often.

On loopback whoever is on the machine may do everything. Elsewhere a token is needed: in the header
`Authorization: Bearer`, or typed into a form once, which sets a cookie. A second token may only
look, for wall displays and scrapers. A token in an address is never looked at: addresses end up in
logs and histories.

Whatever is not addressed to one of our names is refused, so that a page from elsewhere cannot
reach in through a browser of this house; and so is what a page from elsewhere asks.
"""

import enum
import hashlib
import hmac
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie

from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from vfod.clock import Clock

#: Names of this machine for itself, as a Host header gives them.
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")

COOKIE = "vfod"

#: Everything comes from here, nothing runs but the page's own script, nobody frames it.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

_HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
)

#: Addresses whose pace is remembered; the one unheard of for longest is forgotten first.
_CALLERS = 256


class Access(enum.IntEnum):
    """What a caller may do."""

    NONE = 0
    LOOK = 1
    CHANGE = 2


@dataclass(frozen=True, kw_only=True, slots=True)
class Keys:
    """The tokens; without any, everybody who reaches the door may do everything."""

    change: str | None = field(default=None, repr=False)
    look: str | None = field(default=None, repr=False)

    def access(self, token: str) -> Access:
        """What a token allows; compared without telling by the time how much of it was right."""
        if self._is(token, self.change):
            return Access.CHANGE
        return Access.LOOK if self._is(token, self.look) else Access.NONE

    @staticmethod
    def _is(token: str, wanted: str | None) -> bool:
        return wanted is not None and hmac.compare_digest(token.encode(), wanted.encode())

    def cookie(self, access: Access) -> str:
        """What the cookie of somebody logged in holds: nothing the token could be read from."""
        token = self.change if access is Access.CHANGE else self.look
        said = f"vfod session {access.name}".encode()
        return hmac.new((token or "").encode(), said, hashlib.sha256).hexdigest()

    def of(self, headers: Mapping[bytes, bytes]) -> Access:
        """What the caller with these headers may do."""
        if self.change is None and self.look is None:
            return Access.CHANGE
        scheme, _, token = headers.get(b"authorization", b"").decode("latin-1").partition(" ")
        if scheme.lower() == "bearer":
            return self.access(token.strip())
        shown = _cookie(headers.get(b"cookie", b"").decode("latin-1"))
        for access, token_ in ((Access.CHANGE, self.change), (Access.LOOK, self.look)):
            if token_ is not None and hmac.compare_digest(
                shown.encode(), self.cookie(access).encode()
            ):
                return access
        return Access.NONE


#: No tokens: whoever reaches the door may do everything.
NO_KEYS = Keys()


def _cookie(header: str) -> str:
    try:
        found = SimpleCookie(header).get(COOKIE)
    except CookieError:
        return ""
    return "" if found is None else found.value


class Pace:
    """How often each caller may: `burst` at once, and `rate` a second in the long run."""

    def __init__(self, clock: Clock, *, burst: float, rate: float) -> None:
        self._clock = clock
        self._burst = burst
        self._rate = rate
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def allows(self, who: str) -> bool:
        """Whether `who` may now; if so it is counted."""
        now = self._clock.monotonic()
        left, then = self._left.pop(who, (self._burst, now))
        left = min(self._burst, left + (now - then) * self._rate)
        allowed = left >= 1
        self._left[who] = (left - 1 if allowed else left, now)
        if len(self._left) > _CALLERS:
            self._left.popitem(last=False)
        return allowed


class Guard:
    """Lets through what may come in; `scope["state"]["access"]` then says what it may do.

    `public` are paths for which no token is needed: they give nothing away.
    """

    def __init__(
        self, app: ASGIApp, *, names: set[str], keys: Keys, pace: Pace, public: tuple[str, ...]
    ) -> None:
        self._app = app
        self._names = {name.lower() for name in names}
        self._keys = keys
        self._pace = pace
        self._public = public

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer in the application's place, or let it answer."""

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *_HEADERS]
            await send(message)

        headers = dict(scope["headers"])
        refusal = self._refusal(scope, headers)
        await (refusal or self._app)(scope, receive, guarded)

    def _refusal(self, scope: Scope, headers: Mapping[bytes, bytes]) -> Response | None:
        who = scope["client"][0] if scope["client"] else ""
        if not self._pace.allows(who):
            return PlainTextResponse("too many requests\n", 429, {"retry-after": "1"})
        host = headers.get(b"host", b"").decode("latin-1").lower()
        origin = headers.get(b"origin", b"").decode("latin-1").lower()
        if _name(host) not in self._names:
            return PlainTextResponse(
                "this server is not known by that name; add it to web: names:\n", 421
            )
        if origin and origin.partition("://")[2] != host:
            return PlainTextResponse("pages from elsewhere may not ask here\n", 403)
        access = self._keys.of(headers)
        scope.setdefault("state", {})["access"] = access
        path = scope["path"]
        if access is not Access.NONE or path.startswith(self._public):
            return None
        if path == "/":
            return RedirectResponse("/login", 303)
        return PlainTextResponse(
            "a token is needed: send it as `authorization: Bearer TOKEN`\n",
            401,
            {"www-authenticate": "Bearer"},
        )


def _name(authority: str) -> str:
    """The host of `host:port`, an IPv6 address with its brackets."""
    host, _, port = authority.rpartition(":")
    return host if host and port.isdigit() else authority
