"""The writer core behind its two faces: on the loop, and in a thread of its own."""

import asyncio
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING, observed, stamped, tuned
from vfod.errors import AlreadyRunningError, StoreError
from vfod.events import DoorOpened
from vfod.store import Direct, Reader, Store, Threaded

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite3"


@pytest.mark.parametrize("kind", [Direct, Threaded])
async def test_both_do_the_same(kind: type[Direct] | type[Threaded], path: Path) -> None:
    """Rows are on the disk when `flush` returns, and the rest when `close` does."""
    opened = kind(path)
    opened.open(EVENING)
    store: Store = opened
    assert [DoorOpened(door="journal", where=str(path))] == await store.flush()
    store.add(stamped(1, tuned(9_420_000)))
    store.add(stamped(2, observed()))
    assert (2, 0, 0, False) == (store.queued, store.last_commit, store.dropped, store.failing)
    assert [] == await store.flush()
    assert (0, 2) == (store.queued, store.last_commit)
    store.add(stamped(3, tuned(9_425_000)))
    await store.close()
    with Reader(path) as reader:
        assert [1, 3] == [entry.sequence for entry in reader.events()]
        assert 1 == len(list(reader.observations()))
    again = kind(path)  # the lock is free
    again.open(EVENING)
    await again.close()
    await again.close()


async def test_the_thread_writes_while_the_loop_goes_on(path: Path) -> None:
    """Many flushes at once and rows that come in meanwhile: each is written once."""
    store = Threaded(path)
    store.open(EVENING)

    async def busy(first: int) -> None:
        for number in range(first, first + 50):
            store.add(stamped(number, observed(), time=EVENING + number))
            await store.flush()

    await asyncio.gather(*(busy(n) for n in range(0, 500, 50)))
    await store.close()
    with Reader(path) as reader:
        times = [seen.time for seen in reader.observations()]
    assert [EVENING + n for n in range(500)] == times


async def test_a_refused_start_leaves_no_thread(path: Path) -> None:
    """Where another has the journal, nothing is left over, and closing is harmless."""
    first, second = Threaded(path), Threaded(path)
    first.open(EVENING)
    with pytest.raises(AlreadyRunningError):
        second.open(EVENING)
    await second.close()
    await first.close()


async def test_a_disk_that_hangs_does_not_hold_up_the_end(path: Path) -> None:
    """`close` gives up in time and says what may be lost; the thread ends with the trouble."""
    store = Threaded(path, close_limit=0.05)
    store.open(EVENING)
    await store.flush()
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")  # SQLite waits for it as it does for a disk
        store.add(stamped(1, tuned(9_420_000)))
        with pytest.raises(StoreError, match=r"does not answer: 1 entries may be lost; look"):
            await store.close()
        other.execute("ROLLBACK")
    for thread in threading.enumerate():
        if thread.name == "journal":
            await asyncio.to_thread(thread.join)
    with Reader(path) as reader:
        assert [1] == [entry.sequence for entry in reader.events()]


async def test_who_stops_waiting_does_not_stop_the_writing(path: Path) -> None:
    """A flush that is cancelled leaves the store as good as before."""
    store = Threaded(path)
    store.open(EVENING)
    store.add(stamped(1, tuned(9_420_000)))
    waiting = asyncio.ensure_future(store.flush())
    waiting.cancel()
    await asyncio.wait([waiting])
    await store.flush()
    assert 1 == store.last_commit
    await store.close()
