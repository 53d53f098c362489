"""What a browser is given: the page, its script and style, and the form for the token.

Everything is a file beside this one, made by hand and sent as it is: there is no build step, and
nothing comes from elsewhere.
"""

import hashlib
import html
from dataclasses import dataclass
from importlib import resources
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from vfod.outputs.web.guard import COOKIE, NO_KEYS, Access, Keys, Pace
from vfod.picture.svg import STYLE as PICTURE_STYLE

#: Paths for which no token is needed.
PUBLIC = ("/login", "/assets/", "/healthz")

#: Longest form that is read: a token and its name.
_FORM_LIMIT = 4096

#: Days a browser keeps the cookie: a wall display is not asked again every morning.
_DAYS = 180

#: What the page has no use for where nobody logs in.
_LOG_OUT = b'<form id="logout" method="post" action="/logout"><button>Log out</button></form>\n'

_TYPES = {
    "css": "text/css; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class _Asset:
    body: bytes
    kind: str
    tag: str


def _assets() -> dict[str, _Asset]:
    found = {}
    for file in resources.files("vfod.outputs.web").joinpath("assets").iterdir():
        ending = file.name.rpartition(".")[2]
        if ending in _TYPES:
            body = file.read_bytes()
            found[file.name] = _asset(body, _TYPES[ending])
    found["picture.css"] = _asset(PICTURE_STYLE.encode(), _TYPES["css"])
    return found


def _asset(body: bytes, kind: str) -> _Asset:
    return _Asset(body=body, kind=kind, tag=f'"{hashlib.sha256(body).hexdigest()[:16]}"')


class Site:
    """The page and the form; `pace` slows down who guesses tokens."""

    def __init__(self, keys: Keys, pace: Pace) -> None:
        self._keys = keys
        self._pace = pace
        self._assets = _assets()
        if keys == NO_KEYS:
            page = self._assets["page.html"]
            self._assets["page.html"] = _asset(page.body.replace(_LOG_OUT, b""), page.kind)

    async def page(self, request: Request) -> Response:
        """The live page."""
        return self._file(request, "page.html")

    async def asset(self, request: Request) -> Response:
        """A file of the page."""
        name = request.path_params["name"]
        if name not in self._assets or name.endswith(".html"):
            return Response(status_code=404)
        return self._file(request, name)

    def _file(self, request: Request, name: str) -> Response:
        asset = self._assets[name]
        # Asked for anew each time and mostly answered with 304: after an update nothing is stale.
        headers = {"content-type": asset.kind, "etag": asset.tag, "cache-control": "no-cache"}
        if request.headers.get("if-none-match") == asset.tag:
            return Response(status_code=304, headers=headers)
        return Response(asset.body, headers=headers)

    async def login(self, request: Request) -> Response:
        """The form for the token, and what it is sent to."""
        if request.method != "POST":
            return self._form("")
        who = request.client.host if request.client else ""
        if not self._pace.allows(who):
            return self._form("Too many tries. Wait a minute.", 429)
        body = b""
        async for part in request.stream():
            body += part
            if len(body) > _FORM_LIMIT:
                return self._form("That is no token.", 413)
        token = parse_qs(body.decode("latin-1")).get("token", [""])[0].strip()
        access = self._keys.access(token)
        if access is Access.NONE:
            return self._form("That is not the token.", 403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(
            COOKIE,
            self._keys.cookie(access),
            max_age=_DAYS * 86400,
            httponly=True,
            samesite="strict",
            secure=request.url.scheme == "https",
        )
        return answer

    async def logout(self, request: Request) -> Response:
        """Forget the cookie."""
        answer = RedirectResponse("/login", 303)
        answer.delete_cookie(COOKIE)
        return answer

    def _form(self, says: str, status: int = 200) -> Response:
        page = self._assets["login.html"].body.decode().replace("{says}", html.escape(says))
        return HTMLResponse(page, status, {"cache-control": "no-store"})
