"""Open, greet, watch, lost, back off, and again: one box, one link after another.

A port is opened by name each time, so a board that comes back as another device behind a stable
link is simply found. After a reset of the box the next link is opened at once.
"""

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from random import Random

from vfod.clock import Clock
from vfod.device.link import Link, Told
from vfod.device.port import Port
from vfod.device.tally import Tally
from vfod.device.timing import BACK_OFF_FIRST, BACK_OFF_LONGEST
from vfod.errors import LineError, RefusedError

_TAGS = 0x10000


class Supervisor:
    """Keeps one box reachable. `run` ends only by being cancelled.

    `up` is awaited with each new link before it is watched; a LineError or RefusedError from it
    ends that link. `down` is told every end of a link, and of an outage each reason once. `told`
    gets what the boxes say by themselves, of every link in turn.
    """

    def __init__(
        self,
        port: Port,
        clock: Clock,
        random: Random,
        up: Callable[[Link], Awaitable[None]],
        down: Callable[[LineError], None],
        told: Callable[[Told], None],
        tally: Tally | None = None,
    ) -> None:
        self._port = port
        self._clock = clock
        self._random = random
        self._up = up
        self._down = down
        self._told = told
        self.tally = tally or Tally()
        self._link: Link | None = None
        self._beat = clock.monotonic()
        self._said: str | None = None
        #: Set when the port is another one than before.
        self._moved = asyncio.Event()

    def move_to(self, port: Port) -> None:
        """Leave the line for that port: at once, whether it is open or there is a pause."""
        self._port = port
        self._moved.set()
        if self._link is not None:
            self._link.close()

    @property
    def last_beat(self) -> float:
        """Monotonic time of the last sign of life, at most timing.BEAT_LIMIT old when healthy.

        It tells that this program works, not that the box does.
        """
        return max(self._beat, self._link.last_beat) if self._link else self._beat

    async def run(self) -> None:
        """Keep at it until cancelled."""
        failures = 0
        while True:
            self._beat = began = self._clock.monotonic()
            self._moved.clear()
            try:
                await self._one_link()
            except LineError as error:
                greeted = self._link is not None
                lived = self._clock.monotonic() - began
                self._lost(error)
                failures = 0 if greeted or self._moved.is_set() else failures + 1
                # A box that resets as soon as it is greeted must not keep this machine busy.
                if error.reason == "reset" and lived >= BACK_OFF_FIRST:
                    continue
            self._beat = self._clock.monotonic()
            # A clock's monotonic time is the loop's.
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout_at(self._beat + self._pause(failures)):
                    await self._moved.wait()

    async def _one_link(self) -> None:
        """Open, greet and watch a link; raises LineError at its end."""
        self._link = None
        link = await Link.open(
            self._port, self._clock, self._random.randrange(_TAGS), self._told, self.tally
        )
        self._link = link
        self._said = None
        try:
            if self._moved.is_set():
                link.close()
            await self._up(link)
            await link.run()
        except RefusedError as error:
            raise LineError(f"{self._port.name}: {error}", reason="refused") from error
        finally:
            link.close()

    def _lost(self, error: LineError) -> None:
        self._link = None
        error.port = error.port or self._port.name
        self.tally.losses[error.reason] += 1
        if error.reason != self._said:
            self._said = error.reason
            self._down(error)

    def _pause(self, failures: int) -> float:
        """Longer from failure to failure, and never the same for two daemons."""
        # After some hours of failures the power itself would be too large for a float.
        longest = min(BACK_OFF_FIRST * 2.0 ** min(failures, 30), BACK_OFF_LONGEST)
        return self._random.uniform(BACK_OFF_FIRST, longest)
