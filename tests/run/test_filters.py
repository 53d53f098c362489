"""The band filter costs time and relay life: switched as seldom as the plan says, and counted."""

from dataclasses import replace

from tests.run.shack import BANDS, RECEIVER, shack, sweep
from vfod import events as e
from vfod import requests as r
from vfod.plan.sweep import plan_sweep
from vfod.radio.receiver import Receiver

#: Filter 1 below and above, filter 2 between.
FILTERS = Receiver(
    ranges=tuple(
        replace(RECEIVER.ranges[0], low=low, high=high, select=select)
        for low, high, select in (
            (150_000, 7_215_000, 1),
            (7_215_000, 7_230_000, 2),
            (7_230_000, 30_000_000, 1),
        )
    )
)


async def test_a_sweep_switches_as_often_as_its_plan_says() -> None:
    """Three passes: the box, the state and the plan agree, and each filter is on once a pass."""
    plan = plan_sweep(sweep(), FILTERS, BANDS)
    assert 2 == plan.select_changes
    async with shack(sweeps=[sweep()], receiver=FILTERS) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.PassCompleted, limit=60)
        known = it.stream.state.vfos["main"]
        before, told = known.filter_switchings, len(it.of(e.FilterSelected))
        await it.until(e.PassCompleted, times=3, limit=200)
        known = it.stream.state.vfos["main"]
        assert 3 * plan.select_changes == known.filter_switchings - before
        assert 3 * plan.select_changes == len(it.of(e.FilterSelected)) - told
        assert it.world.box.select == known.select
        visited = [ev.dial for ev in it.of(e.ChannelObserved)][:11]  # type: ignore[attr-defined]  # observed
        assert [visit.dial for visit in plan] == visited


async def test_a_filter_found_is_not_one_switched() -> None:
    """What the box has when it is first looked at costs nothing."""
    async with shack(receiver=FILTERS) as it:
        assert it.of(e.FilterSelected)
        assert 0 == it.stream.state.vfos["main"].filter_switchings
        await it.ask(r.Tune(frequency=7_220_000))
        await it.ask(r.Tune(frequency=7_225_000))
        await it.ask(r.Tune(frequency=7_235_000))
        assert 2 == it.stream.state.vfos["main"].filter_switchings
