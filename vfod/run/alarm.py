"""Waiting for a time that somebody may cut short."""

import asyncio


class Alarm:
    """Rings when it is poked, or at a time of the running loop."""

    def __init__(self) -> None:
        self._poked = asyncio.Event()

    def poke(self) -> None:
        """Ring now, or at once when next waited for."""
        self._poked.set()

    async def wait(self, deadline: float | None) -> None:
        """Until the deadline (monotonic; None: for ever) or a poke, whatever comes first.

        Whoever waits looks at the clock and at the reason afterwards: a timer may be a trifle
        early, and a poke may concern somebody else.
        """
        handle = (
            asyncio.get_running_loop().call_at(deadline, self._poked.set)
            if deadline is not None
            else None
        )
        try:
            await self._poked.wait()
            self._poked.clear()
        finally:
            if handle is not None:
                handle.cancel()
