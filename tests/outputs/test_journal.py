"""The journal as a subscriber: everything is written in time, and nobody waits for a bad disk."""

import asyncio
import sqlite3
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING, observed, tuned
from vfod import events as e
from vfod.outputs.journal import BATCH, BEAT_LIMIT, PATIENCE, Journal
from vfod.run.stream import Stream
from vfod.sim.jump import SimClock
from vfod.store import Direct, Keeping, Reader, Store, Threaded

OPENED = "door-opened"


class Desk:
    """The real stream and the journal on it."""

    def __init__(self, store: Store) -> None:
        self.clock = SimClock(EVENING)
        self.stream = Stream(self.clock, ["main"])
        self.journal = Journal(store, self.tell, self.clock)
        self.told: list[e.Event] = []

    def tell(self, event: e.Event) -> None:
        self.told.append(event)
        self.stream.emit(event)

    def happen(self, event: e.Event, cause: str | None = None) -> int:
        return self.stream.emit(event, vfo="main", cause=cause).sequence

    async def wait(self, seconds: float) -> None:
        await self.clock.sleep_until(self.clock.monotonic() + seconds)

    @asynccontextmanager
    async def at_work(self) -> AsyncIterator[None]:
        feed = self.stream.subscribe("journal")
        task = asyncio.create_task(self.journal.run(feed))
        yield
        self.stream.close()
        await task


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite3"


@pytest.fixture
async def desk(path: Path) -> AsyncIterator[Desk]:
    store = Direct(path)
    store.open(EVENING)
    yield Desk(store)
    await store.close()


def kinds(path: Path) -> list[str]:
    with Reader(path) as reader:
        return [entry.kind for entry in reader.events()]


def visits(path: Path) -> int:
    with Reader(path) as reader:
        return sum(1 for _ in reader.observations())


async def test_ordinary_rows_are_written_within_a_second(desk: Desk, path: Path) -> None:
    """Not one by one, and never later than the two seconds that a crash may cost."""
    async with desk.at_work():
        await desk.wait(60)
        for _ in range(3):
            desk.happen(observed())
            await desk.wait(BATCH / 4)
        assert 0 == visits(path)
        await desk.wait(BATCH / 3)
        assert 3 == visits(path)
        assert [OPENED] == kinds(path)


async def test_a_persons_change_is_written_at_once(desk: Desk, path: Path) -> None:
    """Without the clock moving on, and what waited goes with it."""
    async with desk.at_work():
        await desk.wait(60)
        before = desk.clock.monotonic()
        desk.happen(observed())
        sequence = desk.happen(tuned(9_420_000))
        await desk.journal.committed(sequence)
        assert before == desk.clock.monotonic()
        assert [OPENED, "dial-tuned"] == kinds(path)
        assert 1 == visits(path)
        await desk.journal.committed(sequence)
    assert 0 == desk.journal.unconfirmed


async def test_whoever_asks_is_told_after_the_commit(desk: Desk, path: Path) -> None:
    """Also for an event that would not hurry by itself, and one that is still on its way."""
    async with desk.at_work():
        await desk.wait(60)
        sequence = desk.happen(tuned(9_420_000, e.Door.WINDOW))
        ahead = asyncio.create_task(desk.journal.committed(sequence + 1))
        await desk.journal.committed(sequence)
        assert [OPENED, "dial-tuned"] == kinds(path)
        assert not ahead.done()
        desk.happen(tuned(9_425_000, e.Door.WINDOW))
        await ahead
        assert [OPENED, "dial-tuned", "dial-tuned"] == kinds(path)
        # A tune by the sweep has no row of its own, and is answered all the same.
        await desk.journal.committed(desk.happen(tuned(9_430_000, e.Door.SWEEP)))
        assert 60.0 == pytest.approx(desk.clock.monotonic())
    assert 0 == desk.journal.unconfirmed


async def test_everything_goes_where_it_belongs(desk: Desk, path: Path) -> None:
    """Each event one row, an observation among the observations, in order, with its envelope."""
    yielded = e.SweepYielded(sweep="s", dial=1, to=e.Origin(door=e.Door.KNOB), until=None)
    async with desk.at_work():
        await desk.wait(60)
        desk.happen(yielded)
        desk.happen(observed())
        desk.happen(tuned(7_200_000), cause="q-9")
    with Reader(path) as reader:
        opened, first, dial = reader.events()
        assert [1, 2, 4] == [opened.sequence, first.sequence, dial.sequence]
        assert (EVENING + 60, yielded) == (first.time, first.event)
        assert ("q-9", "main", tuned(7_200_000)) == (dial.cause, dial.vfo, dial.event)
        assert [observed()] == [seen.observed for seen in reader.observations()]


async def test_a_quiet_hour_writes_nothing(desk: Desk, path: Path) -> None:
    """While nothing happens the file is not touched."""
    async with desk.at_work():
        await desk.wait(60)
        with Reader(path):
            pass
        files = [path, Path(f"{path}-wal")]
        before = [(file.stat().st_mtime_ns, file.stat().st_size) for file in files]
        await desk.wait(3600)
        assert before == [(file.stat().st_mtime_ns, file.stat().st_size) for file in files]


@pytest.fixture
def letter(path: Path) -> Path:
    path.write_text("Dear listener,\n")
    return path


async def test_a_set_aside_file_is_told_in_the_new_one(letter: Path) -> None:
    """The stream hears of it, and so the new journal begins with what became of the old."""
    path = letter
    store = Direct(path)
    store.open(EVENING)
    desk = Desk(store)
    async with desk.at_work():
        await desk.wait(2)
    await store.close()
    assert ["JournalSetAside", "DoorOpened"] == [type(event).__name__ for event in desk.told]
    assert ["journal-set-aside", OPENED] == kinds(path)


# --- a disk that gives trouble -------------------------------------------------------------------


async def _no_time() -> None:
    pass


class Disk:
    """A store in memory whose disk can fail or hang."""

    def __init__(self) -> None:
        self.rows: list[e.Stamped] = []
        self.written: list[e.Stamped] = []
        self.last_commit = 0
        self.dropped = 0
        self.failing = False
        self.attempts = 0
        self.tended: list[tuple[float, Keeping]] = []
        self.takes: Callable[[], Awaitable[None]] = _no_time
        self.turns = asyncio.Event()
        self.turns.set()

    @property
    def queued(self) -> int:
        return len(self.rows)

    def add(self, stamped: e.Stamped) -> None:
        self.rows.append(stamped)

    async def tend(self, now: float, keeping: Keeping) -> bool:
        self.tended.append((now, keeping))
        number = len(self.tended)
        await self.takes()
        return number % 3 != 0

    async def flush(self) -> list[e.Event]:
        rows = list(self.rows)
        self.attempts += 1
        await self.turns.wait()
        if self.failing or not rows:
            return []
        self.written += rows
        self.rows = self.rows[len(rows) :]
        self.last_commit = rows[-1].sequence
        return []

    async def close(self) -> None:
        await self.flush()


async def test_a_disk_that_hangs_keeps_nobody_waiting() -> None:
    """After two seconds the change is answered and counted; when the disk turns, it is written."""
    disk = Disk()
    desk = Desk(disk)
    async with desk.at_work():
        disk.turns.clear()
        before = desk.clock.monotonic()
        sequence = desk.happen(tuned(9_420_000))
        assert not await desk.journal.committed(sequence)
        assert pytest.approx(before + PATIENCE) == desk.clock.monotonic()
        assert 1 == desk.journal.unconfirmed
        for _ in range(5):  # the feed is read on, whatever the disk does
            desk.happen(observed())
        await desk.wait(60)
        assert 6 == disk.queued
        disk.turns.set()
        await desk.wait(1.5 * BATCH)
        assert (0, sequence + 5) == (disk.queued, disk.last_commit)
        assert await desk.journal.committed(sequence)
    assert 1 == desk.journal.unconfirmed


async def test_a_disk_that_hangs_does_not_hold_up_the_end() -> None:
    """The subscriber comes to an end by itself; the rest is for whoever closes the store."""
    disk = Disk()
    desk = Desk(disk)
    async with desk.at_work():
        await desk.wait(10)
        disk.turns.clear()
        desk.happen(tuned(9_420_000))
        await desk.wait(10)
    assert 20 + PATIENCE == pytest.approx(desk.clock.monotonic())
    disk.turns.set()
    await disk.close()
    assert 1 == len(disk.written)


async def test_a_full_disk_is_tried_again_and_again() -> None:
    """A refusal is answered at once and counted; an attempt a second, until it works again."""
    disk = Disk()
    desk = Desk(disk)
    async with desk.at_work():
        disk.failing = True
        before = desk.clock.monotonic()
        await desk.journal.committed(desk.happen(tuned(9_420_000)))
        assert (before, 1) == (desk.clock.monotonic(), desk.journal.unconfirmed)
        attempts = disk.attempts
        await desk.wait(100.5 * BATCH)
        assert 100 == disk.attempts - attempts
        disk.failing = False
        await desk.wait(BATCH)
        assert 1 == disk.last_commit
        attempts = disk.attempts
        await desk.wait(100)
        assert attempts == disk.attempts


async def test_signs_of_life() -> None:
    """With nothing to write, with much, and with a disk that refuses: never older than ten seconds.

    Only a disk that does not answer ends them, and they go on with it.
    """
    disk = Disk()
    desk = Desk(disk)

    async def oldest(seconds: int, happening: bool) -> float:
        ages = []
        for _ in range(seconds * 2):
            if happening:
                desk.happen(observed())
            await desk.wait(0.5)
            ages.append(desk.clock.monotonic() - desk.journal.last_beat)
        return max(ages)

    async with desk.at_work():
        assert await oldest(3600, happening=False) <= BEAT_LIMIT
        assert await oldest(60, happening=True) <= BATCH
        disk.failing = True
        assert await oldest(60, happening=True) <= BATCH
        disk.failing = False
        disk.turns.clear()
        assert pytest.approx(60, abs=2) == await oldest(60, happening=True)
        disk.turns.set()
        await desk.wait(BATCH)
        assert await oldest(60, happening=False) <= BEAT_LIMIT


async def test_a_journal_that_broke_shows_no_life() -> None:
    """Whatever ended the reading of the stream ends the signs too."""

    class Broken(Disk):
        def add(self, stamped: e.Stamped) -> None:
            raise RuntimeError("a defect")

    desk = Desk(Broken())
    feed = desk.stream.subscribe("journal")
    task = asyncio.create_task(desk.journal.run(feed))
    await desk.wait(60)
    desk.happen(observed())
    await desk.wait(60)
    assert 60 <= desk.clock.monotonic() - desk.journal.last_beat
    assert isinstance(task.exception(), ExceptionGroup)


async def test_who_gives_up_waiting_leaves_nothing_behind() -> None:
    """A cancelled caller is forgotten, and the journal goes on."""
    disk = Disk()
    desk = Desk(disk)
    async with desk.at_work():
        disk.turns.clear()
        waiting = asyncio.create_task(desk.journal.committed(desk.happen(tuned(9_420_000))))
        await desk.wait(0.1)
        waiting.cancel()
        await asyncio.wait([waiting])
        assert waiting.cancelled()
        disk.turns.set()
        await desk.wait(BATCH)
        assert 1 == disk.last_commit


@pytest.mark.real_time
@pytest.mark.no_leaks
async def test_on_a_real_disk_in_a_real_thread(path: Path) -> None:
    """The parts of the daemon together: a locked file, a change that waits, a change that is."""
    store = Threaded(path)
    store.open(EVENING)
    desk = Desk(store)
    async with desk.at_work():
        await desk.journal.committed(desk.happen(tuned(9_420_000)))
        assert "dial-tuned" in kinds(path)
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            waiting = asyncio.create_task(desk.journal.committed(desk.happen(tuned(9_425_000))))
            await asyncio.wait([waiting], timeout=0.1)
            assert not waiting.done()
            other.execute("ROLLBACK")
        await waiting
        assert 2 == kinds(path).count("dial-tuned")
    await store.close()
    assert 0 == desk.journal.unconfirmed
