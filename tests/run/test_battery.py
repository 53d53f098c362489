"""A low battery ends the sweep and switches the output off, until it is charged or a person asks.

By hand: from 8.2 V at 1.4 V an hour, 7.5 V is reached after half an hour.
"""

from datetime import UTC

import pytest

from tests.run.shack import NOON, SHELL, Shack, shack, sweep
from tests.run.test_keeper import window
from vfod import events as e
from vfod import requests as r
from vfod.run.battery import FINE, BatteryWatch
from vfod.state import show
from vfod.wire.messages import BatteryLow

FALLING = "box: {output: true, battery: {volts: 8.2, fall: 1.4, low: 7.5}}"
#: Below what counts as fine after 6.9 V, and falling no further.
FLAT = "box: {output: true, battery: {volts: 7.0, fall: 0.0001, low: 6.9}}"


def radiates(it: Shack) -> bool:
    return it.world.box.output


async def test_a_low_battery_ends_the_sweep_and_switches_the_output_off() -> None:
    """Half an hour into the window; the window stays open and starts nothing more."""
    async with shack(
        sweeps=[sweep()], windows=[window("11:00", "18:00")], scenario=FALLING, output_on=True
    ) as it:
        await it.until(e.BatteryLow, limit=1900)
        assert it.clock.wall() == pytest.approx(NOON + 1800, abs=1)
        await it.wait(5)
        (ended,) = it.of(e.SweepEnded)
        assert isinstance(ended, e.SweepEnded)
        assert ("battery", e.Door.DAEMON) == (ended.reason, ended.by.door)
        assert not radiates(it)
        assert not it.stream.state.vfos["main"].output
        await it.wait(1800)
        assert 1 == len(it.of(e.SweepStarted))
        assert it.stream.state.vfos["main"].window.name
        assert not radiates(it)
        assert "battery low (" in show.one_line(it.stream.state.vfos["main"], UTC)


async def test_once_it_is_charged_the_window_starts_it_again() -> None:
    """The measured voltage says so; the output comes back as it is wanted."""
    async with shack(
        sweeps=[sweep()], windows=[window("11:00", "18:00")], scenario=FALLING, output_on=True
    ) as it:
        await it.until(e.BatteryLow, limit=1900)
        await it.wait(600)
        it.world.box.charge()
        fine = await it.until(e.BatteryFine, limit=70)
        assert isinstance(fine, e.BatteryFine)
        assert fine.battery == pytest.approx(8.2, abs=0.03)
        await it.until(e.ChannelObserved, limit=30)
        assert radiates(it)
        assert 2 == len(it.of(e.SweepStarted))
        assert "battery" not in show.one_line(it.stream.state.vfos["main"], UTC)


async def test_a_person_may_start_it_on_a_low_battery() -> None:
    """Who asks for it gets it, with the output on, and the box's next complaint does not end it."""
    async with shack(
        sweeps=[sweep()], windows=[window("11:00", "18:00")], scenario=FALLING, output_on=True
    ) as it:
        await it.until(e.BatteryLow, limit=1900)
        await it.wait(60)
        await it.ask(r.StartSweep(sweep="evening"), SHELL)
        await it.until(e.ChannelObserved, limit=10)
        assert radiates(it)
        it.tuner.told(BatteryLow(number=99, millivolts=7200))
        await it.until(e.PassCompleted, limit=60)
        assert 1 == len(it.of(e.SweepEnded))


async def test_a_persons_sweep_is_ended_too() -> None:
    """The cell is worth more than what is heard."""
    async with shack(sweeps=[sweep()], scenario=FALLING, output_on=True) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.SweepEnded, limit=1900)
        await it.wait(1)
        assert not radiates(it)


async def test_the_output_of_a_window_comes_back_only_in_a_window() -> None:
    """`output: windows`: off when low, and charging it after the window leaves it off."""
    async with shack(
        sweeps=[sweep()],
        windows=[window("11:00", "13:00")],
        scenario=FALLING,
        output_in_windows=True,
    ) as it:
        await it.wait(60)
        assert radiates(it)
        await it.until(e.BatteryLow, limit=1900)
        await it.wait(5)
        assert not radiates(it)
        await it.until(e.WindowClosed, limit=3600)
        it.world.box.charge()
        await it.until(e.BatteryFine, limit=70)
        await it.wait(60)
        assert not it.stream.state.vfos["main"].battery_low
        assert not radiates(it)


async def test_an_output_that_no_policy_rules_is_spared_too() -> None:
    """`output: leave`: off when the battery is low, and on again once it is charged."""
    async with shack(sweeps=[sweep()], scenario=FALLING) as it:
        await it.ask(r.SwitchOutput(on=True))
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.SweepEnded, limit=1900)
        await it.wait(60)
        assert not radiates(it)
        switched = it.of(e.OutputSwitched)[-1]
        assert isinstance(switched, e.OutputSwitched)
        assert e.Door.DAEMON is switched.by.door
        it.world.box.charge()
        await it.until(e.BatteryFine, limit=70)
        await it.wait(1)
        assert radiates(it)


@pytest.mark.parametrize("when", ["before", "while low"])
async def test_what_a_person_has_switched_off_is_not_put_back(when: str) -> None:
    """With `output: leave` the daemon gives back only what it took."""
    async with shack(sweeps=[sweep()], scenario=FALLING) as it:
        if when == "before":
            await it.ask(r.SwitchOutput(on=False))
        await it.until(e.BatteryLow, limit=1900)
        await it.wait(1)
        if when == "while low":
            await it.ask(r.SwitchOutput(on=False))
        it.world.box.charge()
        await it.until(e.BatteryFine, limit=70)
        await it.wait(60)
        assert not radiates(it)


@pytest.mark.parametrize("policy", [None, True])
@pytest.mark.parametrize("asked", [r.SwitchOutput(on=True), r.StartSweep(sweep="evening")])
async def test_who_wants_it_on_in_spite_of_it_keeps_it(
    policy: bool | None, asked: r.Request
) -> None:
    """Also when the line is lost and comes back, which sets what the policy says."""
    async with shack(sweeps=[sweep()], scenario=FALLING, output_on=policy) as it:
        await it.until(e.BatteryLow, limit=1900)
        await it.wait(1)
        assert not radiates(it)
        await it.ask(asked)
        assert radiates(it)
        it.port.unplug()
        await it.until(e.LinkLost, limit=10)
        it.port.plug()
        await it.until(e.LinkGreeted, limit=30)
        await it.wait(60)
        assert radiates(it)


async def test_a_box_switched_on_with_a_low_battery_does_not_radiate() -> None:
    """It comes up with its output on, whoever ruled it before; nobody has asked for that."""
    async with shack(sweeps=[sweep()], scenario=FALLING) as it:
        await it.until(e.BatteryLow, limit=1900)
        await it.wait(1)
        it.port.unplug()
        await it.until(e.LinkLost, limit=10)
        it.world.box.output = True
        it.port.plug()
        await it.until(e.LinkGreeted, limit=30)
        await it.wait(1)
        assert not radiates(it)


async def test_low_before_a_restart_is_low_after_it() -> None:
    """The box does not tell it twice; the daemon knows it from its journal."""
    async with shack(
        sweeps=[sweep()],
        windows=[window("11:00", "18:00")],
        scenario=FLAT,
        output_on=True,
        battery_low_at=6.9,
    ) as it:
        await it.wait(600)
        assert [] == it.of(e.SweepStarted)
        assert it.stream.state.vfos["main"].battery_low
        assert not radiates(it)


async def test_charged_while_the_daemon_was_away() -> None:
    """Then it is as if nothing had been."""
    async with shack(
        sweeps=[sweep()],
        windows=[window("11:00", "18:00")],
        scenario=FLAT,
        output_on=True,
        battery_low_at=6.0,
    ) as it:
        await it.until(e.ChannelObserved, limit=30)
        assert [] == it.of(e.BatteryLow, e.BatteryFine)
        assert radiates(it)


def test_resting_is_not_charging() -> None:
    """Some percent above where it was low is what every cell does without a load."""
    watch = BatteryWatch()
    assert watch.measured(3.9, known_low=False) is None
    assert e.BatteryLow(battery=3.5) == watch.told(3.5)
    watch.told(3.4)
    assert watch.measured(FINE * 3.5 - 0.01, known_low=True) is None
    assert watch.measured(None, known_low=True) is None
    assert e.BatteryFine(battery=4.1) == watch.measured(4.1, known_low=True)
    assert watch.measured(3.6, known_low=False) is None
