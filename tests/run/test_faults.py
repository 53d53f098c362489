"""The line as it is in life: each fault is met in the middle of a sweep.

For each: recovered within the stated time, no channel skipped or visited twice, no reply taken
for another's (a level on the wrong channel would show it), one entry for an outage.
`make test` prints the table.
"""

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from tests.run.shack import Shack, shack, sweep
from vfod import events as e
from vfod import requests as r
from vfod.state import SweepPhase

BANNER = b"boot loader 2.1\r\nmemory ok\r\n\x00\xff\xfe ready"
PROBE = b"AT\r\n+++ATH\r\n"


def nothing(_: Shack) -> None:
    """The fault has no end of its own."""


def switch(name: str, value: object) -> Callable[[Shack], None]:
    return lambda it: setattr(it.line, name, value)


@dataclass(frozen=True, kw_only=True)
class Fault:
    """What is done, what ends it after `lasts` seconds, and how soon all must be well then."""

    name: str
    begin: Callable[[Shack], None]
    end: Callable[[Shack], None] = nothing
    lasts: float = 0.0
    within: float
    #: Whether the link is lost by it.
    outage: bool


FAULTS = [
    Fault(name="unplugged for a minute", begin=lambda it: it.port.unplug(),
          end=lambda it: it.port.plug(), lasts=60, within=15, outage=True),
    Fault(name="reset while a question is open", begin=lambda it: it.world.box.reset(),
          within=10, outage=True),
    Fault(name="reset with a boot banner", begin=lambda it: it.world.box.reset(BANNER),
          within=10, outage=True),
    Fault(name="silent but open for half a minute", begin=switch("silent", True),
          end=switch("silent", False), lasts=30, within=20, outage=True),
    Fault(name="accepts no more bytes", begin=switch("stuck", True),
          end=switch("stuck", False), lasts=30, within=20, outage=True),
    Fault(name="burst of garbage", begin=lambda it: it.line.garble(bytes(range(256)) * 4),
          within=5, outage=False),
    Fault(name="boot banner in mid-stream", begin=lambda it: it.line.garble(BANNER),
          within=5, outage=False),
    Fault(name="a foreign program's probe", begin=lambda it: it.line.intrude(PROBE),
          within=5, outage=False),
    Fault(name="one byte lost in a hundred, for a minute", begin=switch("loses_one_in", 100),
          end=switch("loses_one_in", 0), lasts=60, within=15, outage=False),
    Fault(name="one byte doubled in a hundred, for a minute", begin=switch("doubles_one_in", 100),
          end=switch("doubles_one_in", 0), lasts=60, within=15, outage=False),
]  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
async def test_a_sweep_survives(
    fault: Fault, record_property: Callable[[str, object], None]
) -> None:
    """It goes on at the channel it left, by itself."""
    async with shack(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.until(e.ChannelObserved, times=3)
        # In the middle of a dwell, with a reading on its way.
        await it.wait(1.05)
        fault.begin(it)
        await it.wait(fault.lasts)
        fault.end(it)
        over = it.clock.monotonic()
        if it.phase() is SweepPhase.PAUSED:
            await it.until(e.SweepResumed, limit=fault.within)
        whole = await it.until(e.ChannelObserved, limit=fault.within)
        recovered = it.clock.monotonic() - over
        assert isinstance(whole, e.ChannelObserved)
        await it.until(e.ChannelObserved, times=14, limit=60)

        observed = [ev for ev in it.of(e.ChannelObserved) if isinstance(ev, e.ChannelObserved)]
        order = [7_200_000 + 5_000 * (number % 11) for number in range(len(observed))]
        assert order == [one.dial for one in observed]
        for one in observed:
            assert one.level is None or (one.level > -64) == (one.dial == 7_210_000), one
        lost = [ev for ev in it.of(e.LinkLost) if isinstance(ev, e.LinkLost)]
        assert fault.outage == len(lost)
        short = sum(one.readings < 4 for one in observed)
        record_property(
            "line fault",
            f"{fault.name:<46} recovered in {recovered:5.1f} s (at most {fault.within:.0f}),"
            f" visits short of readings {short}",
        )
