"""The contract of the box runs on the simulated one, or on a real one: `--port /dev/ttyACM0`.

    pytest tests/sim/test_contract.py --port /dev/serial/by-id/...
    pytest tests/sim/test_contract.py --port socket://host:port

What only a hand or a reset can bring about is left out on a real box.
"""

import asyncio
from collections.abc import AsyncIterator, Callable, Mapping

import pytest

from tests.sim.terminal import Rig, Terminal
from vfod.device.address import port_from
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import BoxSetup, Scenario
from vfod.sim.world import build

#: 2026-11-25 19:00 UTC.
EVENING = 1_795_633_200.0


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--port", default=None, help="run the contract of the box against the real one here"
    )


def pytest_asyncio_loop_factories(
    config: pytest.Config, item: pytest.Item
) -> Mapping[str, Callable[[], asyncio.AbstractEventLoop]] | None:
    if config.getoption("--port") and "rig" in getattr(item, "fixturenames", ()):
        return {"real": asyncio.SelectorEventLoop}
    return None


@pytest.fixture
async def rig(request: pytest.FixtureRequest) -> AsyncIterator[Rig]:
    """A terminal on a box; a simulated one can be set up by `@pytest.mark.parametrize`."""
    terminal = Terminal()
    name = request.config.getoption("--port")
    if name:
        await terminal.open(port_from(name))
        # As a host begins (docs/protocol.md, 10.1); a board that resets at opening gets its time.
        terminal.send(b"\n")
        await terminal.settle_down()
        yield Rig(terminal=terminal, box=None)
        terminal.close()
        return
    setup = getattr(request, "param", BoxSetup(settle=0.02))
    world = build(Scenario(box=setup), clock=SimClock(wall=EVENING))
    await terminal.open(MemoryPort(world.box))
    # It has been on for a while.
    await terminal.pause(1.0)
    yield Rig(terminal=terminal, box=world.box)
    terminal.close()
    world.box.close()
