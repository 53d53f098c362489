"""A fault of the line in the middle of a sweep, and everything it must not do.

Recovered within the stated time, no channel skipped or visited twice, no reply taken for
another's (a level on the wrong channel would show it), one entry of the journal and one count of
the metric for an outage and none without, a limited number of lines in the log, next to nothing of
the processor while the line is down, and nothing left over afterwards.
"""

import asyncio
import contextlib
import resource
import threading
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.loops import turns
from tests.run.shack import Shack
from vfod import events as e
from vfod import requests as r
from vfod.outputs.log import Log
from vfod.outputs.metrics import Metrics
from vfod.plan.sweep import Sweep
from vfod.state import SweepPhase

#: Most of one core that may be used while the line is down, over at least so many seconds: in one
#: second Python's own tidying up would count as much.
CORE, OVER = 0.02, 10.0
#: Most turns of the loop in a second of it: two attempts, and what else is looked after.
TURNS = 30
#: Most lines of the log an outage may cost: it is down, it is up, and perhaps it was reset.
LOG_LINES = 3

Recorder = Callable[[str, object], None]


async def nothing(_: Shack) -> None:
    """The fault has no end of its own."""


@dataclass(frozen=True, kw_only=True)
class Fault:
    """What is done, what ends it after `lasts` seconds, and how soon all must be well then."""

    name: str
    begin: Callable[[Shack], Awaitable[None]]
    end: Callable[[Shack], Awaitable[None]] = nothing
    lasts: float = 0.0
    within: float
    #: Why the link is lost by it, a word of vfod.errors.LineError; "" when it is not.
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Watchers:
    """The doors that are told of an outage."""

    metrics: Metrics
    caplog: pytest.LogCaptureFixture

    def losses(self) -> dict[str, float]:
        """The metric of lost links, by reason."""
        return {
            sample.labels["reason"]: sample.value
            for family in self.metrics.registry.collect()
            for sample in family.samples
            if sample.name == "vfod_link_losses_total"
        }

    def lines(self) -> list[str]:
        """What the log says."""
        return [one.getMessage() for one in self.caplog.records if one.name == "vfod"]


@contextlib.asynccontextmanager
async def watchers(it: Shack, caplog: pytest.LogCaptureFixture) -> AsyncIterator[Watchers]:
    """The real metrics and the real log at the stream of `it`."""
    metrics = Metrics(
        subscribe=lambda: it.stream.following("metrics"),
        snapshot=lambda: it.stream.state,
        tell=lambda event: None,
        clock=it.clock,
        version="0",
    )
    with it.stream.following("log") as feed, caplog.at_level("INFO", "vfod"):
        running = [asyncio.create_task(metrics.run()), asyncio.create_task(Log().run(feed))]
        try:
            yield Watchers(metrics=metrics, caplog=caplog)
        finally:
            for task in running:
                task.cancel()
            await asyncio.gather(*running, return_exceptions=True)


async def survive(
    it: Shack, plan: Sweep, fault: Fault, caplog: pytest.LogCaptureFixture, record: Recorder
) -> None:
    """Meet the fault in the middle of a dwell of the sweep, and check all of the above."""
    async with watchers(it, caplog) as told:
        await it.ask(r.StartSweep(sweep=plan.name))
        await it.until(e.ChannelObserved, times=3)
        # The moment of the second reading.
        await it.wait((plan.settle or 0.0) + 1.5 * plan.dwell / plan.readings)
        before = _belongings()
        await fault.begin(it)
        busy, entries = await _while_down(it, fault)
        recovered = await _recover(it, fault)
        await it.until(e.ChannelObserved, times=14, limit=60)
        assert before == _belongings()

        observed = [ev for ev in it.of(e.ChannelObserved) if isinstance(ev, e.ChannelObserved)]
        _at_the_right_channel(observed)
        lost = [ev.reason for ev in it.of(e.LinkLost) if isinstance(ev, e.LinkLost)]
        outage = [fault.reason] if fault.reason else []
        assert outage == lost
        assert dict.fromkeys(outage, 1.0) == told.losses()
        assert len(told.lines()) <= (LOG_LINES if outage else 0)
        assert entries <= 2, "an outage fills the journal while it lasts"
        missing = sum(one.level is None for one in observed)
        assert missing == 0, "the visit that was under way was not made again"
        record(
            "line fault",
            (
                fault.name,
                f"{recovered:.1f} s",
                f"{fault.within:g} s",
                str(missing),
                str(sum(0 < one.readings < plan.readings for one in observed)),
                f"{busy * 100:.2f} %" if outage and fault.lasts else "-",
                ", ".join(lost) or "-",
                str(len(told.lines())),
            ),
        )


async def _while_down(it: Shack, fault: Fault) -> tuple[float, int]:
    """The part of one core that is used, and the events, once the outage is known."""
    if not fault.reason or not fault.lasts:
        await it.wait(fault.lasts)
        await fault.end(it)
        return 0.0, 0
    began = it.clock.monotonic()
    if it.phase() is not SweepPhase.PAUSED:
        await it.until(e.SweepPaused, limit=60)
    seen, used, since = len(it.seen), _used(), it.clock.monotonic()
    with turns() as counted:
        await it.wait(max(began + fault.lasts - since, fault.lasts / 2))
    lasted = it.clock.monotonic() - since
    busy = (_used() - used) / lasted
    assert busy < CORE or lasted < OVER
    assert counted.count < TURNS * max(lasted, 1.0)
    entries = len(it.seen) - seen
    await fault.end(it)
    return busy, entries


async def _recover(it: Shack, fault: Fault) -> float:
    """Seconds until a channel is observed again."""
    over = it.clock.monotonic()
    if it.phase() is SweepPhase.PAUSED:
        await it.until(e.SweepResumed, limit=fault.within)
    await it.until(e.ChannelObserved, limit=fault.within)
    recovered = it.clock.monotonic() - over
    assert recovered <= fault.within
    return recovered


def _at_the_right_channel(observed: list[e.ChannelObserved]) -> None:
    order = [7_200_000 + 5_000 * (number % 11) for number in range(len(observed))]
    assert order == [one.dial for one in observed]
    for one in observed:
        # The only station is at 7210 kHz.
        assert one.level is None or (one.level > -64) == (one.dial == 7_210_000), one


def _used() -> float:
    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime


def _belongings() -> tuple[int, int, int]:
    """Tasks, threads and descriptors."""
    for thread in threading.enumerate():
        # A serial port is closed by a thread of its own, which may outlive the line by a moment.
        if thread.name.startswith("close "):
            thread.join()
    # One is that of this very listing.
    descriptors = sum(link.is_symlink() for link in Path("/proc/self/fd").iterdir())
    # Those of the loop's executor are the loop's own, and it has as many as it finds busy.
    threads = [one for one in threading.enumerate() if not one.name.startswith("asyncio_")]
    return len(asyncio.all_tasks()), len(threads), descriptors
