"""The conformance check fails on broken boxes, at exactly the points that are about the fault.

Each box is the simulated one with one bad habit: in what it sends, in what it takes in, or within.
"""

import pytest

from tests.conform.broken import BROKEN, Broken
from tests.conform.rig import BATTERY, failed, hand_on, outcomes
from vfod.conform.point import Verdict
from vfod.conform.report import line, plain
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort

EVENING = 1_795_633_200.0


@pytest.mark.parametrize("broken", BROKEN, ids=lambda broken: broken.name)
async def test_it_fails_where_it_is_broken(broken: Broken) -> None:
    """The points listed in broken.py, and no others."""
    clock = SimClock(wall=EVENING)
    box = broken.make(clock)
    hand = hand_on(box, clock, drains=broken.setup.battery == BATTERY)
    found = await outcomes(MemoryPort(box), clock, hand)
    assert sorted(broken.fails) == sorted(failed(found))
    for outcome in found:
        if outcome.verdict is Verdict.FAILED:
            assert outcome.expected
            text, told = line(outcome), plain(outcome)
            assert f"see docs/protocol.md, {outcome.point.paragraph}" in text
            assert outcome.expected == told["expected"]
            # Both lines.
            assert f"sent      {told['sent'] or 'nothing for it'}" in text
            assert f"received  {told['received'] or 'nothing'}" in text
    box.close()


def test_there_are_enough() -> None:
    """At least 20, each of which fails somewhere."""
    assert len(BROKEN) >= 20
    assert all(broken.fails for broken in BROKEN)
