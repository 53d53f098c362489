"""Ten nights in a row with one daemon: memory does not grow, and a quiet night is not talked about.

Everything is the daemon's own, the control socket too; only the clock jumps, and the line, the box
and the thread of the store are simulated. HTTP is left out, because its server wakes ten times a
second. Windows are short, so that ten days take less than a minute: what could grow with every
visit has some hundred a night to show it.
The set is switched off between the nights, as in a household.
"""

import asyncio
import gc
import logging
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.app.nights import EVENING
from vfod import events as e
from vfod.app.daemon import Daemon
from vfod.app.recall import Memory
from vfod.config.loading import parse
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import load as load_scenario
from vfod.sim.world import build
from vfod.store import Direct, Reader

CONFIG = """
place: {zone: Europe/Berlin, region: 1}
vfos:
  main:
    port: /dev/vfod/vfo0
    output: windows
    receiver: [{from: 150k, to: 30M, detector: envelope, intermediate_frequency: 455k}]
    level_table: {0: -130dBm, 4095: -10dBm}
sweeps:
  night: {bands: [49m, 41m], dwell: 15s, readings: 4, hold: {limit: 1m}}
windows:
  - {sweep: night, from: 22:00, until: 00:30}
web: off
"""

HOUR, DAY = 3600.0, 86400.0
NIGHTS = 10

#: From half past seven in the evening, when the daemon is started: half an hour before the window
#: opens and half an hour after it has closed.
SWITCHED_ON, AFTERWARDS = 2 * HOUR, 5.5 * HOUR

#: What the figures of two nights may differ by: a share of the blocks of memory, which half a block
#: left over by every visit would exceed; resident kilobytes, as an allocator asks for them.
BLOCKS = 0.005
KILOBYTES = 1024


@dataclass(frozen=True, kw_only=True, slots=True)
class Morning:
    """What is so when the night is over; `lines` since the set was switched on."""

    blocks: int
    kilobytes: int
    lines: int


def resident() -> int:
    """Kilobytes of this process in memory (proc(5))."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return int(next(line for line in lines if line.startswith("VmRSS")).split()[1])


@pytest.fixture
def lines() -> Iterator[list[str]]:
    """Every line that the program would log, before repeats are left out."""
    found: list[str] = []

    class Counting(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            found.append(record.getMessage())

    handler, root = Counting(logging.INFO), logging.getLogger()
    before = root.level
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    yield found
    root.removeHandler(handler)
    root.setLevel(before)


@pytest.mark.timeout(1200)
async def test_ten_nights(tmp_path: Path, lines: list[str]) -> None:
    """Night ten has the memory of night two; not a line by night, and at most ten a whole day."""
    clock = SimClock(EVENING)
    world = build(load_scenario(), clock=clock, seed=11)
    port = MemoryPort(world.box)
    store = Direct(tmp_path / "journal.sqlite")
    store.open(clock.wall())
    daemon = Daemon(
        parse(CONFIG, "ten-nights.yaml"),
        clock=clock,
        store=store,
        port_for=lambda _: port,
        memory=Memory(tmp_path / "journal.sqlite"),
        socket=tmp_path / "control.sock",
        seed=5,
    )
    living = asyncio.create_task(daemon.run())
    port.unplug()
    mornings, days = [], []
    for night in range(NIGHTS):
        begins, before = night * DAY, len(lines)
        await clock.sleep_until(begins + SWITCHED_ON)
        port.plug()
        await clock.sleep_until(begins + SWITCHED_ON + 60)
        greeted = len(lines)
        await clock.sleep_until(begins + AFTERWARDS)
        daemon.metrics.render("application/openmetrics-text")
        gc.collect()
        mornings.append(
            Morning(
                blocks=sys.getallocatedblocks(), kilobytes=resident(), lines=len(lines) - greeted
            )
        )
        port.unplug()
        world.box.charge()
        await clock.sleep_until(begins + DAY)
        days.append(lines[before:])
    assert not living.done()
    living.cancel()
    await asyncio.gather(living, return_exceptions=True)
    world.box.close()
    print(*mornings, *days, sep="\n")
    with Reader(tmp_path / "journal.sqlite") as reader:
        visits = Counter(int(one.time - EVENING) // int(DAY) for one in reader.observations())
        ends = [entry.event for entry in reader.events(kinds=("sweep-ended",))]
    assert NIGHTS * ["the window closed"] == [
        end.reason for end in ends if isinstance(end, e.SweepEnded)
    ]
    assert list(range(NIGHTS)) == sorted(visits)
    assert all(350 < number < 600 for number in visits.values()), visits
    assert NIGHTS * [0] == [morning.lines for morning in mornings]
    for day in days[1:]:
        up, down = day
        assert "link up" in up
        assert "link down" in down
    assert all(len(day) <= 10 for day in days), days
    second, last = mornings[1], mornings[-1]
    assert last.blocks - second.blocks <= BLOCKS * second.blocks, mornings
    assert last.kilobytes - second.kilobytes <= KILOBYTES, mornings
