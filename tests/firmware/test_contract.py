"""The contract of the box, as the simulated one keeps it, on the C responder.

All of tests/sim/test_contract.py, its hands too; what is different is only what hangs on the line.
"""

from collections.abc import AsyncIterator, Callable
from typing import Any, cast

import pytest

from tests.firmware.build import ABILITIES
from tests.firmware.cboxport import FirmwareBox
from tests.sim import test_contract as contract
from tests.sim.terminal import Rig, Terminal
from vfod.sim.box import SimBox
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import BoxSetup

terminal = contract.terminal
globals().update({name: one for name, one in vars(contract).items() if name.startswith("test_")})


@pytest.fixture
async def rig(request: pytest.FixtureRequest, functions: Callable[..., Any]) -> AsyncIterator[Rig]:
    """A terminal on the responder, which has been on for a while."""
    setup = getattr(request, "param", BoxSetup(settle=0.02))
    able = tuple(one for one in ABILITIES if one in setup.abilities)
    box = cast(SimBox, FirmwareBox(functions(able), setup))
    its_terminal = Terminal()
    await its_terminal.open(MemoryPort(box))
    await its_terminal.pause(1.0)
    yield Rig(terminal=its_terminal, box=box)
    its_terminal.close()
    box.close()


def test_the_contract_is_here() -> None:
    """A contract that was renamed would otherwise pass without a test."""
    assert len([name for name in globals() if name.startswith("test_")]) > 25
