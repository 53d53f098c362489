"""Where a part hangs that lives by itself, and that a new configuration may exchange."""

import asyncio
from collections.abc import Callable
from typing import Generic, Protocol, TypeVar


class Works(Protocol):
    """A part: it works until it is cancelled."""

    async def run(self) -> None:
        """Work."""
        ...


_Part = TypeVar("_Part", bound=Works)


class Hook(Generic[_Part]):
    """A place for one part; `emptied` is called once nothing hangs there any more."""

    def __init__(
        self, name: str, part: _Part | None, emptied: Callable[[], object] = lambda: None
    ) -> None:
        self.part: _Part | None = part
        self._name = name
        self._emptied = emptied
        self._changed = asyncio.Event()

    def hang(self, part: _Part | None) -> None:
        """Put another part there, once the one before has ended; None leaves it empty."""
        self.part = part
        self._changed.set()

    async def run(self) -> None:
        """Let what hangs here work, until cancelled."""
        while True:
            self._changed.clear()
            await self._until_changed()
            if self.part is None:
                self._emptied()

    async def _until_changed(self) -> None:
        if self.part is None:
            await self._changed.wait()
            return
        working = asyncio.create_task(self.part.run(), name=self._name)
        changed = asyncio.create_task(self._changed.wait(), name=f"{self._name} changed")
        try:
            await asyncio.wait({working, changed}, return_when=asyncio.FIRST_COMPLETED)
            if working.done() and not changed.done():
                # Such a part rebuilds itself; what comes out here is a defect, and not kept silent.
                working.result()
                await changed
        finally:
            for task in (working, changed):
                task.cancel()
            await asyncio.gather(working, changed, return_exceptions=True)
