"""What went by of the windows without their sweep is told once, with the reason."""

from typing import Any

from tests.run.shack import NOON, Shack, shack, sweep
from tests.run.test_keeper import window
from vfod import events as e
from vfod import requests as r

HOUR = 3600.0
DAY = 24 * HOUR


def told(it: Shack) -> list[tuple[str, float, float]]:
    """Reason, beginning and end, in hours from NOON to three decimals."""
    return [
        (n.reason, round((n.since - NOON) / HOUR, 3), round((n.until - NOON) / HOUR, 3))
        for n in it.of(e.WindowMissed)
        if isinstance(n, e.WindowMissed)
    ]


async def missed(hours: float = 0.1, **given: Any) -> list[tuple[str, float, float]]:
    """What is told within so many hours from noon."""
    async with shack(sweeps=[sweep()], **given) as it:
        await it.wait(hours * HOUR)
        return told(it)


async def test_nights_without_the_daemon() -> None:
    """Every window since its last sign of life has its entry, found in the agenda."""
    found = await missed(windows=[window("20:00", "22:00")], alive=NOON - 3 * DAY)
    assert [("daemon-down", 8 - 24 * n, 10 - 24 * n) for n in (3, 2, 1)] == found


async def test_the_night_in_which_the_daemon_stopped_and_the_one_it_joins() -> None:
    """Of each the part that is missing, and no more."""
    found = await missed(windows=[window("11:00", "23:00")], alive=NOON - 16 * HOUR)
    assert [("daemon-down", -16, -13), ("daemon-down", -1, 0)] == found


async def test_a_long_absence_is_told_of_the_last_month_only() -> None:
    """A daemon that was switched off in spring does not fill the journal in autumn."""
    found = await missed(windows=[window("20:00", "22:00")], alive=NOON - 300 * DAY)
    assert 31 == len(found)


async def test_nothing_is_missing_where_nothing_was() -> None:
    """A first start, a clean restart between two windows, a restart of some seconds in one."""
    assert [] == await missed(windows=[window("20:00", "22:00")])
    assert [] == await missed(windows=[window("20:00", "22:00")], alive=NOON - 12 * HOUR)
    assert [] == await missed(windows=[window("11:00", "22:00")], alive=NOON - 3)


async def test_a_window_that_a_person_had_stopped_is_not_missed_by_a_restart() -> None:
    """Nobody wanted the rest of it."""
    given = {"alive": NOON - 1800, "stopped_at": NOON - 2000}
    assert [] == await missed(windows=[window("11:00", "22:00")], **given)


async def test_a_vfo_that_is_not_there_for_a_whole_window_is_one_entry() -> None:
    """Whether or not it was there before: one entry for the window, and one for the loss."""
    async with shack(sweeps=[sweep()], windows=[window()], connect=False) as it:
        await it.wait(2.5 * HOUR)
        assert [("vfo-absent", 1, 2)] == told(it)
        kinds = [type(n.event) for n in it.seen]
        assert 1 == kinds.count(e.LinkLost)
        assert len(kinds) < 10
    async with shack(sweeps=[sweep()], windows=[window()]) as it:
        it.port.unplug()
        before = len(it.seen)
        await it.wait(2.5 * HOUR)
        assert [("vfo-absent", 1, 2)] == told(it)
        assert len(it.seen) - before < 15


async def test_a_vfo_that_comes_late() -> None:
    """The window is told as missing up to then."""
    async with shack(sweeps=[sweep()], windows=[window()], connect=False) as it:
        await it.wait(1.5 * HOUR)
        it.port.plug()
        await it.wait(HOUR)
        ((reason, since, until),) = told(it)
        assert ("vfo-absent", 1) == (reason, since)
        # The supervisor looks for it every ten seconds at most.
        assert 1.5 <= until <= 1.51
        assert it.of(e.PassCompleted)


async def test_a_listener_who_keeps_the_dial_all_the_time() -> None:
    """The window yielded; that is no fault, but there is nothing to read in the morning."""
    async with shack(sweeps=[sweep()], windows=[window()]) as it:
        await it.ask(r.Tune(frequency=7_333_000))
        it.desk.keep_quiet(e.Origin(door=e.Door.SHELL), 3 * HOUR)
        await it.wait(2.5 * HOUR)
        assert [("yielded", 1, 2)] == told(it)


async def test_a_sweep_that_cannot_run() -> None:
    """Has its window as missing, with that reason."""
    high = sweep(channels=tuple(range(29_000_000, 29_050_001, 5_000)))
    async with shack(sweeps=[high], windows=[window()], scenario="box: {high: 20MHz}") as it:
        await it.wait(2.5 * HOUR)
        assert [("refused", 1, 2)] == told(it)


async def test_a_machine_that_sleeps_through_a_window_and_into_another() -> None:
    """The night goes on after it has woken, and what it slept through is told."""
    windows = [window("13:00", "14:00"), window("15:00", "18:00")]
    async with shack(sweeps=[sweep()], windows=windows) as it:
        await it.wait(100)
        it.clock.suspend(4 * HOUR)
        await it.until(e.ChannelObserved, limit=60)
        (first, *_), (second, since, until) = told(it)
        assert ("asleep", "asleep", 3) == (first, second, since)
        assert 4 + 100 / HOUR <= until <= 4 + 120 / HOUR
        assert 0 < it.of(e.ClockJumped)[0].seconds  # type: ignore[attr-defined]  # jumped


async def test_a_clock_set_forward_in_a_window() -> None:
    """Nothing was measured at the times that it leapt over; the sweep ran on all the while."""
    async with shack(sweeps=[sweep()], windows=[window("11:00", "18:00")]) as it:
        await it.wait(100)
        it.clock.shift(HOUR)
        await it.wait(100)
        ((reason, since, until),) = told(it)
        assert ("clock-set", 1.0) == (reason, round(until - since, 3))
        assert 1 == len(it.of(e.SweepStarted))


async def test_a_clock_set_back_opens_the_window_again_and_loses_nothing() -> None:
    """What it says now is what holds."""
    async with shack(sweeps=[sweep()], windows=[window()]) as it:
        await it.until(e.WindowOpened, limit=3700)
        await it.wait(100)
        it.clock.shift(-HOUR)
        await it.until(e.WindowClosed, limit=60)
        await it.until(e.WindowOpened, limit=3700)
        assert [] == told(it)


async def test_a_clock_from_the_past_runs_no_window() -> None:
    """Not even the one that it would be in; when it is set, the night is joined as it is then."""
    async with shack(
        sweeps=[sweep()],
        windows=[window("11:00", "18:00")],
        wall=0.0,
        alive=NOON - 600,
        newest=NOON - 600,
    ) as it:
        await it.wait(12.5 * HOUR)
        assert [] == it.of(e.WindowOpened, e.SweepStarted, e.WindowMissed)
        assert it.stream.state.clock_doubted
        assert it.stream.state.vfos["main"].window.next_opens is None
        it.clock.set_wall(NOON + 13 * HOUR + 5 * HOUR + 24 * HOUR)
        await it.until(e.ChannelObserved, limit=7 * HOUR + 24 * HOUR)
        assert not it.stream.state.clock_doubted


async def test_what_a_person_has_swept_meanwhile_is_marked() -> None:
    """A person's sweep runs all the same; its observations say that their times are wrong."""
    async with shack(sweeps=[sweep()], wall=0.0) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.wait(60)
        it.clock.set_wall(NOON)
        await it.wait(60)
        seen = [s for s in it.seen if isinstance(s.event, e.ChannelObserved)]
        doubted = [s for s in seen if s.doubted]
        right = [s for s in seen if not s.doubted]
        assert len(doubted) > 20
        assert len(right) > 10
        assert all(s.time >= NOON for s in right)
        # Up to one look into the clock passes before the jump is seen.
        assert all(s.time < 200 or s.time < NOON + 25 for s in doubted)
