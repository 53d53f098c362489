"""A hand or a trembling encoder: two steps in one direction within a second are a hand."""

import pytest

from tests.run.shack import shack, sweep
from vfod import events as e
from vfod import requests as r
from vfod.run.hand import REPORT_EVERY, HandWatch
from vfod.state import SweepPhase


@pytest.mark.parametrize(
    ("turns", "expected"),
    [
        ([(0.0, 2)], [True]),
        ([(0.0, -3)], [True]),
        ([(0.0, 1)], [False]),
        ([(0.0, 1), (1.0, 1)], [False, True]),
        ([(0.0, 1), (1.01, 1)], [False, False]),
        ([(0.0, 1), (0.2, -1), (0.4, 1)], [False, False, False]),
        ([(0.0, 1), (0.2, -1), (0.4, -1)], [False, False, True]),
        ([(0.0, -1), (0.9, -1), (1.8, -1)], [False, True, True]),
    ],
)
def test_what_is_a_hand(turns: list[tuple[float, int]], expected: list[bool]) -> None:
    """By the number of steps, their direction and the time between them."""
    watch = HandWatch()
    assert expected == [watch.turned(now, steps) for now, steps in turns]


def test_trembles_are_reported_now_and_then() -> None:
    """From three on, at most every ten minutes, with all that came meanwhile; a turn is none."""
    watch = HandWatch()
    told = []
    for number in range(700):
        watch.turned(2.0 * number, 1 if number % 2 else -1)
        told.append(watch.trembles_to_report(2.0 * number))
    assert [3, 300, 300] == [times for times in told if times]
    assert REPORT_EVERY == 600
    watch = HandWatch()
    for number in range(20):
        watch.turned(0.1 * number, 1)
    assert 0 == watch.trembles_to_report(10.0)


async def test_a_button_is_always_a_hand() -> None:
    """One press and the sweep yields; one step alone and it does not."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved)
        it.world.box.turn(1)
        await it.wait(5)
        assert SweepPhase.SWEEPING is it.phase()
        it.world.box.press("band")
        yielded = await it.until(e.SweepYielded, limit=5)
        assert isinstance(yielded, e.SweepYielded)
        assert e.Origin(door=e.Door.BUTTON, who="band") == yielded.to
