"""The daemon: stream, VFOs, doors, in the order of the data; the same code by night and in tests.

What differs between the real daemon and a rehearsal is handed in: the clock, the ports and the
store. A door or a VFO that fails is rebuilt by itself; the daemon ends only when it is told to.
"""

import asyncio
import random
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import Any

from vfod import __released__, __version__
from vfod import events as e
from vfod.app import doors
from vfod.app.front import Front
from vfod.app.lookback import stood
from vfod.app.recall import Memory
from vfod.app.vfo import Vfo
from vfod.clock import Clock
from vfod.config.model import Config, VfoConfig
from vfod.device.port import Port
from vfod.outputs.journal import Journal
from vfod.outputs.log import Log
from vfod.outputs.metrics import Metrics
from vfod.outputs.web import NO_KEYS, Keys
from vfod.run.clockwatch import ClockWatch
from vfod.run.derive import activity, band_edges
from vfod.run.notes import Stood
from vfod.run.stream import Stream
from vfod.state import Feed, State
from vfod.store import ReadableStore

#: Pairs a door may be behind before it loses the oldest (a watching client, MQTT): some minutes of
#: a busy night.
DOOR_QUEUE = 1000

#: When this program was made, wall clock.
RELEASED = datetime.fromisoformat(f"{__released__}T00:00:00Z").timestamp()


class Daemon:
    """Everything, built; `run` lets it live."""

    def __init__(
        self,
        config: Config,
        *,
        clock: Clock,
        store: ReadableStore,
        port_for: Callable[[VfoConfig], Port],
        memory: Memory,
        released: float = RELEASED,
        socket: Path | None = None,
        broker: doors.BrokerSecrets = doors.NO_SECRETS,
        keys: Keys = NO_KEYS,
        seed: int | None = None,
    ) -> None:
        self._config = config
        self._clock = clock
        self._store = store
        rng = random.Random(seed)  # noqa: S311 - jitter of pauses, nothing secret
        self.stream = Stream(clock, list(config.vfos), derive=(band_edges(config.bands), activity))
        self._memory = memory
        self._watch = ClockWatch(
            clock, self._tell, released=released, newest=memory.newest, on_trust=self._recall
        )
        self._journal = Journal(store, self._tell, clock)
        self._journal_feed = self.stream.subscribe("journal")
        self._log_feed = self.stream.subscribe("log")
        self.metrics = Metrics(
            subscribe=self._follow("metrics"),
            snapshot=self._snapshot,
            tell=self._tell,
            clock=clock,
            version=__version__,
            journal=store,
            queues=self.stream.queues,
        )
        self.vfos = {
            name: Vfo(
                config,
                settings,
                self.stream,
                clock,
                port_for(settings),
                watch=self._watch,
                committed=self._journal.committed,
                battery_low_at=memory.battery_low_at(name),
                remember=self._remember,
                tally=self.metrics.tally(name),
                rng=rng,
            )
            for name, settings in config.vfos.items()
        }
        self.front = Front(
            self._snapshot,
            clock,
            {name: vfo.desk for name, vfo in self.vfos.items()},
            {name: vfo.windows for name, vfo in self.vfos.items()},
            config.bands,
            {name: sweep.vfo for name, sweep in config.sweeps.items()},
        )
        hands = doors.Hands(
            submit=self.front.submit,
            follow=self._follow,
            snapshot=self._snapshot,
            tell=self._tell,
            count=self.metrics.count,
            clock=clock,
        )
        self.control = None if socket is None else doors.control(config, socket, hands)
        self.web = doors.web(
            config, hands, keys, render=self.metrics.render, beats=self.beats, beside=self._beside
        )
        self.mqtt = doors.mqtt(config, hands, broker)

    # --- what the doors are handed --------------------------------------------------------------

    def _tell(self, event: e.Event) -> None:
        self.stream.emit(event)

    def _beside(self, vfo: str) -> dict[str, Any]:
        """What a page shows of a VFO that is not in the state."""
        channel = self.stream.state.vfos[vfo].sweep.channel
        return {"next_channel": self.vfos[vfo].keeper.ahead(channel)}

    def _recall(self, wall: float) -> None:
        for name, vfo in self.vfos.items():
            vfo.remember(self._memory.of(name, wall), wall)

    def _snapshot(self) -> State:
        return self.stream.state

    def _follow(self, name: str) -> Callable[[], AbstractContextManager[Feed]]:
        return lambda: self.stream.following(name, limit=DOOR_QUEUE)

    async def _remember(self, vfo: str, at: float) -> Stood:
        return await self._store.ask(lambda reader: stood(reader, vfo, at))

    def beats(self) -> dict[str, float]:
        """Seconds since each part that must not stand still last showed life."""
        now = self._clock.monotonic()
        beats = {"journal": now - self._journal.last_beat}
        for name, vfo in self.vfos.items():
            beats[f"keeper {name}"] = now - vfo.keeper.last_beat
            beats[f"link {name}"] = now - vfo.supervisor.last_beat
        return beats

    # --- life -----------------------------------------------------------------------------------

    async def run(self) -> None:
        """Live until cancelled; then end in good order: sweeps, VFOs, doors, journal."""
        writing = asyncio.create_task(self._journal.run(self._journal_feed), name="journal")
        logging_ = asyncio.create_task(Log().run(self._log_feed), name="log")
        self._watch.look()
        self.stream.emit(
            e.DaemonStarted(
                version=__version__,
                config_path=self._config.path,
                config_digest=self._config.digest,
            )
        )
        try:
            async with asyncio.TaskGroup() as group:
                for door in (self.metrics, self.control, self.web, self.mqtt):
                    if door is not None:
                        group.create_task(door.run(), name=type(door).__name__)
                try:
                    async with asyncio.TaskGroup() as vfos:
                        for vfo in self.vfos.values():
                            vfos.create_task(vfo.run(), name=f"vfo {vfo.name}")
                finally:
                    self.stream.emit(e.DaemonStopped(reason="asked to stop"))
                    self.stream.close()
        finally:
            self.stream.close()
            await asyncio.gather(writing, logging_)
            await self._store.close()
