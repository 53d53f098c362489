"""The stream of the state (server-sent events, WHATWG HTML section 9.2): what a page is sent."""

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from tests.outputs.house import GREETED, House, observed, tuned
from tests.outputs.web_parts import Daemon, serving, until
from vfod import events as e
from vfod.outputs.web.live import HEARTBEAT, PAGES, REMEMBERED, SHOWN, Live
from vfod.sim.jump import SimClock


async def rest(seconds: float = 0.0) -> None:
    """Let the loop go on for a while, on the clock that jumps."""
    clock = SimClock(0.0)
    await clock.sleep_until(clock.monotonic() + seconds)


@pytest.fixture
async def house() -> House:
    """A house on the loop whose clock jumps."""
    return House(SimClock(1_790_000_000.0))


@contextlib.asynccontextmanager
async def living(house: House) -> AsyncIterator[Live]:
    live = Live(
        subscribe=house.subscribe,
        snapshot=house.snapshot,
        beside=lambda vfo: {"next_channel": 6075000},
        clock=house.clock,
    )
    task = asyncio.create_task(live.run())
    await rest(0.001)
    try:
        yield live
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


class Page:
    """Reads a stream as a browser does."""

    def __init__(self, live: Live, seen: int | None = None) -> None:
        self._parts = live.stream(seen)
        self.last_id: int | None = None

    async def next(self) -> dict[str, Any]:
        """The next message, comments and the like left out."""
        async for part in self._parts:
            lines = dict(line.split(": ", 1) for line in part.decode().splitlines() if line)
            if "data" in lines:
                self.last_id = int(lines["id"])
                return dict(json.loads(lines["data"]))
        raise EOFError

    async def close(self) -> None:
        await self._parts.aclose()  # type: ignore[attr-defined] # it is a generator


async def test_a_page_begins_with_everything(house: House) -> None:
    """The whole state, what is beside it, the zone, and what happened lately."""
    async with living(house) as live:
        house.happen(GREETED, tuned(9_420_000))
        await rest(1)
        page = Page(live)
        said = await page.next()
        assert said["whole"]
        assert (9_420_000, 6_075_000) == (
            said["vfos"]["main"]["dial"],
            said["vfos"]["main"]["next_channel"],
        )
        assert "UTC" == said["zone"]
        assert ["link-greeted", "dial-tuned"] == [event["event"] for event in said["events"]]
        assert house.snapshot().sequence == page.last_id
        await page.close()


async def test_what_is_wrong_is_told_with_every_state(house: House) -> None:
    """Of the daemon beside the VFOs, of a VFO's sound in it; nothing where nothing is."""
    async with living(house) as live:
        page = Page(live)
        said = await page.next()
        assert ([], []) == (said["troubles"], said["vfos"]["main"]["troubles"])
        house.tell(e.ClockDoubted(known=0.0, reason="before-release"))
        said = await page.next()
        assert ["the clock cannot be believed"] == [t.partition(",")[0] for t in said["troubles"]]
        house.happen(e.AudioLost(source="parec rx", reason="lost", detail="parec ended"))
        said = await page.next()
        (trouble,) = said["vfos"]["main"]["troubles"]
        assert trouble.startswith("no sound from parec rx since ")
        await page.close()


async def test_a_change_comes_within_a_tenth_of_a_second(house: House) -> None:
    """At once when nothing was going on, and within a tenth while events rain."""
    async with living(house) as live:
        page = Page(live)
        await page.next()
        for number in range(20):
            before = house.clock.monotonic()
            house.happen(e.KnobTurned(number=number, dial=7_000_000 + number, oscillator=1))
            said = await page.next()
            assert 7_000_000 + number == said["vfos"]["main"]["dial"]
            assert house.clock.monotonic() - before <= 0.1
        await page.close()


async def test_a_sweep_is_rendered_once_for_all_and_not_too_often(house: House) -> None:
    """A hundred visits in a second are at most 26 messages; none of them lists a visit."""
    async with living(house) as live:
        pages = [Page(live), Page(live)]
        for page in pages:
            await page.next()
        got: list[dict[str, Any]] = []

        async def read(page: Page) -> None:
            while True:
                got.append(await page.next())

        tasks = [asyncio.create_task(read(page)) for page in pages]
        for number in range(100):
            house.happen(tuned(6_000_000 + number, e.Door.SWEEP), observed(6_000_000 + number))
            await rest(0.01)
        await rest(1)
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        assert 2 * 10 <= len(got) <= 2 * 26
        assert [] == [event for said in got for event in said["events"]]
        assert 6_000_099 == got[-1]["vfos"]["main"]["dial"]


async def test_a_page_that_reads_too_slowly_gets_the_whole(house: House) -> None:
    """It misses messages, but nothing that is worth telling."""
    async with living(house) as live:
        slow = Page(live)
        await slow.next()
        for step in range(1, 11):
            house.happen(e.StepChanged(step=step, by=e.Origin(door=e.Door.SHELL)))
            await rest(1)
        said = await slow.next()
        assert said["whole"]
        assert 10 == said["vfos"]["main"]["step"]
        assert 10 == len(said["events"])
        house.happen(e.StepChanged(step=99, by=e.Origin(door=e.Door.SHELL)))
        said = await slow.next()
        assert (False, 1) == (said["whole"], len(said["events"]))
        await slow.close()


async def test_who_comes_back_gets_what_was_missed(house: House) -> None:
    """Last-Event-ID: later events and no others; from before the start of the daemon, the last."""
    async with living(house) as live:
        first = Page(live)
        await first.next()
        house.happen(e.StepChanged(step=1, by=e.Origin(door=e.Door.SHELL)))
        await first.next()
        seen = first.last_id
        await first.close()
        for step in (2, 3):
            house.happen(e.StepChanged(step=step, by=e.Origin(door=e.Door.SHELL)))
        await rest(1)
        again = Page(live, seen)
        said = await again.next()
        assert ["step 0.002 kHz by shell", "step 0.003 kHz by shell"] == [
            x["text"] for x in said["events"]
        ]
        await again.close()
        stranger = Page(live, 10**12)
        assert 3 == len((await stranger.next())["events"])
        await stranger.close()


async def test_it_is_bounded(house: House) -> None:
    """After ten thousand events it remembers some, and shows a new page fewer."""
    async with living(house) as live:
        for number in range(10_000):
            house.happen(e.KnobTurned(number=number, dial=7_000_000, oscillator=1))
            if number % 100 == 0:
                await rest(0.1)
        await rest(1)
        page = Page(live)
        assert SHOWN == len((await page.next())["events"])
        await page.close()
        page = Page(live, 0)
        assert REMEMBERED == len((await page.next())["events"])
        await page.close()


async def test_a_silent_stream_says_that_it_lives(house: House) -> None:
    """A comment at least every fifteen seconds, which proxies and pages count on."""
    async with living(house) as live:
        parts = live.stream(None)
        await anext(parts)
        await anext(parts)
        before = house.clock.monotonic()
        assert b": still here\n\n" == await anext(parts)
        assert HEARTBEAT == pytest.approx(house.clock.monotonic() - before)
        await parts.aclose()  # type: ignore[attr-defined] # it is a generator
        assert 0 == live.pages


async def test_the_end_of_the_door_ends_the_stream(house: House) -> None:
    """A page is let go at once, so that the daemon can stop."""
    async with living(house) as live:
        page = Page(live)
        await page.next()
    with pytest.raises(EOFError):
        await page.next()


async def _read_until(reader: asyncio.StreamReader, wanted: bytes) -> bytes:
    got = b""
    while wanted not in got:
        part = await reader.read(65536)
        assert part
        got += part
    return got


async def _open_page(daemon: Daemon) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    reader, writer = await asyncio.open_connection("127.0.0.1", daemon.port)
    writer.write(b"GET /events HTTP/1.1\r\nhost: localhost\r\n\r\n")
    return reader, writer


@pytest.mark.real_time
@pytest.mark.no_leaks
async def test_over_http() -> None:
    """The right type, no caching; a markup in a device's name stays data."""
    async with serving() as daemon:
        reader, writer = await _open_page(daemon)
        head = await _read_until(reader, b'"whole":true')
        assert b"content-type: text/event-stream" in head
        assert b"cache-control: no-store" in head
        daemon.house.happen(tuned(9_420_000))
        assert b'"dial":9420000' in await _read_until(reader, b'"dial":9420000')
        writer.close()
        await writer.wait_closed()


@pytest.mark.real_time
@pytest.mark.no_leaks
async def test_pages_that_stop_reading_cost_nothing_and_hold_nobody() -> None:
    """Events go on being told to others, and the door closes although they are there."""
    async with serving() as daemon:
        deaf = [await _open_page(daemon) for _ in range(5)]
        reader, writer = await _open_page(daemon)
        await _read_until(reader, b'"whole":true')
        for number in range(300):
            daemon.house.happen(e.KnobTurned(number=number, dial=number + 1, oscillator=1))
            await rest(0.001)
        await _read_until(reader, b'"dial":300')
    for _, other in [*deaf, (reader, writer)]:
        other.close()
        with contextlib.suppress(OSError):
            await other.wait_closed()


@pytest.mark.real_time
@pytest.mark.no_leaks
async def test_too_many_pages_are_told_so() -> None:
    """One more than fit gets 503, and comes in when another goes."""
    async with serving() as daemon:
        pages = []
        for _ in range(PAGES):
            pages.append(await _open_page(daemon))
            await _read_until(pages[-1][0], b'"whole":true')
        assert 503 == (await daemon.get("/events"))[0]
        for _, writer in pages:
            writer.close()
            await writer.wait_closed()
        await until(lambda: daemon.web._live.pages == 0)
        reader, writer = await _open_page(daemon)
        await _read_until(reader, b'"whole":true')
        writer.close()
        await writer.wait_closed()


def test_the_page_is_light() -> None:
    """All that a browser loads is at most 150 kB, and names no other origin."""
    files = [file for file in Path("vfod/outputs/web/assets").iterdir() if file.is_file()]
    assert sum(file.stat().st_size for file in files) <= 150_000
    for file in files:
        text = file.read_text().replace("http://www.w3.org/2000/svg", "")
        assert "http:" not in text, file
        assert "https:" not in text, file
