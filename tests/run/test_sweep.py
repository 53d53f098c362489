"""The sweep as it runs: on its grid, yielding, resuming, surviving what a line does."""

import itertools

import pytest

from tests.run.shack import MQTT, SHELL, shack, sweep
from vfod import events as e
from vfod import requests as r
from vfod.errors import RefusedError
from vfod.plan.sweep import Hold
from vfod.state import SweepPhase

VISIT = 2.3


def observed(seen: list[e.Stamped]) -> list[e.ChannelObserved]:
    return [s.event for s in seen if isinstance(s.event, e.ChannelObserved)]


async def test_a_pass_visits_every_channel_in_order_and_measures_it() -> None:
    """Eleven channels, each with all its readings; the station is the strongest."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.PassCompleted)
        visits = observed(it.seen)
        assert list(range(7_200_000, 7_250_001, 5_000)) == [v.dial for v in visits]
        assert {4} == {v.readings for v in visits}
        assert 7_210_000 == max(visits, key=lambda v: v.level or -999).dial
        assert {"41m"} == {v.band for v in visits}


async def test_levels_are_what_is_on_the_air() -> None:
    """The level observed is the simulated one within what its fading and jitter allow."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.PassCompleted)
        strongest = max(observed(it.seen), key=lambda v: v.level or -999)
        assert "dBm" == strongest.unit
        assert strongest.level == pytest.approx(-60, abs=2)


async def test_the_grid_does_not_drift() -> None:
    """10,000 undisturbed visits end where 10,000 visits end, and none was late."""
    async with shack(sweeps=[sweep(readings=1)]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        began = it.clock.monotonic()
        await it.until(e.ChannelObserved, times=10_000, limit=30_000)
        last_reading = began + 9_999 * VISIT + 0.3 + 1.0
        assert it.clock.monotonic() == pytest.approx(last_reading, abs=0.1)
        assert 0.001 > max(v.lateness for v in observed(it.seen))


async def test_a_hand_makes_the_sweep_yield_and_it_takes_up_again_where_it_left() -> None:
    """Two clicks of the knob: the sweep stands still for the quiet time, then goes on there."""
    async with shack(sweeps=[sweep()], quiet=600) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved, times=3)
        it.world.box.turn(3)
        yielded = await it.until(e.SweepYielded, limit=5)
        assert isinstance(yielded, e.SweepYielded)
        assert e.Door.KNOB is yielded.to.door
        assert SweepPhase.YIELDED is it.phase()
        where = it.dial
        await it.wait(590)
        assert where == it.dial
        before = len(observed(it.seen))
        resumed = await it.until(e.SweepResumed, limit=20)
        assert isinstance(resumed, e.SweepResumed)
        assert yielded.dial == resumed.dial
        assert resumed.lost == pytest.approx(600, abs=1)
        await it.until(e.ChannelObserved)
        assert yielded.dial == observed(it.seen)[before].dial
        dials = [v.dial for v in observed(it.seen)]
        assert dials == list(range(7_200_000, 7_200_000 + 5_000 * len(dials), 5_000))


async def test_lost_time_is_never_caught_up_in_a_burst() -> None:
    """After a yield the visits are as far apart as before."""
    async with shack(sweeps=[sweep()], quiet=60) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved, times=2)
        it.world.box.turn(2)
        await it.until(e.SweepResumed, limit=90)
        await it.until(e.ChannelObserved, times=5)
        times = [s.time for s in it.seen if isinstance(s.event, e.ChannelObserved)][-5:]
        gaps = [b - a for a, b in itertools.pairwise(times)]
        assert gaps == pytest.approx([VISIT] * 4, abs=0.01)


async def test_a_trembling_encoder_does_not_stop_the_night() -> None:
    """Single clicks to and fro are warned of; the sweep goes on and measures its own channels."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        for _ in range(6):
            await it.until(e.ChannelObserved)
            it.world.box.turn(1)
            await it.wait(1.2)
            it.world.box.turn(-1)
        await it.until(e.PassCompleted)
        assert [] == it.of(e.SweepYielded)
        assert it.of(e.EncoderJittered)
        assert list(range(7_200_000, 7_250_001, 5_000)) == [v.dial for v in observed(it.seen)][:11]


async def test_a_nudge_from_the_shell_makes_the_sweep_yield() -> None:
    """A person at the shell counts as much as one at the knob."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved, times=2)
        before = it.dial
        answer = await it.ask(r.Nudge(hertz=-5000))
        assert before is not None
        assert before - 5000 == it.dial
        assert "dial-tuned" == answer["event"]
        assert "7" == answer["cause"]
        yielded = await it.until(e.SweepYielded, limit=1) if not it.of(e.SweepYielded) else None
        assert yielded is None or isinstance(yielded, e.SweepYielded)
        assert SHELL == it.of(e.SweepYielded)[-1].to  # type: ignore[attr-defined]  # a SweepYielded


async def test_stay_and_resume() -> None:
    """`stay` holds the dial as long as said, `resume` ends it at once, on the channel left."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved, times=2)
        stayed = await it.ask(r.Stay())
        assert "sweep-yielded" == stayed["event"]
        await it.wait(3 * 3600)
        assert SweepPhase.YIELDED is it.phase()
        resumed = await it.ask(r.Resume())
        assert "sweep-resumed" == resumed["event"]
        await it.ask(r.Stay(seconds=30))
        await it.wait(29)
        assert SweepPhase.YIELDED is it.phase()
        await it.wait(2)
        assert SweepPhase.SWEEPING is it.phase()


async def test_resume_without_a_yield_is_refused() -> None:
    """There is nothing to resume: said, not ignored."""
    async with shack(sweeps=[sweep()]) as it:
        with pytest.raises(RefusedError, match="no sweep has yielded"):
            await it.ask(r.Resume())
        with pytest.raises(RefusedError, match="no sweep is running"):
            await it.ask(r.Stay())
        with pytest.raises(RefusedError, match="known: evening"):
            await it.ask(r.StartSweep(sweep="morning"))
        with pytest.raises(RefusedError, match="no sweep is running"):
            await it.ask(r.StopSweep())


async def test_skip_leaves_the_channel_at_once() -> None:
    """The channel is left without an observation; the next one begins now."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved, times=2)
        await it.wait(1.0)
        at = it.dial
        await it.ask(r.SkipChannel())
        await it.wait(0.2)
        assert at is not None
        assert at + 5000 == it.dial
        await it.until(e.ChannelObserved)
        assert 7_210_000 not in [v.dial for v in observed(it.seen)]


async def test_unplugged_in_mid_sweep_it_goes_on_at_the_channel_it_left() -> None:
    """The line goes and comes back: a pause, a resume, no channel missed or visited twice."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved, times=3)
        it.port.unplug()
        await it.until(e.SweepPaused, limit=10)
        await it.wait(60)
        it.port.plug()
        await it.until(e.SweepResumed, limit=30)
        await it.until(e.ChannelObserved, times=5)
        dials = [v.dial for v in observed(it.seen)]
        assert dials == list(range(7_200_000, 7_200_000 + 5_000 * len(dials), 5_000))
        assert 1 == len(it.of(e.LinkLost))


async def test_after_a_reset_the_box_is_set_again_as_it_was() -> None:
    """Step, output and dial are what they were; the reset is said."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.Tune(frequency=7_215_000))
        await it.ask(r.SetStep(step=9000))
        await it.ask(r.SwitchOutput(on=True))
        it.world.box.reset()
        await it.until(e.BoxReset, limit=30)
        await it.wait(2)
        reading = await it.tuner.read()
        assert 9000 == reading.step
        assert reading.output
        assert (7_215_000 + 455_000) * 1000 == reading.frequency


async def test_three_resets_in_a_minute_hold_the_output_off() -> None:
    """A box that resets again and again is no longer driven into it, and that is said."""
    async with shack(scenario="box: {output: false}") as it:
        await it.ask(r.SwitchOutput(on=True))
        for _ in range(3):
            it.world.box.reset()
            await it.until(e.BoxReset, limit=30)
            await it.wait(2)
        assert 1 == len(it.of(e.OutputHeldOff))
        reading = await it.tuner.read()
        assert not reading.output
        with pytest.raises(RefusedError, match="held off"):
            await it.ask(r.SwitchOutput(on=True), MQTT)


async def test_hold_stays_on_an_active_channel_within_its_limits() -> None:
    """It stays up to the limit, and after so many holds the channel gets a rest."""
    hold = Hold(limit=30, quiet=3, rest=600, most=3)
    async with shack(sweeps=[sweep(hold=hold)]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.PassCompleted, times=6)
        ended = [ev for ev in it.of(e.HoldEnded) if isinstance(ev, e.HoldEnded)]
        assert 3 == len(ended)
        assert {7_210_000} == {ev.dial for ev in ended}
        assert {"limit"} == {ev.reason for ev in ended}
        assert [ev.seconds for ev in ended] == pytest.approx([30] * 3, abs=0.6)


async def test_what_holds_cost_is_told_with_the_pass() -> None:
    """One hold of 30 s in a pass of 25.3 s: 55.3 s, 30 of them held; the state has both."""
    async with shack(sweeps=[sweep(hold=Hold(limit=30, most=9))]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.HoldBegan, limit=200)
        done = await it.until(e.PassCompleted, limit=200)
        assert isinstance(done, e.PassCompleted)
        assert 30 == pytest.approx(done.held, abs=0.1)
        assert 11 * 2.3 + 30 == pytest.approx(done.seconds, abs=0.4)
        after = await it.until(e.PassCompleted, limit=200)
        assert isinstance(after, e.PassCompleted)
        assert 60 >= after.held
        state = it.stream.state.vfos["main"].sweep
        assert (after.seconds, after.held) == (state.revisit, state.held)
