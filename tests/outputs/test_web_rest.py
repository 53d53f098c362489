"""The HTTP door at rest: it sleeps until somebody comes, and dates what it answers all the same."""

import asyncio
import re
from collections.abc import Callable
from email.utils import parsedate_to_datetime
from typing import Any

import pytest

from tests.outputs.web_parts import Daemon, serving
from vfod.sim.jump import SimClock

#: 2026-11-25 12:00 UTC, a Wednesday.
NOON = 1_795_608_000.0

#: RFC 9110, 5.6.7: IMF-fixdate.
FIXDATE = re.compile(
    r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun), \d\d (Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) "
    r"\d{4} \d\d:\d\d:\d\d GMT"
)


async def test_at_rest_it_sets_no_timer(monkeypatch: pytest.MonkeyPatch) -> None:
    """An hour without a caller: what wakes the loop in it is this test."""
    clock = SimClock(NOON)
    daemon = Daemon(clock)
    door = asyncio.create_task(daemon.web.run())
    await clock.sleep_until(1.0)
    assert daemon.web.address is not None
    loop = asyncio.get_running_loop()
    timers, set_timer = [], loop.call_at

    def counted(when: float, callback: Callable[..., object], *args: Any, **more: Any) -> Any:
        timers.append(when)
        return set_timer(when, callback, *args, **more)

    monkeypatch.setattr(loop, "call_at", counted)
    await clock.sleep_until(3600.0)
    monkeypatch.undo()
    door.cancel()
    await asyncio.gather(door, return_exceptions=True)
    assert [3600.0] == timers


@pytest.mark.real_time
async def test_every_answer_has_its_date() -> None:
    """RFC 9110, 6.6.1: a server with a clock dates each 2xx, 3xx and 4xx answer."""
    async with serving() as daemon:
        found = [
            await daemon.get("/healthz"),
            await daemon.get("/nowhere"),
            await daemon.get("/healthz", host="evil.example"),
            await daemon.ask("PUT", "/rpc", b"{}"),
        ]
        assert [200, 404, 421, 405] == [status for status, _, _ in found]
        now = daemon.house.clock.wall()
        for _, headers, _ in found:
            assert FIXDATE.fullmatch(headers["date"])
            # An answer a minute ago would be a machine that stood still.
            assert now - 60 < parsedate_to_datetime(headers["date"]).timestamp() <= now
