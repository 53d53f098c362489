"""A greeted link on a line in memory, with everything that came out of it."""

import asyncio
import contextlib
from collections.abc import Awaitable, Callable

import pytest

from tests.device.tiny import MemoryPort, TinyBox
from vfod.clock import SystemClock
from vfod.device.link import Link, Told
from vfod.device.tally import Tally
from vfod.errors import LineError

FIRST_TAG = 0x1000


class Bench:
    """A box, the line to it, a link, and all that came out of it."""

    def __init__(self, box: TinyBox) -> None:
        self.box = box
        self.port = MemoryPort(box)
        self.clock = SystemClock()
        self.tally = Tally(measured=lambda *what: self.measured.append(what))
        self.measured: list[tuple[str, float, str]] = []
        self.told: list[Told] = []
        self.tell: Callable[[Told], None] = self.told.append
        self._link: Link | None = None
        self.watch: asyncio.Task[None] | None = None

    @property
    def link(self) -> Link:
        assert self._link is not None
        return self._link

    async def open(self) -> Link:
        self._link = await Link.open(
            self.port, self.clock, FIRST_TAG, lambda item: self.tell(item), self.tally
        )
        return self._link

    async def opened(self) -> Link:
        """Open, and watch from now on."""
        await self.open()
        self.watch = asyncio.create_task(self.link.run(), name="watch")
        await self.passes(0)
        return self.link

    async def passes(self, seconds: float) -> None:
        """Let time pass."""
        await self.clock.sleep_until(self.clock.monotonic() + seconds)
        for _ in range(5):
            await _one_turn()

    async def end(self) -> LineError:
        """The error with which the link ended."""
        assert self.watch is not None
        with pytest.raises(LineError) as caught:
            await self.watch
        return caught.value

    async def close(self) -> None:
        if self.watch is not None:
            self.watch.cancel()
            with contextlib.suppress(asyncio.CancelledError, LineError):
                await self.watch
        if self._link is not None:
            self._link.close()


async def _one_turn() -> None:
    """Let everything that is ready run once."""
    turn = asyncio.get_running_loop().create_future()
    asyncio.get_running_loop().call_soon(turn.set_result, None)
    await turn


async def refused(question: Awaitable[object], kind: type[Exception]) -> Exception:
    """The error of a question that must fail."""
    with pytest.raises(kind) as caught:
        await question
    return caught.value
