"""The simulator as a process of its own: `vfod simulate`."""

import asyncio
import contextlib
import signal
from collections.abc import Callable
from pathlib import Path

from vfod.clock import Clock, SystemClock
from vfod.errors import UsageError
from vfod.sim.hands import Keys
from vfod.sim.pace import BAUD
from vfod.sim.pty import PtyLine
from vfod.sim.scenario import load
from vfod.sim.tcp import TcpLine
from vfod.sim.world import Plug, build, follow

#: The last one comes when the terminal is closed.
_SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)


def _say(text: str) -> None:
    print(text, flush=True)


async def simulate(
    *,
    scenario: Path | None = None,
    link: Path | None = None,
    listen: str | None = None,
    seed: int = 0,
    keys: bool = False,
    baud: int | None = BAUD,
    say: Callable[[str], None] = _say,
    clock: Clock | None = None,
) -> None:
    """Simulate a VFO until SIGTERM, SIGINT, SIGHUP or the key q, and leave nothing behind.

    It hangs on a pseudo-terminal, also named `link`, or on TCP when `listen` (host:port) is given.
    `scenario` None is the ready one. `baud` None does not space the bytes. `keys` takes keys from
    the standard input. Says in one line where it can be reached, once it can.
    Raises UsageError for a scenario, link or address that cannot be used.
    """
    clock = clock or SystemClock()
    # Small, and read once before anything runs.
    read = load(scenario)
    address = _address(listen) if listen is not None else None
    if address and link:
        raise UsageError("a link is for a pseudo-terminal", remedy="give either link or tcp")
    world = build(read, clock=clock, seed=seed)
    done = asyncio.Event()
    loop = asyncio.get_running_loop()
    with contextlib.ExitStack() as stack:
        stack.callback(world.box.close)
        for number in _SIGNALS:
            loop.add_signal_handler(number, done.set)
            stack.callback(loop.remove_signal_handler, number)
        plug: Plug
        if address:
            tcp = TcpLine(world.box, host=address[0], port=address[1], baud=baud)
            stack.callback(tcp.close)
            await tcp.open()
            plug, where = tcp, tcp.address
        else:
            pty = PtyLine(world.box, link=link, baud=baud)
            stack.callback(pty.close)
            plug, where = pty, pty.open()
        say(f"a simulated VFO with {len(read.stations)} invented stations on the air is at {where}")
        if keys:
            person = Keys(world, plug, done.set)
            stack.callback(person.close)
            person.start()
        async with asyncio.TaskGroup() as group:
            hand = group.create_task(follow(read.hand, world.box, plug, clock), name="hand")
            await done.wait()
            hand.cancel()


def _address(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    if not colon or not port.isdigit() or int(port) > 65_535:
        raise UsageError(f"{text!r} is no address", remedy="write it like 127.0.0.1:7300")
    return host.strip("[]") or "127.0.0.1", int(port)
