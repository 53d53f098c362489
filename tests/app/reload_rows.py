"""What a row of the reload table is tested by; the rows are in the two files beside it."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

from tests.app.reloading import Attended, Swap
from vfod import events as e

Check = Callable[[Attended, dict[str, Any]], Awaitable[None]]

FIRST = "  - {name: first, sweep: evening, from: 18:00, until: 18:40}\n"
CORNER = "corner: {from: 7200k, to: 7230k, raster: 5k}"
SWEEP = "evening: {bands: [corner], dwell: 1s, readings: 4, hold: off}"
HELD = "evening: {bands: [corner], dwell: 1s, readings: 4, hold: {limit: 2s, times: 1, rest: 20s}}"


@dataclass(frozen=True)
class Case:
    """`key` is what the swaps change, `before` what the file is like before that."""

    key: str
    swaps: tuple[Swap, ...]
    check: Check
    before: tuple[Swap, ...] = ()
    #: Whether the running sweep ends by it.
    ends: bool = False


CASES: list[Case] = []


def case(key: str, *swaps: Swap, **more: Any) -> Callable[[Check], Check]:
    def add(check: Check) -> Check:
        CASES.append(Case(key, swaps, check, **more))
        return check

    return add


def channels(*dials: int) -> Check:
    async def check(it: Attended, _: dict[str, Any]) -> None:
        """The pass under way is ended as it was begun; the next one is as described now."""
        went_on = len(it.seen)
        done = await it.until(e.PassCompleted)
        assert 1 == done.number
        old = [s.event for s in it.seen[:went_on] if isinstance(s.event, e.ChannelObserved)]
        assert done.visits == len(old) + len(it.since(e.ChannelObserved))
        assert len(dials) == it.vfo().sweep.channels
        assert list(dials) == [one.dial // 1000 for one in await it.visits()]

    return check


EVERY = tuple(range(7200, 7231, 5))
