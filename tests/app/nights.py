"""A night from a configuration file to the journal, on the loop whose clock jumps.

Everything is the daemon's own; only the clock, the line and the thread of the store are not.
"""

import asyncio
import datetime as dt
from collections.abc import Callable
from pathlib import Path

from vfod.app.daemon import Daemon
from vfod.app.recall import Memory
from vfod.config.loading import load
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import load as load_scenario
from vfod.sim.world import World, build
from vfod.state import say
from vfod.store import Direct, Reader
from vfod.units import format_frequency

#: Wednesday afternoon, 2026-11-25 18:30 UTC, half an hour before the window in Berlin.
EVENING = dt.datetime(2026, 11, 25, 18, 30, tzinfo=dt.UTC).timestamp()


async def night(
    config_path: Path,
    journal: Path,
    *,
    hours: float,
    wall: float = EVENING,
    incidents: dict[float, Callable[[World, MemoryPort], None]] | None = None,
) -> Daemon:
    """Run the daemon for so many hours; `incidents` happen so many seconds after the start."""
    config = load(str(config_path))
    clock = SimClock(wall)
    world = build(load_scenario(), clock=clock, seed=11)
    port = MemoryPort(world.box)
    memory = Memory(journal)
    store = Direct(journal)
    store.open(clock.wall())
    daemon = Daemon(
        config,
        clock=clock,
        store=store,
        port_for=lambda _: port,
        memory=memory,
        seed=5,
    )
    living = asyncio.create_task(daemon.run())
    start = clock.monotonic()
    for after, incident in sorted((incidents or {}).items()):
        await clock.sleep_until(start + after)
        incident(world, port)
    await clock.sleep_until(start + hours * 3600)
    living.cancel()
    await asyncio.gather(living, return_exceptions=True)
    world.box.close()
    return daemon


def as_text(journal: Path) -> str:
    """The journal as lines: every event but those of paths, then every channel."""
    with Reader(journal) as reader:
        lines = [
            f"{dt.datetime.fromtimestamp(entry.time, dt.UTC):%d %H:%M:%S.%f}"[:-3]
            + f"  {say.event_text(entry.event, dt.UTC)}"
            for entry in reader.events()
            # Those two name paths of this machine.
            if entry.event is not None and entry.kind not in ("daemon-started", "door-opened")
        ]
        for one in reader.channels():
            lines.append(
                f"{format_frequency(one.dial)}  {one.band}  visits {one.visits}"
                f"  active {one.active_visits}  strongest {one.strongest} {one.unit}"
            )
    return "\n".join(lines) + "\n"
