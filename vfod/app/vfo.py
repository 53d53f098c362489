"""One VFO's parts, built in the order of the data: supervisor, tuner, desk, keeper."""

import asyncio
import random
from collections.abc import Awaitable, Callable, Sequence

from vfod.app.recall import Recalled
from vfod.clock import Clock
from vfod.config.model import Afterwards as Wanted
from vfod.config.model import Config, OutputPolicy, SpeakerPolicy, VfoConfig
from vfod.device.port import Port
from vfod.device.supervise import Supervisor
from vfod.device.tally import Tally
from vfod.plan.windows import Window
from vfod.radio.levels import Level
from vfod.run.clockwatch import ClockWatch
from vfod.run.desk import Desk
from vfod.run.given import Afterwards
from vfod.run.keeper import Keeper
from vfod.run.notes import Notebook, Remember
from vfod.run.stream import Stream
from vfod.run.tuner import Tuner


class Vfo:
    """One VFO of the configuration, ready to run."""

    def __init__(
        self,
        config: Config,
        settings: VfoConfig,
        stream: Stream,
        clock: Clock,
        port: Port,
        *,
        watch: ClockWatch,
        committed: Callable[[int], Awaitable[None]],
        battery_low_at: float | None,
        remember: Remember,
        tally: Tally,
        rng: random.Random,
    ) -> None:
        self.name = settings.name
        self.windows = windows_of(config, settings.name)
        self.tuner = Tuner(
            settings.name,
            stream,
            clock,
            settings.receiver,
            output_on=True if settings.output is OutputPolicy.ON else None,
            battery_low_at=battery_low_at,
        )
        self.desk = Desk(self.tuner, clock, config.bands, quiet=settings.quiet, committed=committed)
        notebook = Notebook(self.tuner, stream, clock, config.bands, _levels(settings), remember)
        self.desk.take_note = notebook.take
        self.supervisor = Supervisor(
            port,
            clock,
            rng,
            told=self.tuner.told,
            up=self.tuner.up,
            down=self.tuner.down,
            tally=tally,
        )
        self.keeper = Keeper(
            stream,
            clock,
            self.tuner,
            self.desk,
            watch,
            sweeps={n: s for n, s in config.sweeps.items() if s.vfo == settings.name},
            windows=self.windows,
            bands=config.bands,
            levels=_levels(settings),
            afterwards=_afterwards(settings.afterwards),
            mute_in_sweeps=settings.speaker is SpeakerPolicy.MUTE_IN_SWEEPS,
            output_in_windows=settings.output is OutputPolicy.WINDOWS,
        )

    def remember(self, recalled: Recalled, wall: float) -> None:
        """Go on with what was before the daemon's start; `wall` is now."""
        self.keeper.remember(
            left_off=recalled.left_off, stopped_at=recalled.stopped_at, alive=recalled.alive
        )
        if self.desk.home is None:
            self.desk.home = recalled.home
        if recalled.quiet_until is not None and recalled.quiet_for is not None:
            self.desk.keep_quiet(recalled.quiet_for, recalled.quiet_until - wall)

    async def run(self) -> None:
        """Run until cancelled; the keeper ends first, while the box can still be reached."""
        async with asyncio.TaskGroup() as group:
            supervising = group.create_task(self.supervisor.run(), name=f"supervisor {self.name}")
            looking = group.create_task(self.tuner.look_now_and_then(), name=f"look {self.name}")
            try:
                # In this task itself: a cancellation reaches it before it reaches the others.
                await self.keeper.run()
            finally:
                looking.cancel()
                supervising.cancel()


def windows_of(config: Config, vfo: str) -> Sequence[Window]:
    """The windows whose sweep is for this VFO, in the order of the configuration."""
    return [w for w in config.windows if config.sweeps[w.sweep].vfo == vfo]


def _levels(settings: VfoConfig) -> Callable[[int, int], Level]:
    return lambda dial, counts: settings.level(counts, dial)


def _afterwards(wanted: Wanted | int) -> Afterwards:
    if isinstance(wanted, int):
        return Afterwards(park=wanted)
    return Afterwards(go_back=wanted is Wanted.RETURN)
