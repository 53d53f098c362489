"""One tune, from the request to the answer, through a pseudo-terminal to the simulated VFO.

Both clients ask the same box in turn. The bare one has its lines ready, writes, and reads until a
line has come; ours builds the line, waits on the loop with a time limit, checks and understands
the answer. The two tunes of a pair are to different frequencies, and the box does not settle.
"""

import asyncio
import os
import statistics
import time
from pathlib import Path

from tests.bench.figures import Bench, Figure, Promise, milliseconds, ratio_of_pairs
from tests.bench.processes import Processes
from vfod.clock import SystemClock
from vfod.device.link import Link
from vfod.device.serial import SerialPort
from vfod.wire.host import HostSession
from vfod.wire.messages import Tune

_ROUNDS = 2000
_PACED_ROUNDS = 200
#: Rounds of which a median is taken; the best of these medians counts where it is milliseconds.
_PART = 100

RATIO = Promise(
    what="tune round trip, to a bare write and read",
    most=2.0,
    means="codec, checks and the loop cost at most as much again as the line and the box",
)
TIME = Promise(
    what="tune round trip, median",
    unit="ms",
    most=0.3,
    means="on a pseudo-terminal, with the simulated box's own time; nobody waits for the host",
)
PACED = Promise(
    what="tune round trip at 115200 baud, to a blocking client",
    most=1.1,
    means="on a line at its real pace the host is not felt",
)


async def measure(folder: Path) -> list[Figure]:
    with Processes(folder) as processes:
        fast = processes.simulator(settle="0s", baud=0)
        ours, bare = await _side_by_side(fast, _ROUNDS)
        paced = processes.simulator(settle="0s")
        paced_ours, paced_bare = await _side_by_side(paced, _PACED_ROUNDS)
    return [
        RATIO.measured(
            ratio_of_pairs(ours, bare),
            milliseconds(statistics.median(ours), statistics.median(bare)),
        ),
        TIME.measured(
            min(statistics.median(ours[k : k + _PART]) for k in range(0, _ROUNDS, _PART)) * 1e3,
            f"the best {_PART} in a row; {milliseconds(statistics.median(ours))} of all",
        ),
        PACED.measured(
            ratio_of_pairs(paced_ours, paced_bare),
            milliseconds(statistics.median(paced_ours), statistics.median(paced_bare)),
        ),
    ]


async def _side_by_side(port: str, rounds: int) -> tuple[list[float], list[float]]:
    link = await Link.open(SerialPort(port), SystemClock(), 0x1000, lambda _: None)
    # The link has asked to be alone by a lock, which a plain open does not look at.
    fd = os.open(port, os.O_RDWR | os.O_NOCTTY)
    lines = HostSession(0x9000)
    ours, bare = [], []
    try:
        for number in range(rounds):
            frequency = 7_755_000_000 + number % 100 * 5_000_000
            ours.append(await _ours(link, Tune(frequency=frequency, hand=0)))
            line = lines.ask(Tune(frequency=frequency + 1_000_000, hand=0))
            bare.append(bare_exchange(fd, line))
    finally:
        os.close(fd)
        link.close()
        # Let the loop forget the line.
        await asyncio.sleep(0)
    return ours, bare


async def _ours(link: Link, tune: Tune) -> float:
    begun = time.perf_counter()
    answer = await link.ask(tune)
    seconds = time.perf_counter() - begun
    if answer.frequency != tune.frequency:
        raise RuntimeError(f"{answer} is no answer to {tune}")
    return seconds


def bare_exchange(fd: int, line: bytes) -> float:
    """Seconds from writing a line until a line has come."""
    answer = b""
    begun = time.perf_counter()
    os.write(fd, line)
    while not answer.endswith(b"\n"):
        answer += os.read(fd, 4096)
    return time.perf_counter() - begun


BENCH = Bench(
    name="round_trip",
    promises=(RATIO, TIME, PACED),
    measure=lambda folder: asyncio.run(measure(folder)),
    takes="10 s",
)
