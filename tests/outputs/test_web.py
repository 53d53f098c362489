"""HTTP: who is answered, what a health check sees, and attempts that must fail."""

import asyncio
import json
import logging
import socket
from collections.abc import Callable

import pytest

from tests.outputs.web_parts import CALL, Daemon, serving, until
from tests.real_parts import Prometheus, free_port
from vfod.events import Door, DoorFailed, DoorOpened, Origin

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


async def test_a_scraper_gets_the_format_it_asks_for() -> None:
    """No redirect; content types of the text format 0.0.4 and of OpenMetrics 1.0."""
    async with serving() as daemon:
        status, headers, body = await daemon.get("/metrics")
        assert (200, "text/plain; version=0.0.4; charset=utf-8") == (
            status,
            headers["content-type"],
        )
        assert b"vfod_build_info" in body
        wanted = "application/openmetrics-text; version=1.0.0; charset=utf-8"
        status, headers, body = await daemon.get("/metrics", accept=wanted)
        assert (200, wanted) == (status, headers["content-type"].partition("; escaping")[0])
        assert body.endswith(b"# EOF\n")
        odd = "application/openmetrics-text; version=neither"
        assert 200 == (await daemon.get("/metrics", accept=odd))[0]


async def test_health_follows_the_signs_of_life() -> None:
    """Fresh parts are 200; one that is stuck is 503 and named; a VFO that is away is neither."""
    async with serving(stale_after=30) as daemon:
        status, _, body = await daemon.get("/healthz")
        assert 200 == status
        assert {
            "healthy": True,
            "stuck": [],
            "seconds_since": {"keeper": 0.1, "journal": 0.2},
        } == json.loads(body)
        daemon.beats["journal"] = 31.0
        status, _, body = await daemon.get("/healthz")
        assert (503, ["journal"]) == (status, json.loads(body)["stuck"])


async def test_the_table_of_requests_at_one_address() -> None:
    """The same JSON-RPC as at the control socket, done as the page; a notification gets 204."""
    async with serving() as daemon:
        status, headers, body = await daemon.post(CALL)
        assert (200, "application/json") == (status, headers["content-type"])
        assert "tuned to 9420 kHz by page (127.0.0.1)" == json.loads(body)["result"]["text"]
        assert Origin(door=Door.PAGE, who="127.0.0.1") == daemon.house.asked[0].origin
        assert 204 == (await daemon.post(CALL.replace(b'"id":1,', b"")))[0]
        _, _, body = await daemon.post(b'{"jsonrpc":"2.0","id":1,"method":"watch"}')
        assert "cannot stream" in json.loads(body)["error"]["message"]
        _, _, page = await daemon.get("/metrics")
        assert b'vfod_requests_total{door="page",method="tune",result="ok"} 2.0' in page


@pytest.mark.parametrize(
    ("expected", "headers"),
    [
        (200, {"host": "localhost"}),
        (200, {"host": "LOCALHOST:9"}),
        (200, {"host": "[::1]:9"}),
        (200, {"host": "attic.example:80"}),
        (200, {"host": "localhost:9", "origin": "http://localhost:9"}),
        (421, {"host": "evil.example"}),
        (421, {"host": "localhost.evil.example"}),
        (421, {"host": ""}),
        (403, {"origin": "http://evil.example"}),
        (403, {"origin": "null"}),
        (403, {"host": "localhost:9", "origin": "http://localhost:8"}),
        (415, {"content_type": "text/plain"}),
        (415, {"content_type": "application/x-www-form-urlencoded"}),
    ],
)
async def test_who_is_answered(expected: int, headers: dict[str, str]) -> None:
    """Only our own names, and no page from elsewhere (RFC 9110 15.5.20: 421 for a wrong name)."""
    async with serving(names=("attic.example",)) as daemon:
        assert expected == (await daemon.post(CALL, **headers))[0]
        assert (expected == 200) == bool(daemon.house.asked)


async def test_bodies_that_are_none(caplog: pytest.LogCaptureFixture) -> None:
    """Too long, deep, not UTF-8, empty, broken off: an answer or none, and not one log line."""
    caplog.set_level(logging.INFO)
    async with serving() as daemon:
        assert 413 == (await daemon.post(b" " * 70_000))[0]
        for body in (b"[" * 60_000, b"\xff", b" "):
            assert -32700 == json.loads((await daemon.post(body))[2])["error"]["code"]
        _, writer = await asyncio.open_connection("127.0.0.1", daemon.port)
        writer.write(
            b"POST /rpc HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\n"
            b"content-length: 100\r\n\r\n{"
        )
        await writer.drain()
        writer.close()
        await writer.wait_closed()
        for path in ("/../etc/passwd", "/nothing", "/rpc"):
            assert (await daemon.get(path))[0] in (404, 405)
        assert 200 == (await daemon.get("/healthz"))[0]
    assert [] == caplog.records


async def test_a_taken_port_is_said_and_waited_for() -> None:
    """The daemon lives on, the door opens when the port is free."""
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        daemon = Daemon(port=port)
        task = asyncio.create_task(daemon.web.run())
        await until(lambda: bool(daemon.house.told))
    (told,) = daemon.house.told
    assert isinstance(told, DoorFailed)
    assert ("web", "busy") == (told.door, told.reason)
    assert f"at 127.0.0.1 port {port}: Address already in use" in told.detail
    await until(lambda: len(daemon.house.told) == 2)
    assert DoorOpened(door="web", where=f"http://127.0.0.1:{port}/") == daemon.house.told[1]
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


async def test_it_stops_although_a_client_stays() -> None:
    """A connection kept open does not keep the daemon."""
    async with serving() as daemon:
        reader, writer = await asyncio.open_connection("127.0.0.1", daemon.port)
        writer.write(b"GET /healthz HTTP/1.1\r\nhost: localhost\r\n\r\n")
        assert b"200" in await reader.readline()
    await reader.read()
    writer.close()
    await writer.wait_closed()


async def test_a_real_metrics_server_scrapes_it(
    prometheus: Callable[..., Prometheus],
) -> None:
    """The target is up and the values arrive."""
    async with serving(port=free_port()) as daemon:
        daemon.house.happen()
        server = await asyncio.get_running_loop().run_in_executor(
            None, prometheus, f"127.0.0.1:{daemon.port}"
        )

        def scraped() -> bool:
            found = server.query('vfod_build_info{version="0.1.0"}')
            return bool(found) and "1" == server.query("up")[0]["value"][1]

        while not await asyncio.get_running_loop().run_in_executor(None, scraped):
            pass
        await asyncio.get_running_loop().shutdown_default_executor()
