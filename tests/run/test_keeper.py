"""Windows as they are kept: opened, joined late, left, and what becomes of the dial."""

from datetime import time
from zoneinfo import ZoneInfo

from tests.run.shack import NOON, SHELL, shack, sweep
from vfod import events as e
from vfod import requests as r
from vfod.plan.windows import Window
from vfod.run.given import Afterwards, LeftOff

UTC = ZoneInfo("UTC")


def window(start: str = "13:00", end: str = "14:00") -> Window:
    return Window(
        name="first",
        sweep="evening",
        start=time.fromisoformat(start),
        end=time.fromisoformat(end),
        zone=UTC,
    )


async def test_a_window_opens_sweeps_and_closes_and_the_dial_returns() -> None:
    """At the hour the sweep starts, at the hour it ends, and the dial is where it was."""
    async with shack(sweeps=[sweep()], windows=[window()], quiet=60) as it:
        await it.ask(r.Tune(frequency=7_333_000))
        await it.until(e.WindowOpened, limit=3700)
        assert NOON + 3600 <= it.clock.wall() < NOON + 3601
        await it.until(e.WindowClosed, limit=3700)
        assert NOON + 7200 <= it.clock.wall() < NOON + 7201
        await it.wait(1)
        assert 7_333_000 == it.dial
        ended = it.of(e.SweepEnded)
        assert 1 == len(ended)
        assert it.stream.state.vfos["main"].window.name is None


async def test_the_next_window_is_known() -> None:
    """Before it opens the state says which, for which sweep and when."""
    async with shack(sweeps=[sweep()], windows=[window()]) as it:
        known = it.stream.state.vfos["main"].window
        assert ("first", "evening", NOON + 3600) == (
            known.next_name,
            known.next_sweep,
            known.next_opens,
        )


async def test_a_daemon_that_starts_inside_a_window_joins_it() -> None:
    """Late is better than not at all; at the channel where the journal says it stopped."""
    left = LeftOff(sweep="evening", dial=7_225_000, time=NOON - 60, by_person=False)
    async with shack(sweeps=[sweep()], windows=[window("11:00", "14:00")], left_off=left) as it:
        await it.until(e.ChannelObserved, limit=10)
        started = it.of(e.SweepStarted)[0]
        assert isinstance(started, e.SweepStarted)
        assert 7_225_000 == started.dial


async def test_what_was_left_off_in_another_window_is_not_taken_up() -> None:
    """Yesterday's channel means nothing tonight."""
    left = LeftOff(sweep="evening", dial=7_225_000, time=NOON - 80_000, by_person=False)
    async with shack(sweeps=[sweep()], windows=[window("11:00", "14:00")], left_off=left) as it:
        await it.until(e.ChannelObserved, limit=10)
        assert 7_200_000 == it.of(e.SweepStarted)[0].dial  # type: ignore[attr-defined]  # SweepStarted


async def test_a_persons_sweep_goes_on_after_a_restart() -> None:
    """What a person started outside the agenda ends when a person stops it."""
    left = LeftOff(sweep="evening", dial=7_240_000, time=NOON - 5, by_person=True)
    async with shack(sweeps=[sweep()], left_off=left) as it:
        await it.until(e.ChannelObserved, limit=10)
        assert 7_240_000 == it.of(e.ChannelObserved)[0].dial  # type: ignore[attr-defined]  # observed


async def test_a_sweep_a_person_stopped_is_not_started_again_by_the_open_window() -> None:
    """Stopped is stopped, until the next window."""
    async with shack(sweeps=[sweep()], windows=[window("11:00", "14:00")]) as it:
        await it.until(e.ChannelObserved, limit=10)
        await it.ask(r.StopSweep())
        await it.wait(600)
        assert 1 == len(it.of(e.SweepStarted))
        await it.until(e.SweepStarted, limit=24 * 3600)


async def test_a_sweep_a_person_stopped_stays_so_over_a_restart() -> None:
    """The window that was open then does not start it again; the next one does."""
    async with shack(
        sweeps=[sweep()], windows=[window("11:00", "14:00")], stopped_at=NOON - 60
    ) as it:
        await it.wait(600)
        assert [] == it.of(e.SweepStarted)
        await it.until(e.SweepStarted, limit=24 * 3600)


async def test_somebody_who_listens_at_the_end_of_a_window_keeps_the_dial() -> None:
    """The window closes around a listener, and nothing moves under the hand."""
    async with shack(sweeps=[sweep()], windows=[window("11:00", "12:30")], quiet=1200) as it:
        await it.until(e.ChannelObserved, limit=10)
        await it.wait(1200)
        await it.ask(r.Tune(frequency=7_321_000))
        await it.until(e.WindowClosed, limit=3600)
        await it.wait(5)
        assert 7_321_000 == it.dial


async def test_park() -> None:
    """The dial can be parked on a frequency at the end of a window."""
    async with shack(
        sweeps=[sweep()], windows=[window("11:00", "12:30")], afterwards=Afterwards(park=7_400_000)
    ) as it:
        await it.until(e.WindowClosed, limit=3600)
        assert 7_400_000 == it.dial


async def test_leave() -> None:
    """Or be left where the sweep ended."""
    async with shack(
        sweeps=[sweep()],
        windows=[window("11:00", "12:30")],
        afterwards=Afterwards(go_back=False),
    ) as it:
        await it.until(e.WindowClosed, limit=3600)
        assert it.dial in range(7_200_000, 7_250_001, 5_000)


async def test_the_output_follows_the_windows_where_asked() -> None:
    """On while a window is open, off when it closes."""
    async with shack(
        sweeps=[sweep()],
        windows=[window()],
        output_in_windows=True,
        scenario="box: {output: false}",
    ) as it:
        await it.until(e.WindowOpened, limit=3700)
        await it.wait(1)
        assert it.stream.state.vfos["main"].output
        await it.until(e.WindowClosed, limit=3700)
        assert not it.stream.state.vfos["main"].output


async def test_an_output_found_on_between_windows_is_switched_off() -> None:
    """A box that is plugged in with its output on does not radiate until a window opens."""
    async with shack(
        sweeps=[sweep()],
        windows=[window()],
        output_in_windows=True,
        scenario="box: {output: true}",
    ) as it:
        await it.wait(30)
        assert not it.stream.state.vfos["main"].output
        assert not it.world.box.output


async def test_the_wall_clock_jumps_into_a_window() -> None:
    """Network time arrives after boot: the window is joined within the time between two looks."""
    async with shack(sweeps=[sweep()], windows=[window("20:00", "22:00")]) as it:
        await it.wait(100)
        it.clock.shift(8.5 * 3600)
        await it.until(e.WindowOpened, limit=30)
        assert SHELL != it.stream.state.vfos["main"].moved_by


async def test_a_sweep_that_cannot_run_is_said_once() -> None:
    """A window whose channels the box cannot reach does not fill the journal."""
    too_high = sweep(channels=tuple(range(29_000_000, 29_050_001, 5_000)))
    async with shack(
        sweeps=[too_high],
        windows=[window("11:00", "14:00")],
        scenario="box: {high: 20MHz}",
    ) as it:
        await it.wait(1800)
        assert 1 == len(it.of(e.SweepRefused))
