"""Two ways to run the writer core behind one small interface.

`Direct` calls it from the loop, for tests on a loop whose clock jumps, to which threads are
invisible. `Threaded` gives it a thread of its own, for the daemon, because a commit on a memory
card may take a second.
"""

import asyncio
import concurrent.futures
import queue
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol, TypeVar

from vfod.errors import StoreError
from vfod.events import Event, Stamped
from vfod.store.reader import Reader
from vfod.store.upkeep import Keeping
from vfod.store.writer import Writer

#: How long `close` waits for the disk, seconds: less than a service manager waits before it kills,
#: more than a slow card needs for all that can be queued.
CLOSE_LIMIT = 10.0

_Answer = TypeVar("_Answer")
_Job = tuple[Callable[[], Any], concurrent.futures.Future[Any]]


class Store(Protocol):
    """What the output needs of the journal's file."""

    @property
    def queued(self) -> int:
        """Rows that wait to be written."""
        ...

    @property
    def dropped(self) -> int:
        """Rows that are lost for ever, because too many waited."""
        ...

    @property
    def last_commit(self) -> int:
        """Every event up to this sequence number is on the disk."""
        ...

    @property
    def failing(self) -> bool:
        """The last attempt to write did not succeed."""
        ...

    def add(self, stamped: Stamped) -> None:
        """Queue an event. Never waits, never fails."""
        ...

    async def flush(self) -> list[Event]:
        """Write all that is queued; returns what there is to tell."""
        ...

    async def tend(self, now: float, keeping: Keeping) -> bool:
        """Do a piece of the upkeep, some milliseconds of work; whether there is more."""
        ...

    async def close(self) -> None:
        """Write all that is queued, then give everything free."""
        ...


class ReadableStore(Store, Protocol):
    """A store that also answers, in order with what is written."""

    async def ask(self, question: Callable[[Reader], _Answer]) -> _Answer:
        """The answer of a reader; raises StoreError where the file cannot be read."""
        ...


class _Core:
    """What both have from the core as it is."""

    def __init__(self, path: Path) -> None:
        self._writer = Writer(path)

    @property
    def queued(self) -> int:
        return self._writer.queued

    @property
    def dropped(self) -> int:
        return self._writer.dropped

    @property
    def last_commit(self) -> int:
        return self._writer.last_commit

    @property
    def failing(self) -> bool:
        return self._writer.failing

    def add(self, stamped: Stamped) -> None:
        self._writer.add(stamped)

    def _answer(self, question: Callable[[Reader], _Answer]) -> _Answer:
        with Reader(self._writer.path) as reader:
            return question(reader)


class Direct(_Core):
    """The writer core on the loop itself."""

    def open(self, now: float) -> None:
        """See Writer."""
        self._writer.open(now)

    async def flush(self) -> list[Event]:
        """See Store."""
        return self._writer.commit()

    async def tend(self, now: float, keeping: Keeping) -> bool:
        """See Store."""
        return self._writer.tend(now, keeping)

    async def ask(self, question: Callable[[Reader], _Answer]) -> _Answer:
        """See ReadableStore."""
        return self._answer(question)

    async def close(self) -> None:
        """See Store."""
        self._writer.close()


class Threaded(_Core):
    """The writer core in a thread of its own."""

    def __init__(self, path: Path, *, close_limit: float = CLOSE_LIMIT) -> None:
        super().__init__(path)
        self._close_limit = close_limit
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        # A daemon thread, so that a disk that hangs cannot keep the process from ending.
        self._thread = threading.Thread(target=self._work, name="journal", daemon=True)

    def open(self, now: float) -> None:
        """See Writer; at the start, before anything waits for the loop."""
        self._writer.open(now)
        self._thread.start()

    async def flush(self) -> list[Event]:
        """See Store; returns after the commit."""
        return await self._ask(self._writer.commit)

    async def tend(self, now: float, keeping: Keeping) -> bool:
        """See Store; after what was queued before."""
        return await self._ask(lambda: self._writer.tend(now, keeping))

    async def ask(self, question: Callable[[Reader], _Answer]) -> _Answer:
        """See ReadableStore; after what was queued before."""
        return await self._ask(lambda: self._answer(question))

    async def close(self) -> None:
        """See Store; StoreError when the disk hangs: the thread then lives on until it answers."""
        if not self._thread.is_alive():
            return
        try:
            async with asyncio.timeout(self._close_limit):
                await self._ask(self._writer.close)
        except TimeoutError:
            raise StoreError(
                f"the disk of the journal {self._writer.path} does not answer:"
                f" {self.queued} entries may be lost",
                remedy="look at the disk",
            ) from None
        finally:
            self._jobs.put(None)
        self._thread.join()

    def _ask(self, what: Callable[[], _Answer]) -> asyncio.Future[_Answer]:
        future: concurrent.futures.Future[_Answer] = concurrent.futures.Future()
        self._jobs.put((what, future))
        return asyncio.wrap_future(future)

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            what, future = job
            if not future.set_running_or_notify_cancel():
                continue
            try:
                future.set_result(what())
            except BaseException as error:
                future.set_exception(error)
