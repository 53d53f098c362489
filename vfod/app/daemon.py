"""The daemon: stream, VFOs, doors, in the order of the data; the same code by night and in tests.

What differs between the real daemon and a rehearsal is handed in: the clock, the ports and the
store. A door or a VFO that fails is rebuilt by itself; the daemon ends only when it is told to.
"""

import asyncio
import contextlib
import random
import sys
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import Any

from vfod import __released__, __version__
from vfod import events as e
from vfod import requests as r
from vfod.app import doors
from vfod.app.front import Front
from vfod.app.listening import RecorderFor
from vfod.app.lookback import stood
from vfod.app.notify import ServiceManager
from vfod.app.recall import Memory
from vfod.app.reload import Reloader, Reread
from vfod.app.tonight import Names, Tonight
from vfod.app.vfo import Vfo
from vfod.clock import Clock
from vfod.config.model import Config, VfoConfig
from vfod.device.port import Port
from vfod.errors import VfodError
from vfod.outputs import mqtt, web
from vfod.outputs.journal import Journal
from vfod.outputs.log import Log
from vfod.outputs.metrics import Metrics
from vfod.plan.windows import Window
from vfod.radio.bands import Band
from vfod.run.clockwatch import ClockWatch
from vfod.run.derive import activity, band_edges, levels
from vfod.run.notes import Stood
from vfod.run.stream import Stream
from vfod.state import Feed, State
from vfod.store import Keeping, ReadableStore

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
        journal: Path | None = None,
        port_for: Callable[[VfoConfig], Port],
        recorder_for: RecorderFor | None = None,
        memory: Memory,
        released: float = RELEASED,
        socket: Path | None = None,
        secrets: doors.Secrets = doors.NO_SECRETS,
        reread: Reread | None = None,
        manager: ServiceManager | None = None,
        seed: int | None = None,
    ) -> None:
        #: Makes ports this daemon's and no other's; AlreadyRunningError where one is taken.
        self.claim_ports: Callable[[Sequence[str]], None] = lambda _: None
        self._config = config
        self._clock = clock
        self._store = store
        self._names = Names(config, clock)
        self._tonight = None if journal is None else Tonight(config.path, journal, clock)
        rng = random.Random(seed)  # noqa: S311 - jitter of pauses, nothing secret
        self.stream = Stream(clock, list(config.vfos), derive=(self._band_edges, activity, levels))
        self._memory = memory
        self._watch = ClockWatch(
            clock, self._tell, released=released, newest=memory.newest, on_trust=self._recall
        )
        self._journal = Journal(store, self._tell, clock, _keeping(config))
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
                port_for,
                watch=self._watch,
                committed=self._journal.committed,
                battery_low_at=memory.battery_low_at(name),
                remember=self._remember,
                tally=self.metrics.tally(name),
                measured=memory.calibrated(name),
                heard=memory.own_signals(name),
                rng=rng,
                recorder_for=recorder_for,
            )
            for name, settings in config.vfos.items()
        }
        self._reloader = Reloader(
            config,
            reread,
            self._claim,
            self._take,
            self.stream.emit,
            clock=clock,
            manager=manager,
        )
        desks = {name: vfo.desk for name, vfo in self.vfos.items()}
        self.front = Front(self._snapshot, clock, desks, *self._by_vfo(), self._asked_to_reload)
        self._secrets = secrets
        self._hands = doors.Hands(
            submit=self.front.submit,
            follow=self._follow,
            snapshot=self._snapshot,
            tell=self._tell,
            count=self.metrics.count,
            clock=clock,
        )
        self.control = None if socket is None else doors.control(config, socket, self._hands)
        self._web = doors.Doorway[web.Web](web.NAME, self._new_web(), self._tell)
        self._mqtt = doors.Doorway[mqtt.Mqtt](mqtt.NAME, self._new_mqtt(), self._tell)

    def _new_web(self) -> web.Web | None:
        return doors.web(
            self._config,
            self._hands,
            self._secrets.web,
            render=self.metrics.render,
            beats=self.beats,
            beside=self._beside,
            tonight=self._tonight,
        )

    def _new_mqtt(self) -> mqtt.Mqtt | None:
        return doors.mqtt(self._config, self._hands, self._secrets.broker)

    @property
    def config(self) -> Config:
        """What is gone by, for the VFOs that are there."""
        return self._config

    @property
    def mqtt(self) -> mqtt.Mqtt | None:
        """The door to the broker, where there is one."""
        return self._mqtt.part

    # --- a new configuration --------------------------------------------------------------------

    def _claim(self, config: Config) -> None:
        self.claim_ports([vfo.port for vfo in config.vfos.values()])

    async def reload(self, by: e.Origin) -> None:
        """Read the file anew and go by it; what is wrong with it is told in the log."""
        with contextlib.suppress(VfodError):
            await self._reloader.reload(by)

    async def _asked_to_reload(self, asked: r.Asked) -> dict[str, Any]:
        sequence, answer = await self._reloader.reload(asked.origin, asked.id)
        await self._journal.committed(sequence)
        return answer

    async def _take(self, config: Config, secrets: doors.Secrets, cause: str | None) -> None:
        was, self._config = self._config, config
        self._journal.keeping = _keeping(config)
        knew, self._secrets = self._secrets, secrets
        for name, vfo in self.vfos.items():
            await vfo.take(config, config.vfos[name], cause)
        self.front.take(*self._by_vfo())
        self._names = Names(config, self._clock)
        if (config.web, secrets.web) != (was.web, knew.web):
            self._web.hang(self._new_web())
        if (config.mqtt, secrets.broker) != (was.mqtt, knew.broker) or (
            config.mqtt is not None and doors.offers(config) != doors.offers(was)
        ):
            self._mqtt.hang(self._new_mqtt())

    def _by_vfo(self) -> tuple[dict[str, Sequence[Window]], Sequence[Band], dict[str, str]]:
        """What the front answers from: windows by VFO, bands, the VFO of each sweep."""
        config = self._config
        return (
            {name: self.vfos[name].orders.windows for name in config.vfos},
            config.bands,
            {name: sweep.vfo for name, sweep in config.sweeps.items()},
        )

    # --- what the doors are handed --------------------------------------------------------------

    def _band_edges(self, state: State, stamped: e.Stamped) -> Sequence[e.Event]:
        return band_edges(self._config.bands)(state, stamped)

    def _tell(self, event: e.Event) -> None:
        self.stream.emit(event)

    def _beside(self, vfo: str) -> dict[str, Any]:
        """What a page shows of a VFO that is not in the state."""
        known = self.stream.state.vfos[vfo]
        names = {heard.dial: self._names.of(heard.dial) for heard in known.heard}
        return {
            "next_channel": self.vfos[vfo].keeper.running.ahead(known.sweep.channel),
            "names": {str(dial): name for dial, name in names.items() if name},
        }

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
                zone=self._config.place.zone.key,
            )
        )
        try:
            async with asyncio.TaskGroup() as group:
                for door in (self.metrics, self.control, self._web, self._mqtt):
                    if door is not None:
                        group.create_task(door.run(), name=type(door).__name__)
                try:
                    async with asyncio.TaskGroup() as vfos:
                        for vfo in self.vfos.values():
                            vfos.create_task(vfo.run(), name=f"vfo {vfo.name}")
                finally:
                    # Who asks it to stop cancels it, and a cancellation is no Exception.
                    defect = isinstance(sys.exception(), Exception)
                    reason = "a defect of vfod itself" if defect else "asked to stop"
                    self.stream.emit(e.DaemonStopped(reason=reason))
                    self.stream.close()
        finally:
            self.stream.close()
            await asyncio.gather(writing, logging_)
            await self._store.close()


def _keeping(config: Config) -> Keeping:
    return Keeping(zone=config.place.zone, keep=config.keep)
