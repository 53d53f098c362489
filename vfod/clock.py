"""What time it is, handed in.

Nothing else in the program asks the machine for the time (a linter rule guards that), so that a
whole night can run in seconds on a loop whose clock jumps, with the same code that runs at night.
"""

import asyncio
import time
from typing import Protocol


class Clock(Protocol):
    """Three readings and one way to wait."""

    def monotonic(self) -> float:
        """Seconds from an arbitrary start, never going back: the event loop's own time."""
        ...

    def wall(self) -> float:
        """Seconds since 1970-01-01 00:00 UTC, as far as the machine knows."""
        ...

    def boottime(self) -> float:
        """Seconds from an arbitrary start, never going back, in which a suspended machine counts.

        It runs ahead of `monotonic` by what the machine slept, and nobody can set it.
        """
        ...

    async def sleep_until(self, deadline: float) -> None:
        """Return at or just after `deadline` (monotonic), never before it."""
        ...


async def wait_until(deadline: float) -> None:
    """Sleep on the running loop until its time has reached `deadline`.

    Timers of some loops fire a fraction of a millisecond early; going round again makes "never
    before" true on all of them.
    """
    loop = asyncio.get_running_loop()
    # The loop's own time is the condition, so there is no event that could be awaited instead.
    while (left := deadline - loop.time()) > 0:  # noqa: ASYNC110 - as said above
        await asyncio.sleep(left)


class SystemClock:
    """The real one: the running loop's time, and the machine's wall clock."""

    def monotonic(self) -> float:
        """See Clock."""
        return asyncio.get_running_loop().time()

    def wall(self) -> float:
        """See Clock."""
        return time.time()

    def boottime(self) -> float:
        """See Clock; on a system without such a clock a suspend looks as if the clock was set."""
        if (number := getattr(time, "CLOCK_BOOTTIME", None)) is None:
            return time.monotonic()
        return time.clock_gettime(number)

    async def sleep_until(self, deadline: float) -> None:
        """See Clock."""
        await wait_until(deadline)
