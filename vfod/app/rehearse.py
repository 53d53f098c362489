"""A night rehearsed: the daemon as it is, on a clock that jumps, with simulated VFOs.

The configuration, the windows, the sweeps, the line protocol and the receiver's law are those of
the real night; the far end of the line and what is on the air are the simulator's. Nothing is
written unless a journal is asked for, and no door is opened.
"""

import asyncio
import dataclasses
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

from vfod.app.daemon import Daemon
from vfod.app.described import Described
from vfod.app.listening import Recorder, Told
from vfod.app.recall import Memory
from vfod.app.tally import Tally
from vfod.app.vfo import windows_of
from vfod.config.model import Config, VfoConfig
from vfod.device.port import Port
from vfod.errors import StoreError, UsageError
from vfod.events import Event, Stamped
from vfod.plan.localtime import NOON, instant
from vfod.plan.slots import DAY, Slot, next_opening, resolve
from vfod.plan.sweep import plan_sweep
from vfod.radio.levels import Source
from vfod.sim.invented import invented
from vfod.sim.jump import JumpLoop, SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import Scenario
from vfod.sim.world import World, build, follow
from vfod.store import Direct, Keeping, ReadableStore

#: The rehearsal begins so long before the first window opens, and ends so long after the last has
#: closed, seconds: time for the box to be greeted, and for the dial to be put back.
AROUND = 60.0

#: How often progress is told, as a part of the night.
_STEPS = 200

#: Readings by sound that a night is rehearsed with: a millisecond each, most of it to make the
#: sound and look at its spectrum; so a minute and a half, on a slow machine some.
MOST_BY_SOUND = 100_000


def slots_in(config: Config, night: date) -> dict[str, list[Slot]]:
    """The windows of a night by VFO, those without any left out.

    Raises UsageError with the next night that has some where this one has none.
    """
    noon = instant(datetime.combine(night, NOON), config.place.zone)
    found = {}
    for vfo in config.vfos:
        # A window by the sun or by UTC may reach out of the night on either side.
        slots = resolve(windows_of(config, vfo), noon - DAY, noon + 2 * DAY).slots
        if mine := [slot for slot in slots if slot.night == night]:
            found[vfo] = mine
    if found:
        return found
    if not config.windows:
        raise UsageError(f"{config.path} has no windows", remedy="describe one under windows:")
    coming = [next_opening(windows_of(config, vfo), noon) for vfo in config.vfos]
    ahead = min((slot.night for slot in coming if slot is not None), default=None)
    raise UsageError(
        f"no window opens in the night of {night.isoformat()}",
        remedy="`vfod agenda` tells when"
        if ahead is None
        else f"the next night with one is that of {ahead.isoformat()}",
    )


def rehearse(
    config: Config,
    slots: dict[str, list[Slot]],
    *,
    scenario: Scenario | None = None,
    journal: Path | None = None,
    seed: int = 0,
    progress: Callable[[float, Tally], None] = lambda _, __: None,
) -> Tally:
    """Run the night of these windows, and give what a listener would find in the morning.

    `progress` is told the part of the night that is over. Raises UsageError where the journal
    exists already, and what the journal's file raises.
    """
    if journal is not None and journal.exists():
        raise UsageError(
            f"{journal} exists already", remedy="name a new file: a rehearsal is no real night"
        )
    with asyncio.Runner(loop_factory=JumpLoop) as runner:
        return runner.run(_night(config, slots, scenario, journal, seed, progress))


async def _night(
    config: Config,
    slots: dict[str, list[Slot]],
    scenario: Scenario | None,
    journal: Path | None,
    seed: int,
    progress: Callable[[float, Tally], None],
) -> Tally:
    every = [slot for some in slots.values() for slot in some]
    since = min(slot.opens for slot in every) - AROUND
    until = max(slot.closes for slot in every) + AROUND
    clock = SimClock(since)
    worlds: dict[str, World] = {}
    described: dict[str, Described] = {}
    hands: list[asyncio.Task[None]] = []

    def port_for(settings: VfoConfig) -> Port:
        number = len(worlds)
        known = described[settings.name] = Described(settings, has_law=scenario is None)
        given = scenario or invented(_channels(config, settings))
        world = build(
            given,
            clock=clock,
            seed=seed + number,
            law=known.law if scenario is None else None,
            curve=known.curve if scenario is None else None,
        )
        worlds[settings.name] = world
        port = MemoryPort(world.box, name=settings.port)
        hands.append(asyncio.create_task(follow(given.hand, world.box, port, clock)))
        return port

    def recorder_for(settings: VfoConfig, told: Told) -> Recorder:
        receiver = worlds[settings.name].receiver
        return described[settings.name].recorder(receiver, clock, told)

    readings = readings_by_sound(config, slots)
    by_sound = 0 < readings <= MOST_BY_SOUND
    store: ReadableStore = _Unkept()
    if journal is not None:
        store = direct = Direct(journal)
        direct.open(clock.wall())
    daemon = Daemon(
        dataclasses.replace(config, mqtt=None, web=None),
        clock=clock,
        store=store,
        port_for=port_for,
        recorder_for=recorder_for if by_sound else None,
        memory=Memory(None),
        # Any night may be rehearsed, also one before this program was made.
        released=0.0,
        seed=seed,
    )
    tally = Tally(since=since, until=until, readings_by_sound=readings, by_sound=by_sound)
    with daemon.stream.following("rehearsal") as feed:
        counting = asyncio.create_task(tally.run(feed), name="tally")
        living = asyncio.create_task(daemon.run(), name="daemon")
        began = clock.monotonic()
        for step in range(1, _STEPS + 1):
            part = step / _STEPS
            await clock.sleep_until(began + part * (until - since))
            if living.done():
                break
            progress(part, tally)
        for task in (living, *hands):
            task.cancel()
        results = await asyncio.gather(living, *hands, return_exceptions=True)
        for world in worlds.values():
            world.box.close()
    await counting
    for result in results:
        if isinstance(result, Exception):
            raise result
    return tally


def readings_by_sound(config: Config, slots: dict[str, list[Slot]]) -> int:
    """About how many readings of the sound the night will have; 0 where it is not used."""
    found = 0.0
    for name, mine in slots.items():
        settings = config.vfos[name]
        if settings.level_from not in (Source.AUDIO, Source.BOTH):
            continue
        for slot in mine:
            sweep = config.sweeps[slot.window.sweep]
            plan = plan_sweep(sweep, settings.receiver, config.bands)
            passes = (slot.closes - slot.opens) / plan.pass_duration
            found += passes * len(plan.channels) * sweep.readings
    return round(found)


def _channels(config: Config, settings: VfoConfig) -> list[int]:
    return [
        visit.dial
        for sweep in config.sweeps.values()
        if sweep.vfo == settings.name
        for visit in plan_sweep(sweep, settings.receiver, config.bands)
    ]


class _Unkept:
    """A journal that is not kept."""

    queued = dropped = last_commit = 0
    failing = False

    def add(self, stamped: Stamped) -> None:
        self.last_commit = stamped.sequence

    async def flush(self) -> list[Event]:
        return []

    async def tend(self, now: float, keeping: Keeping) -> bool:
        return False

    async def ask(self, question: Callable[[Any], Any]) -> Any:
        raise StoreError("a rehearsal without a journal remembers nothing")

    async def close(self) -> None:
        """There is nothing to close."""
