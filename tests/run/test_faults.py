"""The line as it is in life, in memory: each fault is met in the middle of a sweep.

What is checked of each is in tests/run/faults.py, real lines are in test_real_faults.py, and
`make test` prints the table of all.
"""

from collections.abc import Awaitable, Callable

import pytest

from tests.run.faults import Fault, Recorder, survive
from tests.run.shack import Shack, shack, sweep
from vfod import events as e
from vfod import requests as r

pytestmark = pytest.mark.no_leaks

BANNER = b"boot loader 2.1\r\nmemory ok\r\n\x00\xff\xfe ready"
PROBE = b"AT\r\n+++ATH\r\n"


def do(deed: Callable[[Shack], object]) -> Callable[[Shack], Awaitable[None]]:
    async def done(it: Shack) -> None:
        deed(it)

    return done


def switch(name: str, value: object) -> Callable[[Shack], Awaitable[None]]:
    return do(lambda it: setattr(it.line, name, value))


FAULTS = [
    Fault(name="unplugged for a second", begin=do(lambda it: it.port.unplug()),
          end=do(lambda it: it.port.plug()), lasts=1, within=5, reason="lost"),
    Fault(name="silent but open for a second", begin=switch("silent", True),
          end=switch("silent", False), lasts=1, within=8, reason="silent"),
    Fault(name="unplugged for a minute", begin=do(lambda it: it.port.unplug()),
          end=do(lambda it: it.port.plug()), lasts=60, within=15, reason="lost"),
    Fault(name="reset while a question is open", begin=do(lambda it: it.world.box.reset()),
          within=10, reason="reset"),
    Fault(name="reset with a boot banner", begin=do(lambda it: it.world.box.reset(BANNER)),
          within=10, reason="reset"),
    Fault(name="silent but open for half a minute", begin=switch("silent", True),
          end=switch("silent", False), lasts=30, within=20, reason="silent"),
    Fault(name="accepts no more bytes", begin=switch("stuck", True),
          end=switch("stuck", False), lasts=30, within=20, reason="silent"),
    Fault(name="burst of garbage", begin=do(lambda it: it.line.garble(bytes(range(256)) * 4)),
          within=5),
    Fault(name="boot banner in mid-stream", begin=do(lambda it: it.line.garble(BANNER)),
          within=5),
    Fault(name="a foreign program's probe", begin=do(lambda it: it.line.intrude(PROBE)),
          within=5),
    Fault(name="one byte lost in a hundred, for a minute", begin=switch("loses_one_in", 100),
          end=switch("loses_one_in", 0), lasts=60, within=5),
    Fault(name="one byte doubled in a hundred, for a minute", begin=switch("doubles_one_in", 100),
          end=switch("doubles_one_in", 0), lasts=60, within=5),
    Fault(name="replies later than one timeout, for a minute", begin=switch("late", 0.45),
          end=switch("late", 0.0), lasts=60, within=5),
    Fault(name="replies later than all timeouts, for a minute", begin=switch("late", 1.7),
          end=switch("late", 0.0), lasts=60, within=20, reason="silent"),
]  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
async def test_a_sweep_survives(
    fault: Fault, caplog: pytest.LogCaptureFixture, record_property: Recorder
) -> None:
    """It goes on at the channel it left, by itself."""
    plan = sweep()
    async with shack(sweeps=[plan]) as it:
        await survive(it, plan, fault, caplog, record_property)


@pytest.mark.parametrize("what", ["loses_one_in", "doubles_one_in"])
@pytest.mark.parametrize("seed", range(5))
async def test_a_noisy_minute_is_one_incident_at_most(what: str, seed: int) -> None:
    """Whichever bytes the line takes or doubles."""
    async with shack(sweeps=[sweep()], seed=seed) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        setattr(it.line, what, 100)
        await it.wait(60)
        assert it.supervisor.tally.retries > 100
        assert len(it.of(e.LinkLost)) <= 1
        assert len(it.of(e.ChannelObserved)) > 20
