"""The wall clock held against one that nobody can set."""

from datetime import UTC, datetime

import pytest

from tests.run.shack import NOON
from vfod import events as e
from vfod.app.daemon import RELEASED
from vfod.clock import SystemClock
from vfod.events.plain import kind
from vfod.run.clockwatch import ClockWatch
from vfod.sim.jump import SimClock

HOUR = 3600.0
#: 1970-01-01 00:01 UTC: a machine without a clock of its own, a minute after it was switched on.
AFTER_BOOT = 60.0


class Watched:
    """A watch, what it told, and when it trusted the clock for the first time."""

    def __init__(self, wall: float, newest: float | None = None) -> None:
        self.clock = SimClock(wall)
        self.told: list[e.Event] = []
        self.trusted_at: list[float] = []
        self.watch = ClockWatch(
            self.clock,
            self.told.append,
            released=NOON - 24 * HOUR,
            newest=newest,
            on_trust=self.trusted_at.append,
        )

    @property
    def doubts(self) -> bool:
        return not self.watch.trusted

    async def look_after(self, seconds: float) -> list[e.Event]:
        """What a look so much later tells."""
        await self.clock.sleep_until(self.clock.monotonic() + seconds)
        self.told.clear()
        self.watch.look()
        return list(self.told)


@pytest.mark.parametrize("step", [90.0, -3600.0, 1.8e9])
async def test_a_clock_that_is_set_is_told_once(step: float) -> None:
    """By how much, and that somebody set it; the time that passed meanwhile is no part of it."""
    it = Watched(NOON)
    assert [] == await it.look_after(20)
    it.clock.shift(step)
    assert [e.ClockJumped(seconds=step, cause="set")] == await it.look_after(20)
    assert [] == await it.look_after(20)


async def test_a_clock_that_is_slewed_has_not_jumped() -> None:
    """500 ppm is the most that the kernel slews by (adjtimex(2): the tick's limits aside)."""
    it = Watched(NOON)
    for _ in range(100):
        it.clock.shift(20 * 500e-6)
        assert [] == await it.look_after(20)


async def test_a_machine_that_slept() -> None:
    """Monotonic time stood still; wall clock and boot time went on together: nobody set a clock."""
    it = Watched(NOON)
    it.clock.suspend(7200)
    assert [e.ClockJumped(seconds=7200, cause="suspended")] == await it.look_after(5)
    it.clock.suspend(600)
    it.clock.shift(-30)
    assert [
        e.ClockJumped(seconds=600, cause="suspended"),
        e.ClockJumped(seconds=-30, cause="set"),
    ] == await it.look_after(5)


async def test_a_clock_before_the_release_is_not_believed_until_it_is_set() -> None:
    """A program cannot run before it was made; what the doubt lasted is true time."""
    it = Watched(AFTER_BOOT)
    (doubt,) = await it.look_after(0)
    assert isinstance(doubt, e.ClockDoubted)
    assert "before-release" == doubt.reason
    assert it.doubts
    assert [] == await it.look_after(300)
    it.clock.set_wall(NOON)
    jumped, trusted = await it.look_after(10)
    assert e.ClockTrusted(doubted=310) == trusted
    assert isinstance(jumped, e.ClockJumped)
    assert [NOON + 10] == it.trusted_at


async def test_a_clock_before_the_journal_is_not_believed_until_it_has_caught_up() -> None:
    """Nothing can happen before what has happened already."""
    it = Watched(NOON - 100, newest=NOON)
    assert [e.ClockDoubted(known=NOON, reason="before-journal")] == await it.look_after(0)
    assert [] == await it.look_after(99)
    assert [e.ClockTrusted(doubted=101)] == await it.look_after(2)
    assert [NOON + 1] == it.trusted_at


async def test_a_journal_from_the_future_does_not_lock_the_windows_out() -> None:
    """Setting the clock, by little even, vouches for it; a restart with it would doubt again."""
    it = Watched(NOON, newest=NOON + 3e8)
    await it.look_after(20)
    assert it.doubts
    it.clock.shift(5)
    assert ["clock-jumped", "clock-trusted"] == [kind(n) for n in await it.look_after(20)]


async def test_what_was_remembered_is_asked_for_once() -> None:
    """A later doubt does not bring the last run of the daemon back."""
    it = Watched(NOON)
    await it.look_after(0)
    it.clock.set_wall(AFTER_BOOT)
    assert ["clock-jumped", "clock-doubted"] == [kind(n) for n in await it.look_after(20)]
    it.clock.set_wall(NOON + 100)
    await it.look_after(20)
    assert [NOON] == it.trusted_at


def test_the_release_has_a_day() -> None:
    """Which is a date, at midnight UTC, and not in this machine's future."""
    assert datetime.fromtimestamp(RELEASED, UTC).strftime("%H:%M:%S") == "00:00:00"
    assert RELEASED <= SystemClock().wall() + 14 * HOUR


@pytest.mark.real_time
async def test_the_real_clocks_go_on_together() -> None:
    """Boot time and monotonic time of this machine (clock_gettime(2)) differ by a constant."""
    clock = SystemClock()

    def ahead() -> tuple[float, float]:
        """How far it is, at least and at most: between the readings others may have their turn."""
        before, boot, after = clock.monotonic(), clock.boottime(), clock.monotonic()
        return boot - after, boot - before

    first = ahead()
    await clock.sleep_until(clock.monotonic() + 0.05)
    second = ahead()
    assert max(first[0], second[0]) <= min(first[1], second[1]) + 1e-3
    assert first[1] >= -1e-3
