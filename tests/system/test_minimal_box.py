"""docs/protocol.md alone is enough: a box written from it, and the daemon sweeps against it."""

import asyncio
import sys
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.hours import morning
from vfod.app.daemon import Daemon
from vfod.app.recall import Memory
from vfod.clock import SystemClock
from vfod.config.loading import parse
from vfod.device.address import port_from
from vfod.store import Direct, Reader

BOX = Path(__file__).with_name("minimal_box.py")

CONFIG = """
place: {zone: ZONE, region: 1}
vfos:
  main:
    port: socket://127.0.0.1:1
    receiver: [{from: 150k, to: 30M, detector: envelope, intermediate_frequency: 455k}]
sweeps:
  short:
    channels: [7200k, 7205k, 7210k, 7215k]
    dwell: 100ms
    settle: 50ms
    readings: 2
    hold: off
windows:
  - {name: first, sweep: short, from: 00:00, until: 12:00}
  - {name: second, sweep: short, from: 12:00, until: 00:00}
web: off
"""


@pytest.fixture
async def box_port() -> AsyncIterator[int]:
    process = await asyncio.create_subprocess_exec(
        sys.executable, str(BOX), stdout=asyncio.subprocess.PIPE
    )
    assert process.stdout is not None
    yield int(await process.stdout.readline())
    process.kill()
    await process.wait()


def test_it_is_as_small_as_promised() -> None:
    """Under 120 lines, and nothing of the program itself in it."""
    text = BOX.read_text(encoding="utf-8")
    assert len(text.splitlines()) < 120
    assert "import vfod" not in text
    assert "from vfod" not in text


@pytest.mark.real_time
async def test_the_daemon_sweeps_against_it(box_port: int, tmp_path: Path) -> None:
    """Greeting, window, sweep: every channel is visited and the level read."""
    journal = tmp_path / "journal.sqlite"
    clock = SystemClock()
    store = Direct(journal)
    store.open(clock.wall())
    daemon = Daemon(
        parse(CONFIG.replace("ZONE", morning()), "minimal.yaml"),
        clock=clock,
        store=store,
        port_for=lambda _: port_from(f"socket://127.0.0.1:{box_port}"),
        memory=Memory(None),
    )
    living = asyncio.create_task(daemon.run())
    async with asyncio.timeout(120):
        with daemon.stream.following("test") as feed:
            async for _, state in feed:
                if state.vfos["main"].sweep.passes >= 2:
                    break
    living.cancel()
    await asyncio.gather(living, return_exceptions=True)
    with Reader(journal) as reader:
        observed = [one.observed for one in reader.observations()]
    assert [7_200_000, 7_205_000, 7_210_000, 7_215_000] == [one.dial for one in observed[:4]]
    assert {(2, 0.7)} == {(one.readings, one.level) for one in observed}
