"""The journal as a subscriber: hands everything that happens to the store, and says when to write.

Most of what happens is written once a second in one transaction, which spares a memory card.
A change by a hand or a person is written at once, because whoever asked for it is told so only
afterwards: that is what "acknowledged" means here.
"""

import asyncio
import contextlib
import dataclasses

from vfod.clock import Clock
from vfod.events import ClockDoubted, ClockJumped, ClockTrusted, Stamped
from vfod.state import Feed, Tell
from vfod.store import Keeping, Store, is_promised

#: Longest wait of an ordinary row before it is written, and pause between attempts while the disk
#: gives trouble, seconds: half of the two seconds of observations that a crash may cost.
BATCH = 1.0
#: Longest wait of a person for the disk, seconds: a card that stutters is done by then, and a
#: stuck one must not keep a hand waiting.
PATIENCE = 2.0
#: Longest time between two signs of life while nothing happens, seconds: well below the thirty
#: after which a part counts as stuck.
BEAT_LIMIT = 10.0
#: Pause after a piece of the upkeep, as a multiple of the time that the piece took, and at least,
#: seconds: years are summed up in minutes, and a memory card, which is slow at any of it, has half
#: of its time for what is happening.
REST, LEAST_REST = 1.0, 0.002
#: From one look whether there is upkeep to do to the next, seconds: it comes up once a night.
LOOK_EVERY = 600.0
#: So long the wall clock must have gone undisturbed before anything is called old, seconds: a
#: clock that comes up wrong is set by network time within minutes. Nights that were over before are
#: summed up at once, also by a daemon that never runs for so long.
STEADY = 3600.0


class Journal:
    """Writes what the stream tells; `tell` is how it says that the disk gives trouble."""

    def __init__(
        self, store: Store, tell: Tell, clock: Clock, keeping: Keeping | None = None
    ) -> None:
        #: By which clock nights are counted and how long they are kept; may be exchanged.
        self.keeping = keeping or Keeping()
        #: Changes that were answered without having been written in time.
        self.unconfirmed = 0
        #: Last time it was seen to live (monotonic), for the watchdog: at most BEAT_LIMIT ago, but
        #: while the disk does not answer. One that answers with an error is told otherwise.
        self.last_beat = clock.monotonic()
        self._clock = clock
        self._store = store
        self._tell = tell
        self._newest = 0
        self._steady_since = self.last_beat
        self._waiting: list[tuple[int, asyncio.Future[bool]]] = []
        self._some = asyncio.Event()
        self._urgent = asyncio.Event()

    async def run(self, feed: Feed) -> None:
        """Write until the feed ends; what a slow disk then leaves is for `Store.close`."""
        self._hurry()  # there may be news of how the file was opened
        async with asyncio.TaskGroup() as group:
            writing = group.create_task(self._write_when_due(), name="journal")
            tending = group.create_task(self._tend(), name="journal upkeep")
            async for stamped, _ in feed:
                self._take(stamped)
            writing.cancel()
            tending.cancel()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(PATIENCE):
                await self._flush()

    async def committed(self, sequence: int) -> bool:
        """True once that event is on the disk; False when the disk is in trouble or too slow."""
        if self._store.last_commit >= sequence:
            return True
        waiting = sequence, asyncio.get_running_loop().create_future()
        self._waiting.append(waiting)
        self._hurry()
        written = False
        try:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(PATIENCE):
                    written = await waiting[1]
        finally:
            self._waiting.remove(waiting)
            self.unconfirmed += not written
        return written

    def _take(self, stamped: Stamped) -> None:
        self._store.add(stamped)
        self._newest = stamped.sequence
        if isinstance(stamped.event, ClockDoubted | ClockJumped | ClockTrusted):
            self._steady_since = self._clock.monotonic()
        self._some.set()
        if is_promised(stamped) or any(n <= stamped.sequence for n, _ in self._waiting):
            self._hurry()

    def _hurry(self) -> None:
        self._some.set()
        self._urgent.set()

    async def _write_when_due(self) -> None:
        while True:
            await self._wait_for_some()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(BATCH):
                    await self._urgent.wait()
            self._some.clear()
            self._urgent.clear()
            await self._flush()
            if self._store.queued:
                self._some.set()

    async def _tend(self) -> None:
        while True:
            began = self._clock.monotonic()
            steady = began - self._steady_since >= STEADY
            keeping = dataclasses.replace(self.keeping, steady=steady)
            more = await self._store.tend(self._clock.wall(), keeping)
            took = self._clock.monotonic() - began
            pause = max(REST * took, LEAST_REST) if more else LOOK_EVERY
            await self._clock.sleep_until(self._clock.monotonic() + pause)

    async def _wait_for_some(self) -> None:
        while True:
            self.last_beat = self._clock.monotonic()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(BEAT_LIMIT):
                    await self._some.wait()
                    return

    async def _flush(self) -> None:
        arrived = self._newest
        for event in await self._store.flush():
            self._tell(event)
        for sequence, written in self._waiting:
            if not written.done() and sequence <= arrived:
                written.set_result(self._store.last_commit >= sequence)
