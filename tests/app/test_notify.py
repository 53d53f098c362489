"""What the service manager hears: the messages of sd_notify(3), on a real datagram socket.

The oracle is the manual of systemd 252: sd_notify(3) for the words and for the abstract address,
sd_watchdog_enabled(3) for "about half of the time" between two pings.
"""

import asyncio
import itertools
import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.app.nights import EVENING
from vfod import events as e
from vfod.app.daemon import Daemon
from vfod.app.notify import STALE_AFTER, ServiceManager
from vfod.app.recall import Memory
from vfod.config.loading import parse
from vfod.errors import UsageError
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import load as load_scenario
from vfod.sim.world import build
from vfod.store import Direct

NAMES = itertools.count()


class Manager:
    """The other end: an address to put into the environment, and what was heard there."""

    def __init__(self, address: str) -> None:
        self.address = address
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(f"\0{address[1:]}" if address.startswith("@") else address)
        self._socket.setblocking(False)

    def heard(self) -> list[str]:
        """The datagrams since the last time."""
        found = []
        while True:
            try:
                found.append(self._socket.recv(4096).decode())
            except BlockingIOError:
                return found

    def close(self) -> None:
        self._socket.close()


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Manager]:
    address = f"@vfod-{os.getpid()}-{next(NAMES)}"
    listening = Manager(address if request.param == "abstract" else str(tmp_path / "notify"))
    yield listening
    listening.close()


def of(manager: Manager, watchdog: str = "20000000") -> ServiceManager:
    named = ServiceManager.named_in({"NOTIFY_SOCKET": manager.address, "WATCHDOG_USEC": watchdog})
    assert named is not None
    return named


def test_beginning_and_end(manager: Manager) -> None:
    """Each is one datagram of assignments, one a line."""
    told = of(manager)
    told.ready()
    told.stopping()
    first, last = (message.splitlines() for message in manager.heard())
    assert "READY=1" == first[0]
    assert "STOPPING=1" == last[0]
    assert all(line.startswith("STATUS=") for line in (*first[1:], *last[1:]))


def test_a_reload_begins_with_the_time_it_began_at(manager: Manager) -> None:
    """sd_notify(3): RELOADING=1, and MONOTONIC_USEC in microseconds; READY=1 ends it."""
    told = of(manager)
    told.reloading(12.5)
    told.ready()
    begins, ends = (message.splitlines() for message in manager.heard())
    assert ["RELOADING=1", "MONOTONIC_USEC=12500000"] == begins[:2]
    assert "READY=1" == ends[0]


async def test_the_watchdog_is_fed_at_half_its_time(manager: Manager) -> None:
    """Twenty seconds: a ping now, and one every ten."""
    clock = SimClock(0)
    watching = asyncio.create_task(of(manager).watch(lambda: {"keeper main": 0.0}, clock))
    await clock.sleep_until(5)
    assert ["WATCHDOG=1"] == manager.heard()
    await clock.sleep_until(95)
    assert 9 * ["WATCHDOG=1"] == manager.heard()
    watching.cancel()


@pytest.mark.parametrize("part", ["keeper main", "link main"])
async def test_a_part_without_life_stops_the_feeding(
    part: str, manager: Manager, caplog: pytest.LogCaptureFixture
) -> None:
    """One stuck part is enough; it is named once, and feeding goes on when it lives again."""
    clock = SimClock(0)
    last = {"keeper main": 0.0, "link main": 0.0}

    def beats() -> dict[str, float]:
        now = clock.monotonic()
        for other in last.keys() - {part}:
            last[other] = now
        return {name: now - when for name, when in last.items()}

    watching = asyncio.create_task(of(manager).watch(beats, clock))
    await clock.sleep_until(STALE_AFTER + 1)
    assert {"WATCHDOG=1"} == set(manager.heard())
    await clock.sleep_until(STALE_AFTER + 100)
    assert [f"STATUS=stuck: {part}"] == manager.heard()
    assert 1 == sum(part in record.message for record in caplog.records)
    last[part] = clock.monotonic()
    await clock.sleep_until(clock.monotonic() + 11)
    assert ["WATCHDOG=1", "STATUS=running"] == manager.heard()[0].splitlines()
    watching.cancel()


class Stubborn(Direct):
    """A journal whose disk can be made not to answer."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.answers = asyncio.Event()
        self.answers.set()

    async def flush(self) -> list[e.Event]:
        await self.answers.wait()
        return await super().flush()


async def test_the_whole_daemon_feeds_while_keeper_link_and_journal_live(
    manager: Manager, tmp_path: Path
) -> None:
    """An hour without a VFO feeds every ping; a disk that does not answer ends it within a minute.

    The watchdog's time is that of the unit.
    """
    clock = SimClock(EVENING)
    store = Stubborn(tmp_path / "journal.sqlite")
    store.open(EVENING)
    port = MemoryPort(build(load_scenario(), clock=clock).box)
    port.unplug()
    daemon = Daemon(
        parse("vfos: {main: {port: /dev/vfo}}\nweb: off", "minimal.yaml"),
        clock=clock,
        store=store,
        port_for=lambda _: port,
        memory=Memory(None),
    )
    living = asyncio.create_task(daemon.run())
    watching = asyncio.create_task(of(manager, "60000000").watch(daemon.beats, clock))
    await clock.sleep_until(1)
    assert {"journal", "keeper main", "link main"} == set(daemon.beats())
    for minute in range(1, 61):
        await clock.sleep_until(60 * minute - 1)
        assert 2 * ["WATCHDOG=1"] == manager.heard()
    await clock.sleep_until(3601)
    assert ["WATCHDOG=1"] == manager.heard()
    store.answers.clear()
    daemon.stream.emit(e.DialFound(dial=None, oscillator=7_000_000_000), vfo="main")
    await clock.sleep_until(3690)
    assert ["WATCHDOG=1", "STATUS=stuck: journal"] == manager.heard()
    await clock.sleep_until(4000)
    assert [] == manager.heard()
    store.answers.set()
    await clock.sleep_until(4061)
    assert ["WATCHDOG=1", "STATUS=running"] == manager.heard()[0].splitlines()
    watching.cancel()
    living.cancel()
    await asyncio.gather(living, return_exceptions=True)


@pytest.mark.parametrize("environment", [{}, {"WATCHDOG_USEC": "5"}, {"NOTIFY_SOCKET": ""}])
def test_without_a_manager(environment: dict[str, str]) -> None:
    """Started by a person, there is nobody to tell."""
    assert ServiceManager.named_in(environment) is None


async def test_a_manager_that_does_not_watch(manager: Manager) -> None:
    """Without a watchdog's time, the watching ends at once and says nothing."""
    told = ServiceManager.named_in({"NOTIFY_SOCKET": manager.address})
    assert told is not None
    await told.watch(dict, SimClock(0))
    await of(manager, "0").watch(dict, SimClock(0))
    assert [] == manager.heard()


@pytest.mark.parametrize("text", ["soon", "-1", "1.5", "", "²"])
def test_a_time_that_is_none(text: str) -> None:
    """The variable is named, and where it comes from."""
    with pytest.raises(UsageError, match=f"WATCHDOG_USEC is '{text}'"):
        ServiceManager.named_in({"NOTIFY_SOCKET": "/n", "WATCHDOG_USEC": text})


def test_a_manager_that_went_away(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The daemon lives on, and the log says what was not heard."""
    ServiceManager(str(tmp_path / "nobody")).ready()
    assert "the service manager was not told" in caplog.text


def test_a_manager_that_does_not_read(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A full queue does not hold up the daemon."""
    deaf = Manager(str(tmp_path / "deaf"))
    told = ServiceManager(deaf.address)
    for _ in range(2000):
        told.ready()
        if caplog.records:
            break
    assert "was not told" in caplog.text
    deaf.close()
