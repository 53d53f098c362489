"""Who may come in by HTTP, and attempts that must fail."""

import asyncio
import json
from urllib.parse import urlencode

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.outputs.web_parts import CALL, serving
from vfod.outputs.web import Keys
from vfod.outputs.web.guard import Access, Pace
from vfod.sim.jump import SimClock

TOKEN, LOOK = "a-long-random-word-that-may-change", "another-word-that-may-look"
KEYS = Keys(change=TOKEN, look=LOOK)
STATUS = b'{"jsonrpc":"2.0","id":1,"method":"status"}'

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


def bearer(token: str) -> dict[str, str]:
    """As RFC 6750 has it."""
    return {"authorization": f"Bearer {token}"}


@pytest.mark.parametrize("path", ["/metrics", "/events", "/nothing"])
async def test_no_token_no_answer(path: str) -> None:
    """401 with the scheme that is asked for (RFC 9110, 11.6.1); the page leads to the form."""
    async with serving(keys=KEYS) as daemon:
        status, headers, _ = await daemon.get(path)
        assert (401, "Bearer") == (status, headers["www-authenticate"])
        assert 401 == (await daemon.post(CALL))[0]
        status, headers, _ = await daemon.get("/")
        assert (303, "/login") == (status, headers["location"])
        assert [] == daemon.house.asked


@pytest.mark.parametrize(
    "headers",
    [
        bearer("wrong"),
        bearer(""),
        bearer(TOKEN[:-1]),
        bearer(TOKEN + "x"),
        {"authorization": f"Basic {TOKEN}"},
        {"authorization": TOKEN},
        {"cookie": f"vfod={TOKEN}"},
        {"cookie": "vfod="},
        {"cookie": 'vfod="\\777"; ;;=;'},
        {"x-token": TOKEN},
    ],
)
async def test_wrong_tokens(headers: dict[str, str]) -> None:
    """A part of it, more than it, in another place, or where a cookie should be: 401."""
    async with serving(keys=KEYS) as daemon:
        assert 401 == (await daemon.post(CALL, **headers))[0]
        assert [] == daemon.house.asked


@pytest.mark.parametrize("name", ["token", "access_token", "key"])
async def test_a_token_in_the_address_is_not_looked_at(name: str) -> None:
    """Addresses end up in logs and histories."""
    async with serving(keys=KEYS) as daemon:
        assert 401 == (await daemon.get(f"/metrics?{name}={TOKEN}"))[0]
        assert 401 == (await daemon.ask("POST", f"/rpc?{name}={TOKEN}", CALL))[0]


async def test_the_right_token_may_change_things() -> None:
    """In the header, as a script sends it."""
    async with serving(keys=KEYS) as daemon:
        assert 200 == (await daemon.post(CALL, **bearer(TOKEN)))[0]
        assert 200 == (await daemon.get("/metrics", **bearer(TOKEN)))[0]
        assert 1 == len(daemon.house.asked)


async def test_the_other_token_may_only_look() -> None:
    """A wall display sees everything and changes nothing, and is told why."""
    async with serving(keys=KEYS) as daemon:
        assert 200 == (await daemon.get("/metrics", **bearer(LOOK)))[0]
        _, _, body = await daemon.post(STATUS, **bearer(LOOK))
        assert "result" in json.loads(body)
        _, _, body = await daemon.post(CALL, **bearer(LOOK))
        assert "may only look" in json.loads(body)["error"]["message"]
        assert ["ShowStatus"] == [type(asked.request).__name__ for asked in daemon.house.asked]


async def test_logging_in() -> None:
    """The form sets a strict cookie that holds nothing of the token, and the cookie opens."""
    async with serving(keys=KEYS) as daemon:
        form = urlencode({"token": TOKEN}).encode()
        kind = "application/x-www-form-urlencoded"
        status, headers, _ = await daemon.ask("POST", "/login", form, content_type=kind)
        assert (303, "/") == (status, headers["location"])
        cookie = headers["set-cookie"]
        assert {"HttpOnly", "SameSite=strict", "Path=/"} <= set(cookie.split("; "))
        assert TOKEN not in cookie
        shown = cookie.partition(";")[0]
        assert 200 == (await daemon.post(CALL, cookie=shown))[0]
        assert 200 == (await daemon.get("/", cookie=shown))[0]
        status, headers, _ = await daemon.ask("POST", "/logout", b"", cookie=shown)
        assert (303, True) == (status, 'vfod=""' in headers["set-cookie"])


async def test_the_way_out_is_on_the_page() -> None:
    """A button that posts to the door's log-out, where there is somebody to log out."""
    way = b'<form id="logout" method="post" action="/logout">'
    async with serving(keys=KEYS) as daemon:
        status, _, body = await daemon.get("/", **bearer(TOKEN))
        assert (200, 1) == (status, body.count(way))
    async with serving() as daemon:
        status, _, body = await daemon.get("/")
        assert (200, 0) == (status, body.count(b"logout"))


async def test_guessing_is_slow() -> None:
    """After some tries the form says wait, and does not even take the right token then."""
    async with serving(keys=KEYS) as daemon:
        kind = "application/x-www-form-urlencoded"
        tries = [
            await daemon.ask("POST", "/login", b"token=guess", content_type=kind) for _ in range(9)
        ]
        assert [403] * 8 + [429] == [status for status, _, _ in tries]
        form = urlencode({"token": TOKEN}).encode()
        assert 429 == (await daemon.ask("POST", "/login", form, content_type=kind))[0]


async def test_a_form_that_is_too_long() -> None:
    """Nothing that long is a token."""
    async with serving(keys=KEYS) as daemon:
        kind = "application/x-www-form-urlencoded"
        form = b"token=" + b"x" * 5000
        assert 413 == (await daemon.ask("POST", "/login", form, content_type=kind))[0]


async def test_what_every_answer_says() -> None:
    """Nothing from elsewhere, no framing, no guessing of types: also on refusals."""
    async with serving() as daemon:
        for path in ("/", "/assets/page.js", "/nothing", "/metrics"):
            _, headers, _ = await daemon.get(path)
            policy = headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "frame-ancestors 'none'" in policy
            assert "unsafe" not in policy
            assert "nosniff" == headers["x-content-type-options"]
        _, headers, _ = await daemon.get("/", host="evil.example")
        assert "default-src 'none'" in headers["content-security-policy"]


@pytest.mark.parametrize(
    "path",
    [
        "/assets/../door.py",
        "/assets/%2e%2e/door.py",
        "/assets/..%2fdoor.py",
        "/assets/%00",
        "/assets/page.html",
        "/assets/",
        "//etc/passwd",
    ],
)
async def test_no_path_leads_outside(path: str) -> None:
    """Files are looked up among those that were read at the start."""
    async with serving() as daemon:
        assert 404 == (await daemon.get(path))[0]


async def test_a_line_break_in_a_header() -> None:
    """What comes in is refused by the parser; what goes out carries nothing a caller sent."""
    async with serving(keys=KEYS) as daemon:
        reader, writer = await asyncio.open_connection("127.0.0.1", daemon.port)
        writer.write(b"GET /healthz HTTP/1.1\r\nhost: localhost\r\nx: a\x00b\n\n c\r\n\r\n")
        assert b" 400 " in await reader.readline()
        writer.close()
        await writer.wait_closed()
        _, headers, body = await daemon.get("/login?a=%0d%0aset-cookie:%20vfod=x")
        assert "set-cookie" not in headers
        assert b"vfod=x" not in body


async def test_a_flood_is_turned_away() -> None:
    """Of a thousand requests at once only so many are let in as the door's pace allows.

    That is 150 and 50 a second for as long as it takes, of which 60 and 15 a second may change
    something; the others are refused with 429.
    """
    async with serving() as daemon:
        reader, writer = await asyncio.open_connection("127.0.0.1", daemon.port)
        request = (
            b"POST /rpc HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\n"
            b"content-length: %d\r\n\r\n%s" % (len(CALL), CALL)
        )
        began = asyncio.get_running_loop().time()
        writer.write(request * 1000)
        statuses: list[int] = []
        while len(statuses) < 1000:
            line = await reader.readline()
            if line.startswith(b"HTTP/1.1 "):
                statuses.append(int(line.split()[1]))
            elif not line:
                break
        writer.close()
        await writer.wait_closed()
        took = asyncio.get_running_loop().time() - began
        assert set(statuses) <= {200, 429}
        assert statuses.count(200) <= 150 + 50 * took
        assert len(daemon.house.asked) <= 60 + 15 * took


@given(moments=st.lists(st.floats(0, 10), min_size=1, max_size=200))
def test_pace(moments: list[float]) -> None:
    """In any stretch of time no more than the burst and the rate allow."""
    clock = _Set()
    pace = Pace(clock, burst=5, rate=2)
    allowed = []
    for moment in sorted(moments):
        clock.now = moment
        if pace.allows("one"):
            allowed.append(moment)
    for index, first in enumerate(allowed):
        for count, last in enumerate(allowed[index:], 1):
            assert count <= 5 + 2 * (last - first) + 1e-6


class _Set(SimClock):
    """A clock that is set by hand."""

    now = 0.0

    def __init__(self) -> None:
        pass

    def monotonic(self) -> float:
        return self.now


def test_callers_are_counted_one_by_one() -> None:
    """One who floods does not lock out another; and who was seen long ago is forgotten."""
    clock = _Set()
    pace = Pace(clock, burst=2, rate=1)
    assert [True, True, False] == [pace.allows("loud") for _ in range(3)]
    assert pace.allows("quiet")
    for number in range(1000):
        pace.allows(f"{number}")
    assert 256 == len(pace._left)


def test_keys_do_not_show_themselves() -> None:
    """A log that prints them prints no token."""
    assert TOKEN not in repr(KEYS)
    assert Access.CHANGE is Keys().of({})
