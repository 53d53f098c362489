"""A VFO with everything that runs it, on a simulated box in memory, for the tests of this room.

All parts are the real ones; only the line is in memory and the loop's clock jumps.
"""

import asyncio
import contextlib
import random
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from dataclasses import dataclass, field

from vfod import events as e
from vfod import requests as r
from vfod.device.port import Port
from vfod.device.supervise import Supervisor
from vfod.plan.sweep import Sweep
from vfod.plan.windows import Window
from vfod.radio.bands import Band, bands_for
from vfod.radio.levels import Source
from vfod.radio.receiver import Detector, Range, Receiver
from vfod.run.clockwatch import ClockWatch
from vfod.run.derive import activity, band_edges
from vfod.run.desk import Desk
from vfod.run.given import Afterwards, LeftOff, Orders
from vfod.run.hearing import Ears, Sound
from vfod.run.keeper import Keeper
from vfod.run.stream import Stream
from vfod.run.tuner import Tuner
from vfod.sim.box import SimBox
from vfod.sim.faults import FaultyPort
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import Scenario, parse
from vfod.sim.world import World, build
from vfod.state import SweepPhase

#: 2026-11-25 12:00 UTC.
NOON = 1_795_608_000.0

BANDS = bands_for(1)

SHELL = e.Origin(door=e.Door.SHELL, who="listener")
MQTT = e.Origin(door=e.Door.MQTT, who="hub")

RECEIVER = Receiver(
    ranges=(
        Range(
            low=150_000,
            high=30_000_000,
            detector=Detector.ENVELOPE,
            intermediate_frequency=455_000,
        ),
    )
)

GO_BACK = Afterwards()

#: One strong station that is always on, over a quiet band.
SCENARIO = """
box: {output: true}
floor: {bands: [{from: 7100kHz, to: 7600kHz, hours: {0: -100}}]}
stations:
  - {name: Radio Brackwater, frequency: 7210kHz, power: -60}
"""


def sweep(**changes: object) -> Sweep:
    """Eleven channels, 7200 to 7250 kHz, at the house's dwell and settle, without hold."""
    given: dict[str, object] = {
        "name": "evening",
        "vfo": "main",
        "channels": tuple(range(7_200_000, 7_250_001, 5_000)),
        "dwell": 2.0,
        "settle": 0.3,
        "readings": 4,
        "hold": None,
    }
    return Sweep(**{**given, **changes})  # type: ignore[arg-type]  # the fields are checked there


@dataclass
class Shack:
    """What a test holds in hand: `seen` is everything that happened."""

    clock: SimClock
    world: World
    port: MemoryPort
    line: FaultyPort
    stream: Stream
    tuner: Tuner
    desk: Desk
    keeper: Keeper
    supervisor: Supervisor
    seen: list[e.Stamped] = field(default_factory=list)
    news: asyncio.Event = field(default_factory=asyncio.Event)
    #: What runs: the supervisor, the keeper, the look now and then.
    running: list[asyncio.Task[None]] = field(default_factory=list)

    async def wait(self, seconds: float) -> None:
        """Let so much time pass."""
        await self.clock.sleep_until(self.clock.monotonic() + seconds)

    async def ask(self, request: r.Request, origin: e.Origin = SHELL) -> dict[str, object]:
        """What a door does."""
        answer = await self.desk.submit(r.Asked(request=request, origin=origin, id="7"))
        await self.wait(0.001)
        return answer

    def of(self, *kinds: type[e.Event]) -> list[e.Event]:
        """The events of these kinds, in order."""
        return [s.event for s in self.seen if isinstance(s.event, kinds)]

    async def until(self, kind: type[e.Event], *, times: int = 1, limit: float = 3600.0) -> e.Event:
        """Wait for the next so many events of a kind; the last of them."""
        looked = len(self.seen)
        async with asyncio.timeout(limit):
            while True:
                while looked < len(self.seen):
                    event = self.seen[looked].event
                    looked += 1
                    times -= isinstance(event, kind)
                    if not times:
                        return event
                self.news.clear()
                await self.news.wait()

    def phase(self) -> SweepPhase:
        """What the sweep is doing."""
        return self.stream.state.vfos["main"].sweep.phase

    @property
    def dial(self) -> int | None:
        """Where the state says the dial is."""
        return self.stream.state.vfos["main"].dial


@contextlib.asynccontextmanager
async def shack(
    *,
    sweeps: Sequence[Sweep] = (),
    windows: Sequence[Window] = (),
    scenario: str = SCENARIO,
    wall: float = NOON,
    quiet: float = 600.0,
    bands: Sequence[Band] = BANDS,
    afterwards: Afterwards = GO_BACK,
    left_off: LeftOff | None = None,
    stopped_at: float | None = None,
    alive: float | None = None,
    receiver: Receiver = RECEIVER,
    source: Source = Source.BOX,
    sound: Sound | None = None,
    output_in_windows: bool = False,
    mute_in_sweeps: bool = True,
    output_on: bool | None = None,
    battery_low_at: float | None = None,
    connect: bool = True,
    seed: int = 3,
    hang: Callable[[SimBox], Awaitable[Port]] | None = None,
    released: float = NOON - 12 * 3600,
    newest: float | None = None,
) -> AsyncIterator[Shack]:
    """Everything running, the box greeted.

    `hang` puts the box on a real line, for a test on the ordinary loop.
    """
    clock = SimClock(wall)
    described: Scenario = parse(scenario)
    world = build(described, clock=clock, seed=1)
    port = MemoryPort(world.box)
    stream = Stream(clock, ["main"], derive=(band_edges(bands), activity))
    tuner = Tuner(
        "main", stream, clock, receiver, output_on=output_on, battery_low_at=battery_low_at
    )
    desk = Desk(tuner, clock, bands, quiet=quiet)
    line = FaultyPort(port if hang is None else await hang(world.box), seed=seed)
    supervisor = Supervisor(
        line, clock, random.Random(7), up=tuner.up, down=tuner.down, told=tuner.told
    )
    table = world.receiver.level_table()
    watch = ClockWatch(
        clock,
        stream.emit,
        released=released,
        newest=newest,
        on_trust=lambda _: keeper.remember(left_off=left_off, stopped_at=stopped_at, alive=alive),
    )
    keeper = Keeper(
        stream,
        clock,
        tuner,
        desk,
        watch,
        orders=Orders(
            sweeps={s.name: s for s in sweeps},
            windows=windows,
            bands=tuple(bands),
            ears=Ears(source, lambda _, counts: table.level(counts), receiver, sound),
            afterwards=afterwards,
            output_in_windows=output_in_windows,
            mute_in_sweeps=mute_in_sweeps,
        ),
    )
    it = Shack(clock, world, port, line, stream, tuner, desk, keeper, supervisor)
    feed = stream.subscribe("test")

    async def listen() -> None:
        async for stamped, _ in feed:
            it.seen.append(stamped)
            it.news.set()

    if not connect:
        port.unplug()
    listening = asyncio.create_task(listen())
    running = it.running = [
        asyncio.create_task(supervisor.run()),
        asyncio.create_task(keeper.run()),
        asyncio.create_task(tuner.look_now_and_then()),
    ]
    try:
        if connect:
            await it.until(e.LinkGreeted)
            await it.wait(0.1)
        yield it
        for task in running:
            if task.done() and not task.cancelled():
                task.result()
    finally:
        for task in running:
            task.cancel()
        await asyncio.gather(*running, return_exceptions=True)
        stream.close()
        await listening
        world.box.close()
