"""How late visits begin, and whether their deadlines wander.

Lateness: a whole daemon sweeps in this process with visits of 50 ms and a journal on the disk. A
bare loop of `call_at` with the same period takes turns with it.
Drift: 10,000 visits on the loop whose clock jumps, against the first one and the length of a visit.
"""

import asyncio
import statistics
from pathlib import Path

from tests.bench.figures import Bench, Figure, Promise, milliseconds, p99, ratio_of_pairs
from tests.bench.processes import SCENARIO, configuration
from tests.run.shack import shack, sweep
from vfod import events as e
from vfod import requests as r
from vfod.app.daemon import Daemon
from vfod.app.recall import Memory
from vfod.clock import SystemClock
from vfod.config.loading import load
from vfod.outputs.journal import LEAST_REST, REST
from vfod.sim.jump import JumpLoop
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import parse
from vfod.sim.world import build
from vfod.state import Feed
from vfod.store import Keeping, Threaded

#: Twenty visits a second: twice the rate that footprint.py asks of the daemon.
_ROUNDS, _VISITS = 5, 100
_SETTLE, _DWELL = 0.01, 0.04
#: A line that takes no time worth mentioning of such a short visit.
_BAUD = 4_000_000

#: From one look for upkeep to the next while there is none, seconds.
_IDLE = 1.0

_UNDISTURBED = 10_000
_PATIENCE = 60.0

LATENESS = Promise(
    what="lateness of visits p99, to bare call_at",
    most=2.0,
    means="a visit of a whole daemon begins about as punctually as a timer of the loop can be",
)
WANDERING = Promise(
    what=f"drift over {_UNDISTURBED} visits",
    unit="ms",
    most=1.0,
    means="deadlines are absolute: what a visit is late does not add up (jumping clock)",
)

_SHELL = e.Origin(door=e.Door.SHELL, who="bench")


async def measure(folder: Path) -> list[Figure]:
    rounds = await lateness(folder / "lateness.sqlite", folder)
    # By rounds, so that a burst of other work on the machine spoils one of them only.
    ours = [p99(visits) for visits, _ in rounds]
    bare = [p99(ticks) for _, ticks in rounds]
    return [
        LATENESS.measured(
            ratio_of_pairs(ours, bare),
            f"{milliseconds(statistics.median(ours), statistics.median(bare))},"
            f" {_ROUNDS} rounds of {_VISITS} visits",
        )
    ]


def measure_drift() -> list[Figure]:
    with asyncio.Runner(loop_factory=JumpLoop) as runner:
        drift = runner.run(_drift())
    return [WANDERING.measured(drift * 1e3, "on the jumping clock")]


async def lateness(
    journal: Path, folder: Path, keeping: Keeping | None = None, *, times: int = _ROUNDS
) -> list[tuple[list[float], list[float]]]:
    """Seconds that visits and bare ticks were late, by rounds.

    With `keeping` the journal's upkeep is done beside them, as the daemon does it.
    """
    clock = SystemClock()
    config = load(
        str(
            configuration(
                folder,
                port="/dev/ttyUSB0",
                dwell=f"{_DWELL * 1e3:g}ms",
                settle=f"{_SETTLE * 1e3:g}ms",
                readings=1,
            )
        )
    )
    world = build(parse(SCENARIO.format(settle="1ms")), clock=clock, seed=1)
    store = Threaded(journal)
    store.open(clock.wall())
    daemon = Daemon(
        config,
        clock=clock,
        store=store,
        port_for=lambda _: MemoryPort(world.box, baud=_BAUD),
        memory=Memory(None),
        seed=1,
    )
    rounds = []
    with daemon.stream.following("bench", limit=10_000) as feed:
        living = asyncio.create_task(daemon.run())
        tending = asyncio.create_task(_tend(store, clock, keeping))
        try:
            async with asyncio.timeout(_PATIENCE):
                await _until_greeted(feed)
                for _ in range(times):
                    await _submit(daemon, r.StartSweep(sweep="fast"))
                    visits = await _visits(feed)
                    await _submit(daemon, r.StopSweep())
                    rounds.append((visits, await _ticks()))
        finally:
            tending.cancel()
            living.cancel()
            await asyncio.gather(living, tending, return_exceptions=True)
            world.box.close()
    return rounds


async def _tend(store: Threaded, clock: SystemClock, keeping: Keeping | None) -> None:
    while keeping is not None:
        began = clock.monotonic()
        more = await store.tend(clock.wall(), keeping)
        now = clock.monotonic()
        pause = max(REST * (now - began), LEAST_REST) if more else _IDLE
        await clock.sleep_until(now + pause)


async def _submit(daemon: Daemon, request: r.Request) -> None:
    await daemon.front.submit(r.Asked(request=request, origin=_SHELL, id="bench"))


async def _until_greeted(feed: Feed) -> None:
    async for _, state in feed:
        if state.vfos["main"].dial is not None:
            return


async def _visits(feed: Feed) -> list[float]:
    found: list[float] = []
    async for stamped, _ in feed:
        if isinstance(stamped.event, e.ChannelObserved):
            found.append(stamped.event.lateness)
            if len(found) == _VISITS:
                break
    return found


async def _ticks() -> list[float]:
    loop = asyncio.get_running_loop()
    done = asyncio.Event()
    found: list[float] = []

    def tick(due: float) -> None:
        found.append(loop.time() - due)
        if len(found) == _VISITS:
            done.set()
        else:
            loop.call_at(due + _SETTLE + _DWELL, tick, due + _SETTLE + _DWELL)

    first = loop.time() + _DWELL
    loop.call_at(first, tick, first)
    await done.wait()
    return found


async def _drift() -> float:
    """Greatest distance of a visit's tune from where the first one puts it, seconds."""
    walk = sweep(dwell=2.0, settle=0.3, readings=1)
    async with shack(sweeps=[walk]) as it:
        await it.ask(r.StartSweep(sweep=walk.name))
        await it.until(e.ChannelObserved, times=_UNDISTURBED, limit=_UNDISTURBED * 3.0)
        tuned = [s.time for s in it.seen if isinstance(s.event, e.DialTuned)]
    length = walk.settle + walk.dwell if walk.settle is not None else 0.0
    return max(abs(time - tuned[0] - k * length) for k, time in enumerate(tuned[:_UNDISTURBED]))


BENCH = Bench(
    name="lateness",
    promises=(LATENESS,),
    measure=lambda folder: asyncio.run(measure(folder)),
    takes="1 min",
)
DRIFT = Bench(
    name="drift",
    promises=(WANDERING,),
    measure=lambda _: measure_drift(),
    takes="30 s",
    again=False,
)
