"""Output and speaker: what each policy of the configuration does, and what none of them may do."""

import pytest

from tests.run.shack import Shack, shack, sweep
from tests.run.test_keeper import window
from vfod import events as e
from vfod import requests as r

ON, OFF = "box: {output: true}", "box: {output: false}"


def muted(it: Shack) -> bool:
    return it.world.box.muted


async def test_the_speaker_is_muted_while_it_sweeps_and_not_while_somebody_listens() -> None:
    """Released when the sweep yields, muted when it goes on, released when it ends."""
    async with shack(sweeps=[sweep()], quiet=60) as it:
        assert not muted(it)
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved)
        assert muted(it)
        it.world.box.turn(2)
        await it.until(e.SweepYielded, limit=5)
        await it.wait(1)
        assert not muted(it)
        await it.until(e.SweepResumed, limit=70)
        await it.wait(1)
        assert muted(it)
        await it.ask(r.StopSweep())
        await it.wait(1)
        assert not muted(it)


async def test_a_speaker_that_is_left_alone() -> None:
    """`speaker: leave`: what the listener chose stays, whatever the sweep does."""
    async with shack(sweeps=[sweep()], mute_in_sweeps=False, quiet=30) as it:
        for chosen in (False, True):
            await it.ask(r.MuteSpeaker(muted=chosen))
            await it.ask(r.StartSweep(sweep="evening"))
            await it.until(e.ChannelObserved, times=2, limit=30)
            assert chosen is muted(it)
            await it.ask(r.StopSweep())
            await it.wait(1)
            assert chosen is muted(it)


async def test_a_box_without_a_speaker_sweeps_all_the_same() -> None:
    """What it cannot do is not asked of it."""
    plain = "box: {output: true, abilities: [knob, level]}"
    async with shack(sweeps=[sweep()], scenario=plain, output_in_windows=True) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.PassCompleted, limit=60)
        assert [] == it.of(e.SpeakerMuted, e.OutputSwitched)


@pytest.mark.parametrize(
    ("scenario", "in_windows", "at_the_end"), [(ON, True, False), (ON, False, True)]
)
async def test_the_output_when_the_daemon_stops(
    scenario: str, in_windows: bool, at_the_end: bool
) -> None:
    """`output: windows` switches it off on the way out; `on` leaves it on."""
    async with shack(
        sweeps=[sweep()],
        windows=[window("11:00", "14:00")],
        scenario=scenario,
        output_in_windows=in_windows,
        output_on=None if in_windows else True,
    ) as it:
        await it.until(e.ChannelObserved, limit=10)
        assert it.world.box.output
        it.running[1].cancel()
        await it.until(e.SweepEnded, limit=1)
        await it.wait(1)
        assert at_the_end is it.world.box.output


async def test_the_output_after_a_person_has_switched_it_off() -> None:
    """`output: on` switches it on at the greeting; a person's word holds over a lost line."""
    async with shack(scenario=OFF, output_on=True) as it:
        assert it.world.box.output
        await it.ask(r.SwitchOutput(on=False))
        it.port.unplug()
        await it.until(e.LinkLost, limit=10)
        it.port.plug()
        await it.until(e.LinkGreeted, limit=30)
        await it.wait(1)
        assert [False] == [it.world.box.output]
