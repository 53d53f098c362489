"""The conformance check passes on the C responder: with a hand, and under the sanitizers."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

import pytest

from tests.conform.rig import (
    BATTERY,
    by_command,
    failed,
    hand_on,
    outcomes,
    passed_whole,
    skipped,
)
from tests.firmware.cboxport import FirmwareBox
from tests.firmware.test_live import LiveBox
from vfod.sim.box import SimBox
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import BoxSetup


@pytest.mark.parametrize("settle", [0.0, 0.02])
async def test_in_this_process_with_a_hand(functions: Callable[..., Any], settle: float) -> None:
    """Every point, the hand's and the reset's as well."""
    clock = SimClock(wall=0.0)
    box = cast(SimBox, FirmwareBox(functions(), BoxSetup(settle=settle, battery=BATTERY)))
    found = await outcomes(MemoryPort(box), clock, hand_on(box, clock, drains=True))
    assert [] == failed(found)
    # Without a settle time nothing comes in between.
    left_out = ("it has the",) if settle else ("it has the", "its tune", "no turn came while")
    assert all(note.startswith(left_out) for note in skipped(found).values())
    box.close()


@pytest.mark.real_time
async def test_under_the_sanitizers(program: Callable[..., Path]) -> None:
    """By the command, on a pseudo-terminal; the process has nothing to complain of at its end."""
    box = LiveBox(program())
    passed_whole(*await by_command(box.port), least=130)
    assert 0 == box.close()
