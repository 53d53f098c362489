"""From the box's event until the figures on the page have changed, in a real Chromium; and what
five open pages cost the daemon, and one that has stopped reading.

The simulated box in this process and the page on the same machine tell the moments by the same
wall clock.
"""

import asyncio
import shutil
import socket
import statistics
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.bench.figures import Bench, Figure, Promise
from tests.bench.footprint import share
from tests.bench.processes import SCENARIO, Daemon, MissingError, Processes, configuration
from tests.bench.telling import WatchedBox
from tests.browser import chromium, open_page
from tests.real_parts import free_port
from vfod.clock import SystemClock
from vfod.sim.pty import PtyLine

_TURNS = 100
#: Seconds between two turns: a hand at ease, at moments that do not beat with anything.
_APART = 0.137
_PAGES = 5
_STREAM = b"GET /events HTTP/1.1\r\nhost: localhost\r\n\r\n"

DELAY = Promise(
    what="from the box's event to the page's figures, p95",
    unit="ms",
    most=100.0,
    means="the page feels like the knob, in a real browser",
)
COST = Promise(
    what=f"share of a core for {_PAGES} pages at ten visits a second",
    unit="%",
    most=5.0,
    means="a family may look on",
)

STALLED = Promise(
    what="share of a core for a page that stops reading",
    unit="%",
    most=1.0,
    means="nothing waits for it, and it costs no more than one that reads",
)

#: Keeps the moment at which each text of the figures was first there, in seconds since 1970.
_WATCH = """() => {
  const figures = document.getElementById("figures");
  window.seen = {};
  new MutationObserver(() => {
    const text = figures.textContent.replace(/\\u2009/g, "");
    window.seen[text] ??= (performance.timeOrigin + performance.now()) / 1000;
  }).observe(figures, { childList: true, characterData: true, subtree: true });
}"""


async def measure(folder: Path) -> list[Figure]:
    """Raises MissingError where there is no browser."""
    if shutil.which("chromium") is None:
        raise MissingError("chromium (Debian package chromium)")
    return [await _delay(folder), *await _cost(folder)]


async def _delay(folder: Path) -> Figure:
    web = free_port()
    with Processes(folder) as processes:
        box = WatchedBox(SCENARIO.format(settle="10ms"), time.time)
        line = PtyLine(box, link=folder / "vfo", baud=None)
        try:
            config = configuration(folder, port=line.open(), web=web)
            daemon = await asyncio.to_thread(processes.daemon, config, "web")
            async with chromium() as browser, open_page(browser, _address(web)) as watched:
                await watched.says("#connection", "live")
                await watched.page.evaluate(_WATCH)
                await _turn(box, daemon)
                seen: dict[str, float] = await watched.page.evaluate("window.seen")
        finally:
            line.close()
            box.close()
    told = {_dial(data): when for data, when in box.said if data.startswith(b"!")}
    delays = [seen[text] - when for text, when in told.items() if text in seen]
    if len(delays) < _TURNS * 0.9:
        raise RuntimeError(f"only {len(delays)} of {_TURNS} turns were seen on the page")
    return DELAY.measured(
        statistics.quantiles(delays, n=20, method="inclusive")[-1] * 1e3,
        f"median {statistics.median(delays) * 1e3:.1f} ms, {len(delays)} turns",
    )


async def _turn(box: WatchedBox, daemon: Daemon) -> None:
    clock = SystemClock()
    await asyncio.to_thread(daemon.ask, "tune", frequency=7_000_000)
    box.said.clear()
    begun = clock.monotonic()
    for number in range(1, _TURNS + 1):
        await clock.sleep_until(begun + number * _APART)
        box.turn(1)
    await clock.sleep_until(clock.monotonic() + 1)


def _dial(event: bytes) -> str:
    """The kilohertz that the page shows for an event of the knob."""
    word = next(word for word in event.split() if word.endswith(b".000"))
    hertz = int(float(word.rpartition(b"=")[2])) - 455_000
    return f"{hertz / 1000:.3f}".rstrip("0").rstrip(".")


async def _cost(folder: Path) -> list[Figure]:
    """What pages add to a sweep of ten visits a second, in percent of a core."""
    web = free_port()
    with Processes(folder) as processes:
        port = await asyncio.to_thread(processes.simulator)
        config = configuration(folder, port=port, web=web)
        daemon = await asyncio.to_thread(processes.daemon, config, "web")
        await asyncio.to_thread(daemon.ask, "sweep-start", sweep="fast")
        without = await asyncio.to_thread(share, daemon)
        pages = [asyncio.create_task(_read(web)) for _ in range(_PAGES)]
        with_pages = await asyncio.to_thread(share, daemon)
        for page in pages:
            page.cancel()
        read = await asyncio.gather(*pages)
        with _stalled(web):
            stalled = await asyncio.to_thread(share, daemon)
    return [
        COST.measured(
            (with_pages - without) * 100,
            f"{without * 100:.1f} % without them, {min(read) / 1e3:.0f} kB read by each",
        ),
        STALLED.measured((stalled - without) * 100, f"{stalled * 100:.1f} % with it"),
    ]


@contextmanager
def _stalled(port: int) -> Iterator[None]:
    """A page that asks for the stream and then reads nothing, with little room for what comes."""
    with socket.socket() as client:
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        client.connect(("127.0.0.1", port))
        client.sendall(_STREAM)
        yield


async def _read(port: int) -> int:
    """Read the stream as a page does, until cancelled; how many bytes came."""
    got = 0
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(_STREAM)
    try:
        while part := await reader.read(65536):
            got += len(part)
    except asyncio.CancelledError:
        writer.close()
    return got


def _address(port: int) -> str:
    return f"http://127.0.0.1:{port}/"


BENCH = Bench(
    name="page",
    promises=(DELAY, COST, STALLED),
    measure=lambda folder: asyncio.run(measure(folder)),
    takes="1 min",
)
