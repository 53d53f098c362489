"""Events as the stream would stamp them, and a disk that is full."""

import resource
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from vfod import events as e
from vfod.store import Writer

#: 2026-11-25 20:00 UTC.
EVENING = 1_795_636_800.0


def observed(
    dial: int = 9_420_000,
    *,
    level: float | None = -73.2,
    highest: float | None = -61.0,
    floor: float | None = -105.4,
    active: bool | None = True,
    band: str | None = "31m",
    unit: str = "dBm",
    sweep: str = "evening",
    readings: int = 8,
    lateness: float = 0.001,
) -> e.ChannelObserved:
    return e.ChannelObserved(
        sweep=sweep,
        dial=dial,
        band=band,
        readings=readings,
        level=level,
        highest=highest,
        unit=unit,
        floor=floor,
        active=active,
        lateness=lateness,
    )


def tuned(dial: int, door: e.Door = e.Door.SHELL, who: str = "listener") -> e.DialTuned:
    return e.DialTuned(
        dial=dial,
        oscillator=dial * 1000,
        produced=dial * 1000,
        by=e.Origin(door=door, who=who),
    )


def started(version: str = "0.1.0") -> e.DaemonStarted:
    return e.DaemonStarted(version=version, config_path="/etc/vfod.yaml", config_digest="c0ffee")


def stamped(
    sequence: int,
    event: e.Event,
    *,
    time: float | None = None,
    vfo: str = "main",
    cause: str | None = None,
    doubted: bool = False,
) -> e.Stamped:
    """An event of that number; a second after the one before where no time is given."""
    when = EVENING + sequence if time is None else time
    return e.Stamped(
        sequence=sequence, time=when, vfo=vfo, event=event, cause=cause, doubted=doubted
    )


@contextmanager
def full_disk(room: int) -> Iterator[None]:
    """No file of this process may grow beyond `room` bytes: a full disk as the kernel makes it."""
    assert signal.SIG_IGN == signal.getsignal(signal.SIGXFSZ), "else the process would end"
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


#: A program that holds the journal of its argument until its input ends.
HOLDS = """
import sys
import tempfile
from pathlib import Path
from vfod.events import DaemonStopped, Stamped
from vfod.store import Writer

writer = Writer(Path(sys.argv[1]))
writer.open(0.0)
writer.add(Stamped(sequence=1, time=1.0, vfo="", event=DaemonStopped(reason="asked")))
writer.commit()
print("open", flush=True)
sys.stdin.read()
"""


def filled(path: Path, rows: int = 3000) -> None:
    """A sound journal of some dozen pages."""
    writer = Writer(path)
    writer.open(EVENING)
    writer.add(stamped(1, started()))
    for number in range(2, rows):
        writer.add(stamped(number, observed(5_000_000 + number % 50 * 5000)))
    writer.close()
