"""An event loop whose clock jumps, so that a whole night runs in seconds.

Whenever nothing is ready, the loop's time moves at once to the next timer.
Real descriptors are looked at before every jump, and work handed to the loop's executor is waited
for, so both may take part.
A thread that something else started, a child process or a pseudo-terminal answers too late for such
a loop: give those the ordinary one.
"""

import asyncio
import selectors
from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from typing import Any, TypeVar, TypeVarTuple

from vfod.clock import wait_until

#: Real seconds in which something must become ready when no timer is set: far more than a thread
#: or a local socket needs, and less than a test may take.
PATIENCE = 20.0

#: Rounds of the loop that may pass before real descriptors are looked at again.
AT_MOST = 20

_Result = TypeVar("_Result")
_Arguments = TypeVarTuple("_Arguments")


class _JumpSelector(selectors.BaseSelector):
    """A selector that never waits for a timer: it asks `jump` to make the time pass instead."""

    def __init__(self, jump: Callable[[float], None], stuck: Callable[[], str]) -> None:
        self._real = selectors.DefaultSelector()
        self._jump = jump
        self._stuck = stuck
        self.away = 0
        self._passed = 0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        if timeout is not None and timeout <= 0 and self._passed < AT_MOST:
            # Something on the loop itself is ready; the descriptors are looked at before a jump.
            self._passed += 1
            return []
        self._passed = 0
        ready = self._real.select(0)
        if ready or (timeout is not None and timeout <= 0):
            return ready
        if timeout is not None and not self.away:
            self._jump(timeout)
            return []
        ready = self._real.select(PATIENCE)
        if not ready:
            raise RuntimeError(self._stuck())
        return ready

    def register(self, fileobj: Any, events: int, data: Any = None) -> selectors.SelectorKey:
        return self._real.register(fileobj, events, data)

    def unregister(self, fileobj: Any) -> selectors.SelectorKey:
        return self._real.unregister(fileobj)

    def modify(self, fileobj: Any, events: int, data: Any = None) -> selectors.SelectorKey:
        return self._real.modify(fileobj, events, data)

    def get_map(self) -> Mapping[Any, selectors.SelectorKey]:
        return self._real.get_map()

    def close(self) -> None:
        self._real.close()


class JumpLoop(asyncio.SelectorEventLoop):
    """The loop; its time starts at 0 and stands still while there is anything to do."""

    def __init__(self) -> None:
        self._now = 0.0
        self._jumper = _JumpSelector(self._jump, self._stuck)
        super().__init__(self._jumper)

    def time(self) -> float:
        """Seconds that have passed on this loop."""
        return self._now

    def run_in_executor(
        self,
        executor: Executor | None,
        func: Callable[[*_Arguments], _Result],
        *args: *_Arguments,
    ) -> asyncio.Future[_Result]:
        """See asyncio; the time does not jump while such work is under way."""
        future = super().run_in_executor(executor, func, *args)
        self._jumper.away += 1
        future.add_done_callback(self._come_back)
        return future

    async def shutdown_default_executor(self, timeout: float | None = None) -> None:  # noqa: ASYNC109 - asyncio's signature
        """See asyncio; the limit that newer versions set would pass at once, so there is none."""
        await super().shutdown_default_executor()

    def _jump(self, seconds: float) -> None:
        self._now += seconds

    def _come_back(self, _: object) -> None:
        self._jumper.away -= 1

    def _stuck(self) -> str:
        waiting = ", ".join(sorted(task.get_name() for task in asyncio.all_tasks(self)))
        return (
            f"nothing became ready in {PATIENCE:g} s of real time and no timer can help:"
            f" waiting for ever: {waiting}"
        )


class SimClock:
    """A vfod.clock.Clock on the running loop whose wall clock can be set.

    `wall` is the time of the wall clock at this moment, in seconds since 1970-01-01 00:00 UTC.
    """

    def __init__(self, wall: float) -> None:
        self._loop = asyncio.get_running_loop()
        self._slept = 0.0
        self.set_wall(wall)

    def monotonic(self) -> float:
        """See Clock."""
        return self._loop.time()

    def wall(self) -> float:
        """See Clock."""
        return self._at_zero + self._loop.time()

    def boottime(self) -> float:
        """See Clock."""
        return self._loop.time() + self._slept

    async def sleep_until(self, deadline: float) -> None:
        """See Clock."""
        await wait_until(deadline)

    def suspend(self, seconds: float) -> None:
        """The machine slept so long just now: monotonic time stood still, the others went on."""
        self._slept += seconds
        self._at_zero += seconds

    def set_wall(self, wall: float) -> None:
        """Set the wall clock, as a person or a time server does; monotonic time goes on."""
        self._at_zero = wall - self._loop.time()

    def shift(self, seconds: float) -> None:
        """Move the wall clock by so much, back when negative."""
        self._at_zero += seconds
