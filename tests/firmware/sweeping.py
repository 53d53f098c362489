"""The daemon, whole, on a serial device: sweeps two bands while something may happen to the box."""

import asyncio
import contextlib
from collections.abc import Callable
from pathlib import Path

from vfod import events as e
from vfod import requests as r
from vfod.app.daemon import Daemon
from vfod.app.recall import Memory
from vfod.clock import SystemClock
from vfod.config.loading import parse
from vfod.device.address import port_from
from vfod.run.stream import Subscription
from vfod.store import Threaded

#: Nine channels and eleven; a box that has no band filter and an envelope detector.
CONFIG = """
vfos:
  main:
    port: {port}
    receiver: [{{from: 150k, to: 30M, detector: envelope, intermediate_frequency: 455k}}]
bands:
  lower: {{from: 6000k, to: 6040k, raster: 5k}}
  upper: {{from: 7200k, to: 7250k, raster: 5k}}
sweeps:
  both: {{bands: [lower, upper], dwell: 100ms, readings: 2, settle: 50ms, hold: off}}
mqtt: off
web: off
journal: {{path: {journal}}}
"""
CHANNELS = [*range(6_000_000, 6_040_001, 5_000), *range(7_200_000, 7_250_001, 5_000)]

_LISTENER = e.Origin(door=e.Door.SHELL, who="listener")


async def sweep(
    port: str, folder: Path, *, disturb: Callable[[], None] | None = None, after: int = 12
) -> list[e.Event]:
    """Run the daemon from the greeting to the end of one pass; everything that happened.

    `disturb` is called once, when so many channels have been observed.
    """
    config = parse(CONFIG.format(port=port, journal=folder / "journal.sqlite"), "vfod.yaml")
    clock = SystemClock()
    store = Threaded(folder / "journal.sqlite")
    store.open(clock.wall())
    daemon = Daemon(
        config,
        clock=clock,
        store=store,
        port_for=lambda settings: port_from(settings.port, baud=settings.baud),
        memory=Memory(None),
        seed=1,
    )
    feed = daemon.stream.subscribe("test")
    living = asyncio.create_task(daemon.run())
    seen: list[e.Event] = []
    try:
        async with asyncio.timeout(240):
            await _until(feed, seen, lambda event: isinstance(event, e.LinkGreeted))
            await daemon.vfos["main"].tuner.connected.wait()
            await daemon.front.submit(r.Asked(request=r.StartSweep(sweep="both"), origin=_LISTENER))
            if disturb is not None:
                await _until(feed, seen, lambda _: len(observed(seen)) == after)
                disturb()
            await _until(feed, seen, lambda event: isinstance(event, e.PassCompleted))
    finally:
        living.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await living
    return seen


def observed(seen: list[e.Event]) -> list[int]:
    """The channels that were measured with all their readings, in order."""
    return [
        event.dial for event in seen if isinstance(event, e.ChannelObserved) and event.readings == 2
    ]


async def _until(
    feed: Subscription, seen: list[e.Event], enough: Callable[[e.Event], bool]
) -> None:
    async for stamped, _ in feed:
        seen.append(stamped.event)
        if enough(stamped.event):
            return
    raise AssertionError("the daemon ended")
