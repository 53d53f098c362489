"""The writer core: what is written when, what it costs, and what happens when the disk is full."""

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING, full_disk, observed, stamped, started, tuned
from vfod import events as e
from vfod.store import Keeping, Reader, Writer
from vfod.store.file import open_for_writing, reason_of
from vfod.store.tables import Tables
from vfod.store.waiting import AT_ONCE, LIMIT

#: Issue figure: bytes on the disk for an observation, everything included.
MOST_BYTES = 24
#: Bytes of a file on the full disk: the write-ahead log has begun and has no place to go on.
ROOM = 24_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite3"


@pytest.fixture
def writer(path: Path) -> Iterator[Writer]:
    writer = Writer(path)
    writer.open(EVENING)
    writer.commit()
    with closing(writer):
        yield writer


def sequences(path: Path) -> list[int]:
    with Reader(path) as reader:
        return [entry.sequence for entry in reader.events()]


def times(path: Path) -> list[float]:
    with Reader(path) as reader:
        return [seen.time for seen in reader.observations()]


def test_nothing_is_written_before_the_commit_and_everything_after(
    writer: Writer, path: Path
) -> None:
    """`last_commit` rises when the rows are there for others to see, and not before."""
    writer.add(stamped(1, started()))
    writer.add(stamped(2, observed()))
    writer.add(stamped(3, tuned(9_425_000)))
    assert (3, 0, []) == (writer.queued, writer.last_commit, sequences(path))
    assert [] == writer.commit()
    assert (0, 3, [1, 3]) == (writer.queued, writer.last_commit, sequences(path))
    assert [EVENING + 2] == times(path)


def test_what_has_no_row_is_committed_too(writer: Writer, path: Path) -> None:
    """Whoever waits for a tune by the sweep does not wait for ever."""
    writer.add(stamped(1, tuned(9_420_000, e.Door.SWEEP)))
    writer.commit()
    assert (1, []) == (writer.last_commit, sequences(path))


def test_a_quiet_run_writes_nothing(path: Path) -> None:
    """Opening, committing and closing without an event leaves the file as it was, byte for byte."""
    first = Writer(path)
    first.open(EVENING)
    first.add(stamped(1, started()))
    first.close()
    before, touched = path.read_bytes(), path.stat().st_mtime_ns
    second = Writer(path)
    second.open(EVENING + 60)
    second.commit()
    second.close()
    assert (before, touched) == (path.read_bytes(), path.stat().st_mtime_ns)


def test_a_run_is_a_row(path: Path) -> None:
    """Each run has its version and its times; one that was killed has no end."""
    for number in range(3):
        writer = Writer(path)
        writer.open(EVENING)
        begin = EVENING + 100 * number
        # The first run tells of its door before it says what it is.
        writer.add(stamped(1, e.DoorOpened(door="control", where="/run/v"), time=begin))
        writer.commit()
        writer.add(stamped(2, started(f"0.1.{number}"), time=begin + 1))
        if number != 1:
            writer.add(stamped(3, e.DaemonStopped(reason="asked"), time=begin + 50))
        writer.close()
    with Reader(path) as reader:
        runs = [(run.id, run.started, run.stopped, run.version) for run in reader.runs()]
        assert [1, 1, 1, 2, 2, 3, 3, 3] == [entry.run for entry in reader.events()]
    assert [
        (1, EVENING + 1, EVENING + 50, "0.1.0"),
        (2, EVENING + 101, None, "0.1.1"),
        (3, EVENING + 201, EVENING + 250, "0.1.2"),
    ] == runs


def test_a_clock_that_stands_or_goes_back_loses_nothing(writer: Writer, path: Path) -> None:
    """Every observation keeps a row of its own, moved by as many milliseconds as it must be."""
    evening = [EVENING + n for n in range(5)]
    for number, time in enumerate(evening):
        writer.add(stamped(number, observed(), time=time))
    for number in range(3):  # the clock stands
        writer.add(stamped(10 + number, observed(), time=EVENING + 5))
    for number, time in enumerate(evening):  # set back, and the same seconds come again
        writer.add(stamped(20 + number, observed(), time=time))
    writer.commit()
    for number in range(2):  # again after a restart, when nothing is remembered
        writer.add(stamped(30 + number, observed(), time=EVENING))
    writer.commit()
    wanted = [time + late for time in evening for late in (0, 0.001)]
    wanted += [EVENING + 0.002, EVENING + 0.003]
    wanted += [EVENING + 5, EVENING + 5.001, EVENING + 5.002]
    assert pytest.approx(sorted(wanted)) == times(path)


def test_a_clock_that_stands_for_long_costs_no_more(writer: Writer, path: Path) -> None:
    """Thousands of observations at one instant are written in one go (seconds if each looked)."""
    for number in range(LIMIT):
        writer.add(stamped(number, observed(), time=EVENING))
    writer.commit()
    assert pytest.approx([EVENING + n / 1000 for n in range(LIMIT)]) == times(path)


def test_two_vfos_at_the_same_instant(writer: Writer, path: Path) -> None:
    """The key is unique across VFOs, and each row still knows its VFO and its channel."""
    writer.add(stamped(1, observed(9_420_000), time=EVENING, vfo="attic"))
    writer.add(stamped(2, observed(7_200_000), time=EVENING, vfo="shed"))
    writer.commit()
    with Reader(path) as reader:
        seen = [(o.vfo, o.observed.dial, o.time) for o in reader.observations()]
    assert [("attic", 9_420_000, EVENING), ("shed", 7_200_000, EVENING + 0.001)] == seen


def test_a_long_queue_drops_its_oldest_observations(writer: Writer, path: Path) -> None:
    """10,000 observations wait; of more the oldest go and are counted, and no event goes."""
    writer.add(stamped(1, tuned(9_420_000)))
    for number in range(LIMIT + 7):
        writer.add(stamped(2 + number, observed(), time=EVENING + number))
    assert (7, LIMIT + 1) == (writer.dropped, writer.queued)
    writer.commit()
    kept = times(path)
    assert (EVENING + 7, LIMIT, [1]) == (kept[0], len(kept), sequences(path))


@pytest.mark.parametrize(
    ("batch", "level"),
    [
        ([stamped(1, tuned(9_420_000)), stamped(2, observed())], 2),
        ([stamped(1, tuned(9_420_000, e.Door.MQTT)), stamped(2, observed())], 1),
    ],
)
def test_a_persons_change_outlives_a_power_cut(
    path: Path, batch: list[e.Stamped], level: int
) -> None:
    """Its transaction is synced at commit: SQLite's level 2 (FULL), else 1 (NORMAL).

    sqlite.org/pragma.html#pragma_synchronous: in WAL mode a NORMAL commit may roll back after a
    power loss, FULL adds the sync that makes it last.
    """
    db, _ = open_for_writing(path, EVENING)
    Tables(db).write(batch)
    assert ("wal",) == db.execute("PRAGMA journal_mode").fetchone()
    assert (level,) == db.execute("PRAGMA synchronous").fetchone()
    db.close()


def test_an_observation_takes_at_most_24_bytes(path: Path) -> None:
    """200,000 visits of 700 channels, noise and all, the sums of five nights: the whole file."""
    rows, chance = 200_000, random.Random(7)
    writer = Writer(path)
    writer.open(EVENING)
    for number in range(rows):
        event = observed(
            5_900_000 + number % 700 * 5000,
            level=chance.gauss(-100, 12),
            highest=chance.gauss(-90, 15),
            floor=chance.gauss(-115, 4),
            active=chance.random() < 0.1,
            lateness=chance.expovariate(500),
        )
        writer.add(stamped(number, event, time=EVENING + number * 2.3 + chance.random() / 100))
        if writer.queued == AT_ONCE:
            writer.commit()
    writer.commit()
    while writer.tend(EVENING + rows * 2.3 + 86400, Keeping()):
        pass
    writer.close()
    assert [path] == [file for file in path.parent.iterdir() if file.stat().st_size > 100]
    with closing(sqlite3.connect(path)) as db:
        assert (rows,) == db.execute("SELECT count(*) FROM observations").fetchone()
        assert (rows,) == db.execute("SELECT sum(visits) FROM channel_nights").fetchone()
    assert path.stat().st_size / rows <= MOST_BYTES


# --- a disk that gives trouble -------------------------------------------------------------------


def test_a_full_disk_is_survived(writer: Writer, path: Path) -> None:
    """Rows wait while nothing can be written, it is told once, and all are written afterwards."""
    writer.add(stamped(1, started()))
    writer.commit()
    for number in range(2, 1000):
        writer.add(stamped(number, observed(), time=EVENING + number))
    writer.add(stamped(1000, tuned(9_420_000)))
    with full_disk(ROOM):
        (failed,) = writer.commit()
        assert isinstance(failed, e.DoorFailed)
        assert ("journal", "disk-error") == (failed.door, failed.reason)
        assert str(path) in failed.detail
        assert (True, 999, 1) == (writer.failing, writer.queued, writer.last_commit)
        writer.add(stamped(1001, failed))
        assert [] == writer.commit()
    assert [e.DoorOpened(door="journal", where=str(path))] == writer.commit()
    assert (False, 0, 1001, 0) == (
        writer.failing,
        writer.queued,
        writer.last_commit,
        writer.dropped,
    )
    assert [1, 1000, 1001] == sequences(path)
    assert 998 == len(times(path))
    with Reader(path) as reader:
        assert [1] == [run.id for run in reader.runs()]


def test_what_was_lost_to_a_full_disk_is_told(writer: Writer, path: Path) -> None:
    """The oldest of too many go, and once there is room again the journal says how many."""
    with full_disk(ROOM):
        for number in range(LIMIT):
            writer.add(stamped(number, observed(), time=EVENING + number))
        writer.commit()
        for number in range(LIMIT, LIMIT + 5):
            writer.add(stamped(number, observed(), time=EVENING + number))
        writer.commit()
    lost, opened = writer.commit()
    assert isinstance(lost, e.DoorFailed)
    assert ("lost", "5 ") == (lost.reason, lost.detail[4:6])
    assert e.DoorOpened(door="journal", where=str(path)) == opened
    assert (5, LIMIT) == (writer.dropped, len(times(path)))
    # Told once: the next failure counts anew.
    with full_disk(ROOM):
        writer.add(stamped(LIMIT + 5, tuned(9_420_000)))
        assert 1 == len(writer.commit())
    assert [opened] == writer.commit()


def test_a_full_disk_leaves_the_connection_sound(path: Path) -> None:
    """What SQLite calls full rolls back wholly; readers go on, and so does the same connection."""
    db, _ = open_for_writing(path, EVENING)
    (pages,) = db.execute("PRAGMA page_count").fetchone()
    db.execute(f"PRAGMA max_page_count = {pages}")
    tables = Tables(db)
    batch = [stamped(1, started())]
    batch += [stamped(n, observed(n, band=f"own {n}")) for n in range(2, 200)]
    with pytest.raises(sqlite3.OperationalError, match="full"):
        tables.write(batch)
    assert ([], None) == (times(path), tables.run)
    db.execute(f"PRAGMA max_page_count = {pages + 100}")
    tables.write(batch)
    db.close()
    assert (198, [1]) == (len(times(path)), sequences(path))
    with Reader(path) as reader:
        assert [f"own {n}" for n in range(2, 200)] == [c.band for c in reader.channels()]


def test_the_reason_is_a_word(path: Path) -> None:
    """SQLite's own words for a full disk and for a file that may not be written are told apart."""
    db, _ = open_for_writing(path, EVENING)
    (pages,) = db.execute("PRAGMA page_count").fetchone()
    db.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(sqlite3.OperationalError, match="full") as full:
        # More than a migration has left free.
        db.execute("CREATE TABLE more AS SELECT randomblob(100000) AS id")
    db.execute("PRAGMA query_only = TRUE")
    with pytest.raises(sqlite3.OperationalError, match="readonly") as readonly:
        db.execute("CREATE TABLE more (id)")
    db.close()
    assert ("disk-full", "read-only") == (reason_of(full.value), reason_of(readonly.value))
