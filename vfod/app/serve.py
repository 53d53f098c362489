"""`vfod serve`: the daemon on the real clock, with real ports, a real disk and the signals."""

import asyncio
import signal
from pathlib import Path

from vfod.app.daemon import Daemon
from vfod.app.recall import recall
from vfod.clock import SystemClock
from vfod.config.model import Config, VfoConfig
from vfod.device.address import port_from
from vfod.device.port import Port
from vfod.store import Threaded


async def serve(config: Config, *, socket_path: str, journal_path: str) -> None:
    """Run the daemon until SIGTERM or SIGINT.

    Raises AlreadyRunningError, StoreError or DoorError when it cannot begin.
    """
    clock = SystemClock()
    journal = Path(journal_path)
    recalled = {name: recall(journal, name, clock.wall()) for name in config.vfos}
    store = Threaded(journal)
    daemon = Daemon(
        config,
        clock=clock,
        store=store,
        port_for=_port,
        recalled=recalled,
        socket=Path(socket_path),
    )
    assert daemon.control is not None
    daemon.control.claim()
    try:
        store.open(clock.wall())
        living = asyncio.create_task(daemon.run(), name="daemon")
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, living.cancel)
        try:
            await living
        except asyncio.CancelledError:
            if not living.cancelled():
                raise
    finally:
        daemon.control.release()


def _port(settings: VfoConfig) -> Port:
    return port_from(settings.port, baud=settings.baud, dtr=settings.dtr, rts=settings.rts)
