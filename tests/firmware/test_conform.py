"""The conformance check passes on the C responder: with a hand, and under the sanitizers."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

import pytest

from tests.conform.rig import failed, hand_on, outcomes, skipped
from tests.firmware.cboxport import FirmwareBox
from tests.firmware.test_live import LiveBox
from vfod.clock import SystemClock
from vfod.device.address import port_from
from vfod.sim.box import SimBox
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import BoxSetup


@pytest.mark.parametrize("settle", [0.0, 0.02])
async def test_in_this_process_with_a_hand(functions: Callable[..., Any], settle: float) -> None:
    """Every point, the hand's and the reset's as well."""
    clock = SimClock(wall=0.0)
    box = cast(SimBox, FirmwareBox(functions(), BoxSetup(settle=settle)))
    found = await outcomes(MemoryPort(box), clock, hand_on(box, clock))
    assert [] == failed(found)
    assert all(note.startswith(("it has the", "its tune")) for note in skipped(found).values())
    box.close()


@pytest.mark.real_time
async def test_under_the_sanitizers(program: Callable[..., Path]) -> None:
    """In a process of its own on a pseudo-terminal; it has nothing to complain of at the end."""
    box = LiveBox(program())
    found = await outcomes(port_from(box.port), SystemClock(), None)
    assert [] == failed(found)
    assert 0 == box.close()
