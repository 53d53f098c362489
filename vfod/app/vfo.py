"""One VFO's parts, built in the order of the data: supervisor, tuner, desk, keeper."""

import asyncio
import dataclasses
import random
from collections.abc import Awaitable, Callable, Sequence

from vfod import events as e
from vfod import requests as r
from vfod.app.corrected import Corrected
from vfod.app.hearing import Hearing
from vfod.app.listening import RecorderFor
from vfod.app.recall import Recalled
from vfod.clock import Clock
from vfod.config.model import Afterwards as Wanted
from vfod.config.model import Config, OutputPolicy, SpeakerPolicy, VfoConfig
from vfod.device.port import Port
from vfod.device.supervise import Supervisor
from vfod.device.tally import Tally
from vfod.errors import RefusedError
from vfod.plan.windows import Window
from vfod.radio.bands import Band, band_at
from vfod.run.clockwatch import ClockWatch
from vfod.run.desk import Desk
from vfod.run.given import Afterwards, Orders
from vfod.run.keeper import Keeper
from vfod.run.levelwatch import LevelWatch
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
        port_for: Callable[[VfoConfig], Port],
        *,
        watch: ClockWatch,
        committed: Callable[[int], Awaitable[bool]],
        battery_low_at: float | None,
        remember: Remember,
        tally: Tally,
        measured: e.CrystalCalibrated | None = None,
        heard: Sequence[e.OwnSignalsMeasured] = (),
        rng: random.Random,
        recorder_for: RecorderFor | None = None,
    ) -> None:
        self.name = settings.name
        self.settings = settings
        self._config = config
        self._heard = {(one.sweep, one.images): one for one in heard}
        self._stream = stream
        self._clock = clock
        self._port_for = port_for
        self._remember = remember
        self.corrected = Corrected(settings, stream, measured)
        self.tuner = Tuner(
            settings.name,
            stream,
            clock,
            self.corrected.receiver,
            output_on=_output_on(settings),
            battery_low_at=battery_low_at,
        )
        self.corrected.serve(self.tuner)
        self.desk = Desk(
            self.tuner,
            clock,
            config.bands,
            quiet=settings.quiet,
            committed=committed,
            zone=config.place.zone,
        )
        self.desk.take_calibration = self.corrected.calibrate
        self.desk.take_own_signals = self._take_own_signals
        self.desk.level_watch = LevelWatch(self.tuner, clock, self._tell)
        self.supervisor = Supervisor(
            port_for(settings),
            clock,
            rng,
            told=self.tuner.told,
            up=self.tuner.up,
            down=self.tuner.down,
            tally=tally,
        )
        self.hearing = Hearing(
            settings, recorder_for, self.tuner, clock, self._tell, self._hear_anew
        )
        self.corrected.later(self.hearing.late)
        self.orders = self._orders(config, settings)
        self.desk.take_note = self._notebook().take
        self.keeper = Keeper(
            stream,
            clock,
            self.tuner,
            self.desk,
            watch,
            orders=self.orders,
        )

    def remember(self, recalled: Recalled, wall: float) -> None:
        """Go on with what was before the daemon's start; `wall` is now."""
        self.keeper.remember(
            left_off=recalled.left_off, stopped_at=recalled.stopped_at, alive=recalled.alive
        )
        for past in recalled.floors:
            self.keeper.repertoire.recall(past.sweep, past.band, past.half_hour, past.floor)
        if self.desk.home is None:
            self.desk.home = recalled.home
        if recalled.quiet_until is not None and recalled.quiet_for is not None:
            self.desk.keep_quiet(recalled.quiet_for, recalled.quiet_until - wall)

    def _notebook(self) -> Notebook:
        orders = self.orders
        return Notebook(
            self.tuner, self._stream, self._clock, orders.bands, orders.ears, self._remember
        )

    async def take(self, config: Config, settings: VfoConfig, cause: str | None) -> None:
        """Go by a new configuration, as vfod.config.changes says; the line stays if it can."""
        was, self.settings, self._config = self.settings, settings, config
        levels_anew = self.hearing.take(settings, cause)
        self.orders = self._orders(config, settings)
        self.desk.take(config.bands, settings.quiet, config.place.zone)
        self.desk.take_note = self._notebook().take
        self.corrected.take(settings, self.hearing.late, cause)
        self._name_band(config.bands, cause)
        await self.keeper.take(self.orders, levels_anew=levels_anew, cause=cause)
        if settings.output is not was.output:
            await self.tuner.output.take(_output_on(settings))
        if _line(settings) != _line(was):
            # Last, because what is above still speaks to the box.
            self.supervisor.move_to(self._port_for(settings))

    async def _take_own_signals(
        self, taken: r.TakeOwnSignals, by: e.Origin, cause: str | None
    ) -> e.Stamped:
        """Mark what the receiver hears of itself, from the next pass on."""
        if taken.sweep not in self.orders.sweeps:
            names = ", ".join(self.orders.sweeps) or "none is configured"
            raise RefusedError(f"there is no sweep {taken.sweep!r}", remedy=f"known: {names}")
        found = taken.parts()
        measured = e.OwnSignalsMeasured(
            sweep=taken.sweep,
            channels=taken.channels,
            dials=tuple(found),
            levels=tuple(found.values()),
            images=taken.images,
            by=by,
        )
        stamped = self._stream.emit(measured, vfo=self.name, cause=cause)
        self._heard[taken.sweep, taken.images] = measured
        self.orders = self._orders(self._config, self.settings)
        # What was learnt of the floor without the antenna is not that of the band.
        await self.keeper.take(self.orders, levels_anew=not taken.images, cause=cause)
        return stamped

    async def _hear_anew(self) -> None:
        """The sound is later or sooner than was thought."""
        self.corrected.later(self.hearing.late)
        self.orders = self._orders(self._config, self.settings)
        await self.keeper.take(self.orders, levels_anew=False, cause=None)

    def _tell(self, event: e.Event, cause: str | None) -> e.Stamped:
        return self._stream.emit(event, vfo=self.name, cause=cause)

    def _name_band(self, bands: tuple[Band, ...], cause: str | None) -> None:
        """The dial may be in another band without having moved."""
        known = self._stream.state.vfos[self.name]
        found = band_at(known.dial, bands) if known.dial is not None else None
        name = found.name if found else None
        if name != known.band:
            self._stream.emit(e.BandEntered(band=name, left=known.band), vfo=self.name, cause=cause)

    def _orders(self, config: Config, settings: VfoConfig) -> Orders:
        """What of the configuration is for this VFO, in its order, and where it hears itself."""
        own = {
            dial: level
            for one in self._heard.values()
            for dial, level in zip(one.dials, one.levels, strict=True)
        }
        levels = tuple(sorted(own.items()))
        return Orders(
            sweeps={
                name: dataclasses.replace(sweep, own_levels=levels)
                for name, sweep in config.sweeps.items()
                if sweep.vfo == settings.name
            },
            windows=windows_of(config, settings.name),
            bands=config.bands,
            ears=self.hearing.ears(),
            afterwards=_afterwards(settings.afterwards),
            mute_in_sweeps=settings.speaker is SpeakerPolicy.MUTE_IN_SWEEPS
            and not self.hearing.mute_silences,
            output_in_windows=settings.output is OutputPolicy.WINDOWS,
        )

    async def run(self) -> None:
        """Run until cancelled; the keeper ends first, while the box can still be reached."""
        self.corrected.tell()
        async with asyncio.TaskGroup() as group:
            supervising = group.create_task(self.supervisor.run(), name=f"supervisor {self.name}")
            looking = group.create_task(self.tuner.look_now_and_then(), name=f"look {self.name}")
            listening = group.create_task(self.hearing.run(), name=f"sound {self.name}")
            try:
                # In this task itself: a cancellation reaches it before it reaches the others.
                await self.keeper.run()
            finally:
                looking.cancel()
                listening.cancel()
                supervising.cancel()


def windows_of(config: Config, vfo: str) -> Sequence[Window]:
    """The windows whose sweep is for this VFO, in the order of the configuration."""
    return [w for w in config.windows if config.sweeps[w.sweep].vfo == vfo]


def _output_on(settings: VfoConfig) -> bool | None:
    return True if settings.output is OutputPolicy.ON else None


def _line(settings: VfoConfig) -> tuple[object, ...]:
    """What cannot be changed without opening the line anew."""
    return settings.port, settings.baud, settings.dtr, settings.rts


def _afterwards(wanted: Wanted | int) -> Afterwards:
    if isinstance(wanted, int):
        return Afterwards(park=wanted)
    return Afterwards(go_back=wanted is Wanted.RETURN)
