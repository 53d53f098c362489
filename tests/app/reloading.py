"""A daemon in mid-window whose configuration file can be changed and reloaded.

Everything is the daemon's own; only the clock and the lines are not.
"""

import asyncio
import contextlib
import datetime as dt
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from vfod import events as e
from vfod import requests as r
from vfod.app.daemon import Daemon
from vfod.app.doors import NO_SECRETS, Secrets
from vfod.app.listening import Recorder, Told
from vfod.app.recall import Memory
from vfod.clock import Clock
from vfod.config.loading import load
from vfod.config.model import VfoConfig
from vfod.radio.receiver import Detector
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import parse
from vfod.sim.sound import SimRecorder, SimSound
from vfod.sim.world import World, build
from vfod.state import VfoState, say
from vfod.store import Direct, Reader

#: A Wednesday, half an hour into the first window below.
EVENING = dt.datetime(2026, 11, 25, 18, 30, tzinfo=dt.UTC).timestamp()

SHELL = e.Origin(door=e.Door.SHELL, who="listener")

#: Seven channels over a quiet floor, one of them strong; a pass takes about ten seconds.
BASE = """
place: {zone: UTC, region: 1, latitude: 52.5, longitude: 13.4}
vfos:
  main:
    port: /dev/main
    baud: 115200
    dtr: on
    rts: on
    correction: 0ppm
    quiet: 10m
    output: leave
    speaker: mute-in-sweeps
    afterwards: return
    level_table: {0: -130dBm, 4095: -10dBm}
    receiver:
      - from: 150k
        to: 30M
        detector: envelope
        intermediate_frequency: 455k
        injection: high
        oscillator_per_mixer: 1
        select: 1
        settle: 300ms
  attic: {port: /dev/attic}
bands:
  corner: {from: 7200k, to: 7230k, raster: 5k}
sweeps:
  evening: {bands: [corner], dwell: 1s, readings: 4, hold: off}
  friends: {channels: [6070k, 7.21M], dwell: 1s, hold: off}
windows:
  - {name: first, sweep: evening, from: 18:00, until: 18:40}
control: {group: vfod}
web: off
"""

SCENARIO = """
box: {output: true}
floor: {bands: [{from: 5500kHz, to: 8000kHz, hours: {0: -100}}]}
stations:
  - {name: Radio Brackwater, frequency: 7210kHz, power: -60}
"""

#: By how much the simulated sound of a device is late, seconds.
LATE = {"default": 0.1, "plughw:0": 0.5}

Swap = tuple[str, str]

_Event = TypeVar("_Event", bound=e.Event)


def swapped(text: str, *swaps: Swap) -> str:
    """The text with each first piece replaced, which must be there once."""
    for old, new in swaps:
        assert 1 == text.count(old), old
        text = text.replace(old, new)
    return text


@dataclass
class Attended:
    """What a test holds in hand; `seen` is everything that happened, `opened` each port made."""

    config: Path
    journal: Path
    clock: SimClock
    daemon: Daemon
    worlds: dict[str, World]
    ports: dict[str, MemoryPort]
    opened: list[VfoConfig]
    secrets: Secrets = NO_SECRETS
    seen: list[e.Stamped] = field(default_factory=list)
    news: asyncio.Event = field(default_factory=asyncio.Event)
    mark: int = 0

    async def wait(self, seconds: float) -> None:
        """Let so much time pass."""
        await self.clock.sleep_until(self.clock.monotonic() + seconds)

    async def ask(self, request: r.Request, origin: e.Origin = SHELL) -> dict[str, Any]:
        """What a door does."""
        try:
            return await self.daemon.front.submit(r.Asked(request=request, origin=origin, id="7"))
        finally:
            await self.wait(0.001)

    async def reload(self, *swaps: Swap) -> dict[str, Any]:
        """Change the file and have it read; from here on `since` counts."""
        self.config.write_text(swapped(self.config.read_text(), *swaps))
        self.mark = len(self.seen)
        return await self.ask(r.Reload())

    def since(self, kind: type[_Event], vfo: str = "main") -> list[_Event]:
        """The events of a kind after the last reload."""
        after = self.seen[self.mark :]
        return [s.event for s in after if isinstance(s.event, kind) and s.vfo in (vfo, "")]

    async def until(
        self,
        kind: type[_Event],
        *,
        vfo: str = "main",
        limit: float = 120.0,
        that: Callable[[_Event], bool] = lambda _: True,
    ) -> _Event:
        """The next event of a kind from now on."""
        looked = len(self.seen)
        async with asyncio.timeout(limit):
            while True:
                for stamped in self.seen[looked:]:
                    looked += 1
                    event = stamped.event
                    if isinstance(event, kind) and stamped.vfo in (vfo, "") and that(event):
                        return event
                self.news.clear()
                await self.news.wait()

    async def visits(self, vfo: str = "main") -> list[e.ChannelObserved]:
        """The observations of the next whole pass."""
        await self.until(e.PassCompleted, vfo=vfo)
        start = len(self.seen)
        await self.until(e.PassCompleted, vfo=vfo)
        return [
            s.event
            for s in self.seen[start:]
            if s.vfo == vfo and isinstance(s.event, e.ChannelObserved)
        ]

    def vfo(self, name: str = "main") -> VfoState:
        """Its state."""
        return self.daemon.stream.state.vfos[name]

    def written(self) -> list[str]:
        """The journal, as text."""
        with Reader(self.journal) as reader:
            return [say.event_text(entry.event, dt.UTC) for entry in reader.events() if entry.event]


@contextlib.asynccontextmanager
async def attended(
    folder: Path,
    *swaps: Swap,
    text: str = BASE,
    wall: float = EVENING,
    memory: Memory | None = None,
    recorder_for: Callable[..., Recorder] | None = None,
    scenario: str = SCENARIO,
) -> AsyncIterator[Attended]:
    """The daemon running, its boxes greeted and the first visit made."""
    path = folder / "vfod.yaml"
    path.write_text(swapped(text, *swaps))
    config = load(str(path))
    clock = SimClock(wall)
    worlds = {
        name: build(parse(scenario), clock=clock, seed=number)
        for number, name in enumerate(config.vfos)
    }
    ports = {name: MemoryPort(world.box) for name, world in worlds.items()}
    opened: list[VfoConfig] = []

    def simulated(clock: Clock, settings: VfoConfig, told: Told) -> Recorder:
        assert settings.audio is not None
        sound = SimSound(
            worlds[settings.name].receiver,
            clock,
            detector=lambda _: Detector.ENVELOPE,
            delay=LATE[settings.audio.device],
            # Where the delay is written down, nobody finds out that the mute silences it.
            mute_silences=settings.audio.delay is None,
        )
        return SimRecorder(sound, told.up)

    def port_for(settings: VfoConfig) -> MemoryPort:
        opened.append(settings)
        return ports[settings.name]

    journal = folder / "journal.sqlite"
    store = Direct(journal)
    store.open(clock.wall())
    daemon = Daemon(
        config,
        clock=clock,
        store=store,
        port_for=port_for,
        memory=memory or Memory(None),
        recorder_for=partial(recorder_for or simulated, clock),
        seed=5,
        reread=lambda: (load(str(path)), it.secrets),
    )
    it = Attended(path, journal, clock, daemon, worlds, ports, opened)
    feed = daemon.stream.subscribe("test")

    async def listen() -> None:
        async for stamped, _ in feed:
            it.seen.append(stamped)
            it.news.set()

    listening = asyncio.create_task(listen())
    living = asyncio.create_task(daemon.run())
    try:
        await it.until(e.ChannelObserved)
        yield it
        assert not living.done()
    finally:
        living.cancel()
        await asyncio.gather(living, return_exceptions=True)
        await listening
        for world in worlds.values():
            world.box.close()
