"""The supervisor on a line in memory: open, up, down, back off, and again.

The pauses are those of the design: 0.5 to 10 s with jitter, none after a reset.
"""

import asyncio
import contextlib
import itertools
import random
from collections.abc import AsyncIterator

import pytest

from tests.device.tiny import MemoryPort, TinyBox
from vfod.clock import SystemClock
from vfod.device.link import Link, Told
from vfod.device.supervise import Supervisor
from vfod.device.timing import BACK_OFF_FIRST, BACK_OFF_LONGEST, BEAT_LIMIT
from vfod.errors import BoxRefusedError, LineError, LineLostError
from vfod.wire import messages as m

pytestmark = pytest.mark.no_leaks


class Watched:
    """A supervisor and the times at which it called."""

    def __init__(self) -> None:
        self.box = TinyBox()
        self.port = MemoryPort(self.box)
        self.clock = SystemClock()
        self.links: list[Link] = []
        self.ups: list[float] = []
        self.downs: list[tuple[float, str]] = []
        self.errors: list[LineError] = []
        self.told: list[Told] = []
        self.fails_up: Exception | None = None
        self.supervisor = Supervisor(
            self.port, self.clock, random.Random(1), self.up, self.down, self.told.append
        )
        self.task = asyncio.create_task(self.supervisor.run(), name="supervisor")

    async def up(self, link: Link) -> None:
        self.links.append(link)
        self.ups.append(self.clock.monotonic())
        if self.fails_up is not None:
            raise self.fails_up

    def down(self, error: LineError) -> None:
        self.downs.append((self.clock.monotonic(), error.reason))
        self.errors.append(error)

    async def passes(self, seconds: float) -> None:
        await self.clock.sleep_until(self.clock.monotonic() + seconds)

    async def stop(self) -> None:
        self.task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self.task


@pytest.fixture
async def watched() -> AsyncIterator[Watched]:
    made = Watched()
    yield made
    await made.stop()


async def test_up_is_given_a_greeted_link(watched: Watched) -> None:
    await watched.passes(1.0)
    (link,) = watched.links
    assert watched.box.identity == link.greeting.identity
    assert m.Tuned(frequency=9_000_000_000) == await link.ask(m.Tune(frequency=9_000_000_000))
    watched.box.turn(8_000_000_000)
    await watched.passes(0.1)
    assert [m.Turned(frequency=8_000_000_000, number=1)] == watched.told


async def test_unplugged_and_back(watched: Watched) -> None:
    """A new link after a pause that begins at half a second; each reason of an outage once."""
    await watched.passes(1.0)
    watched.port.unplug()
    await watched.passes(1.8)
    watched.port.plugged = True
    await watched.passes(3.0)
    assert ["lost", "missing"] == [reason for _, reason in watched.downs]
    assert 1.0 == pytest.approx(watched.downs[0][0])
    assert 2 == len(watched.links)
    assert watched.links[0] is not watched.links[1]
    assert watched.ups[1] <= 2.8 + 2.0 + 0.1
    assert "memory" == watched.errors[0].port
    assert {"lost": 1} == {k: n for k, n in watched.supervisor.tally.losses.items() if k == "lost"}


async def test_pauses_grow_to_ten_seconds_and_differ(watched: Watched) -> None:
    await watched.passes(1.0)
    watched.port.unplug()
    await watched.passes(300.0)
    tried = watched.port.tried[1:]
    pauses = [later - earlier for earlier, later in itertools.pairwise(tried)]
    assert all(BACK_OFF_FIRST <= pause <= BACK_OFF_LONGEST for pause in pauses)
    assert max(pauses[:2]) <= 2.0
    assert max(pauses) > 8.0
    assert len(pauses) == len({round(pause, 6) for pause in pauses})
    assert ["lost", "missing"] == [reason for _, reason in watched.downs]


async def test_a_vfo_that_is_not_there_for_days(watched: Watched) -> None:
    """Looked for all the time, told once, and found as soon as it is there."""
    await watched.passes(1.0)
    watched.port.unplug()
    await watched.passes(3 * 86400.0)
    assert ["lost", "missing"] == [reason for _, reason in watched.downs]
    watched.port.plugged = True
    await watched.passes(BACK_OFF_LONGEST + 1)
    assert 2 == len(watched.ups)


async def test_a_greeting_ends_the_growing(watched: Watched) -> None:
    """After a minute of outage and a greeting, the next pause is the shortest again."""
    await watched.passes(1.0)
    watched.port.unplug()
    await watched.passes(60.0)
    watched.port.plugged = True
    await watched.passes(15.0)
    assert 2 == len(watched.ups)
    watched.port.unplug()
    watched.port.plugged = True
    lost = watched.clock.monotonic()
    await watched.passes(2.0)
    assert 3 == len(watched.ups)
    assert watched.ups[-1] - lost == pytest.approx(BACK_OFF_FIRST, abs=0.1)


async def test_each_end_of_a_link_is_told(watched: Watched) -> None:
    """Two losses for the same reason with a link between them are two."""
    for _ in range(2):
        await watched.passes(1.0)
        watched.port.unplug()
        watched.port.plugged = True
    await watched.passes(1.0)
    assert ["lost", "lost"] == [reason for _, reason in watched.downs]


async def test_a_reset_is_followed_at_once(watched: Watched) -> None:
    await watched.passes(5.0)
    watched.box.reset(0xB008)
    await watched.passes(1.0)
    ((when, reason),) = watched.downs
    assert "reset" == reason
    assert 5.0 == pytest.approx(when, abs=0.02)
    assert watched.ups[-1] == pytest.approx(5.0, abs=0.1)
    assert 0xB008 == watched.links[-1].greeting.identity.boot


async def test_a_box_that_resets_for_ever(watched: Watched) -> None:
    """A box that resets as soon as it is greeted is opened about twice a second, not more."""

    async def up(link: Link) -> None:
        watched.box.reset(watched.box.identity.boot + 1)

    watched.supervisor._up = up
    await watched.passes(60.0)
    assert 60 <= len(watched.port.tried) <= 125


async def test_an_error_while_setting_up(watched: Watched) -> None:
    """A box that refuses what `up` asks of it is down and tried again; it ends nothing."""
    watched.fails_up = BoxRefusedError("no lock", box_code="hardware")
    await watched.passes(5.0)
    assert {"refused"} == {reason for _, reason in watched.downs}
    assert "no lock" in str(watched.errors[0])
    watched.fails_up = LineLostError("gone meanwhile")
    await watched.passes(5.0)
    assert "lost" == watched.downs[-1][1]
    watched.fails_up = None
    await watched.passes(2.0)
    downs = len(watched.downs)
    await watched.passes(60.0)
    assert downs == len(watched.downs)


async def test_a_mistake_of_ours_is_not_hidden() -> None:
    """Only what a line or a box can do is tried again."""
    watched = Watched()
    watched.fails_up = RuntimeError("a mistake")
    with pytest.raises(RuntimeError, match="a mistake"):
        await watched.task


@pytest.mark.parametrize("when", [0.001, 0.02, 1.0, 1.6, 9.0])
async def test_cancelled_at_any_time(when: float) -> None:
    """Opening, greeting, watching, backing off: nothing is left over, the line is closed."""
    watched = Watched()
    asyncio.get_running_loop().call_later(1.5, watched.port.unplug)
    await watched.passes(when)
    await watched.stop()
    assert watched.port.all_closed


async def test_heartbeat(watched: Watched) -> None:
    """The sign of life is never old: not while all is well, in an outage, or before silence."""
    oldest = 0.0
    for minute in range(9):
        watched.port.plugged = minute % 3 != 1
        watched.box.deaf = minute % 3 == 2
        if not watched.port.plugged:
            watched.port.unplug()
        for _ in range(600):
            await watched.passes(0.1)
            age = watched.clock.monotonic() - watched.supervisor.last_beat
            oldest = max(oldest, age)
    assert 2.0 <= oldest <= BEAT_LIMIT
    watched.port.plugged, watched.box.deaf = True, False
    await watched.passes(20.0)
    assert watched.clock.monotonic() - watched.supervisor.last_beat < 2.2


async def test_each_link_begins_with_a_tag_of_its_own(watched: Watched) -> None:
    """A box that remembers the last session is not asked with the tags of that one."""
    await watched.passes(1.0)
    watched.box.reset(0xB008)
    await watched.passes(1.0)
    starts = [line for line in watched.port.written.split(b"\n") if b" who " in line]
    assert 2 == len({line[:5] for line in starts})
