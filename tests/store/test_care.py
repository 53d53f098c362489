"""Backup, check and repair of the journal's file."""

import os
import random
import sqlite3
import stat
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING, full_disk, observed, stamped, started, tuned
from tests.store.test_file import a_page_short, cut_in_half, garbage, newest_page_gone, no_header
from tests.store.test_file import cut_in_the_header as cut_head
from vfod.errors import AlreadyRunningError, StoreError, UsageError
from vfod.store import Keeping, Reader, Writer
from vfod.store.backup import backup
from vfod.store.check import check
from vfod.store.repair import repair

LATER = EVENING + 2 * 86400


def silent(part: float) -> None:
    assert 0 <= part <= 1


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite3"


def filled(path: Path, rows: int = 10_000, events: int = 300) -> None:
    """Half a day of a sweep, summed up; some hundred pages."""
    writer = Writer(path)
    writer.open(EVENING)
    writer.add(stamped(1, started()))
    for number in range(rows):
        seen = observed(5_000_000 + number % 50 * 5000, active=number % 7 == 0)
        writer.add(stamped(number + 2, seen, time=EVENING + 2 * number))
        if number % 1000 == 0:
            writer.commit()
    for number in range(events):
        writer.add(stamped(rows + number, tuned(9_420_000), time=EVENING + 100 * number))
    writer.commit()
    while writer.tend(LATER, Keeping()):
        pass
    writer.close()


def counts(path: Path) -> dict[str, int]:
    with Reader(path) as reader:
        return {
            "observations": sum(1 for _ in reader.observations()),
            "events": len(reader.events()),
            "runs": len(reader.runs()),
        }


# --- backup --------------------------------------------------------------------------------------


def test_a_backup_is_of_one_moment_while_the_daemon_writes(path: Path) -> None:
    """Rows that go together are in it together; the writer waits for nothing."""
    filled(path, rows=5000)
    writer = Writer(path)
    writer.open(LATER)
    stop = threading.Event()
    written = 0

    def write() -> None:
        nonlocal written
        while not stop.is_set():
            when = LATER + written
            writer.add(stamped(written, observed(9_420_000), time=when))
            writer.add(stamped(written, tuned(9_420_000), time=when))
            writer.commit()
            written += 1

    thread = threading.Thread(target=write)
    thread.start()
    copies = [path.with_name(f"copy-{number}.sqlite3") for number in range(5)]
    for number, copy in enumerate(copies):
        while written <= 5 * number:
            stop.wait(0.001)
        size = backup(path, copy, overwrite=False, progress=silent)
        assert size == copy.stat().st_size
    stop.set()
    thread.join()
    writer.close()
    assert written > 20
    for copy in copies:
        assert [] == check(copy, LATER, silent)
        with Reader(copy) as reader:
            assert len(reader.events(since=LATER)) == len(list(reader.observations(since=LATER)))
    assert {path, path.with_name("journal.sqlite3.lock"), *copies} >= set(path.parent.iterdir())


def test_a_backup_overwrites_nothing_unasked(path: Path) -> None:
    """Not a file of that name, not a folder, not the journal itself."""
    filled(path, rows=100)
    letter = path.with_name("letter")
    letter.write_text("Dear listener")
    with pytest.raises(UsageError, match=r"there is a file .*letter already; name another"):
        backup(path, letter, overwrite=False, progress=silent)
    assert "Dear listener" == letter.read_text()
    assert backup(path, letter, overwrite=True, progress=silent) == letter.stat().st_size
    assert counts(path) == counts(letter)
    with pytest.raises(UsageError, match="is a folder"):
        backup(path, path.parent, overwrite=True, progress=silent)
    with pytest.raises(UsageError, match="is the journal itself"):
        backup(path, path, overwrite=True, progress=silent)
    with pytest.raises(StoreError, match="there is no journal"):
        backup(path.with_name("none"), path.with_name("copy"), overwrite=False, progress=silent)


def test_a_backup_is_whole_or_not_at_all(path: Path) -> None:
    """On a disk that fills up, the copy before stays, and nothing half is left."""
    filled(path)
    copy = path.with_name("copy.sqlite3")
    copy.write_text("the copy before")
    with (
        full_disk(path.stat().st_size // 2),
        pytest.raises(StoreError, match=r"cannot be written: .*; look whether there is room"),
    ):
        backup(path, copy, overwrite=True, progress=silent)
    assert "the copy before" == copy.read_text()
    assert [] == [file for file in path.parent.iterdir() if ".part" in file.name]


def test_a_journal_of_an_older_version_can_be_backed_up(path: Path) -> None:
    """Before the program that brings it up to date is started."""
    with closing(sqlite3.connect(path)) as db:
        db.executescript(Path(__file__).with_name("version-1.sql").read_text())
    copy = path.with_name("copy.sqlite3")
    backup(path, copy, overwrite=False, progress=silent)
    (finding,) = check(copy, LATER, silent)
    assert "older version" in finding.says
    assert not finding.damage


# --- check ---------------------------------------------------------------------------------------


def test_a_sound_journal(path: Path) -> None:
    """Nothing is found, and nothing is written, also while the daemon writes."""
    filled(path, rows=3000)
    before = path.read_bytes()
    assert [] == check(path, LATER, silent)
    assert before == path.read_bytes()
    writer = Writer(path)
    writer.open(LATER)
    writer.add(stamped(9000, observed(), time=LATER))
    writer.commit()
    assert [] == check(path, LATER, silent)
    writer.close()


@pytest.mark.parametrize(
    ("sql", "says"),
    [
        (
            f"UPDATE observations SET key = key + {20 * 365 * 86_400_000} WHERE key % 10000 = 0",
            "observations are from the future, and yet their clock was believed",
        ),
        ("INSERT INTO observations VALUES (5, 1, 0, 0)", "1 observations are from before 2020"),
        ("UPDATE events SET time = 5 WHERE id = 3", "1 events are from the future or from before"),
        ("INSERT INTO observations VALUES (1795636800001, 1, 3, 0)", "1 observations have values"),
        ("UPDATE channels SET dial = -1 WHERE id = 2", "1 channels are on no frequency"),
        ("UPDATE events SET data = 'oh' WHERE id = 3", "1 events cannot be read"),
        ("UPDATE runs SET stopped = 1", "1 runs ended before they began"),
        (
            "UPDATE channel_nights SET visits = visits - 1 WHERE id IN"
            " (SELECT min(id) FROM channel_nights)",
            "1 nights have observations that are not in their sums",
        ),
    ],
)
def test_what_cannot_be_is_told(path: Path, sql: str, says: str) -> None:
    """In words, with a count; the file itself is not called damaged for it."""
    filled(path, rows=3000)
    with closing(sqlite3.connect(path)) as db, db:
        assert db.execute(sql).rowcount
    found = check(path, LATER, silent)
    assert [says] == [says for finding in found if says in finding.says and not finding.damage]
    assert not any(finding.damage for finding in found)


def test_what_belongs_to_nothing_is_told(path: Path) -> None:
    """Observations whose channel is gone are damage."""
    filled(path, rows=3000)
    with closing(sqlite3.connect(path)) as db, db:
        db.execute("DELETE FROM channels WHERE id = 3")
    found = check(path, LATER, silent)
    assert "60 observations are of a channel that is not there" in [one.says for one in found]


def test_damage_is_told(path: Path) -> None:
    """As damage, in SQLite's own words, and the file is left as it is."""
    newest_page_gone(path)
    before = path.read_bytes()
    assert any(finding.damage for finding in check(path, LATER, silent))
    assert before == path.read_bytes()


@pytest.mark.parametrize("damage", [garbage, no_header, cut_head, cut_in_half, a_page_short])
def test_what_is_no_journal_is_told(damage: Callable[[Path], None], path: Path) -> None:
    """A clear line, no traceback."""
    damage(path)
    with pytest.raises(StoreError, match="no journal, or a damaged one"):
        check(path, LATER, silent)


# --- repair --------------------------------------------------------------------------------------


def pages_of(path: Path, table: str) -> list[int]:
    """The numbers of a table's leaves, in the order of its rows."""
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (root,) = db.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = ?", (table,)
        ).fetchone()
    content = path.read_bytes()

    def leaves(page: int) -> list[int]:
        # sqlite.org/fileformat2.html, section 1.6: an interior page of a table is of type 5.
        start = (page - 1) * 4096
        if content[start] != 5:
            return [page]
        cells = int.from_bytes(content[start + 3 : start + 5], "big")
        found = []
        for cell in range(cells):
            at = start + 12 + 2 * cell
            place = start + int.from_bytes(content[at : at + 2], "big")
            found += leaves(int.from_bytes(content[place : place + 4], "big"))
        return [*found, *leaves(int.from_bytes(content[start + 8 : start + 12], "big"))]

    return leaves(root)


def spoil(path: Path, *pages: int) -> None:
    with path.open("r+b") as file:
        for page in pages:
            file.seek((page - 1) * 4096)
            file.write(b"\xff" * 4096)


@pytest.mark.parametrize(
    "places", [(0,), (-1,), (5,), (5, 6, 7), (1, 20, 30), (0, 3, 30, -1)], ids=str
)
def test_only_what_was_in_damaged_pages_is_lost(path: Path, places: tuple[int, ...]) -> None:
    """At the beginning, in the middle and at the end, also between two damaged places."""
    filled(path)
    before = counts(path)
    leaves = pages_of(path, "observations")
    # A leaf of these rows holds at most 4096 / 18 of them.
    spoil(path, *(leaves[place] for place in places))
    done = repair(path, LATER, silent)
    after = counts(path)
    lost = before["observations"] - after["observations"]
    assert 0 < lost <= 230 * len(places)
    assert {**before, "observations": after["observations"]} == after
    (table,) = [table for table in done.tables if table.name == "observations"]
    assert (after["observations"], False) == (table.read, done.whole)
    assert 1 <= len(table.gaps) <= len(places)
    assert [] == check(path, LATER, silent)
    # The night's sums were made while all was there, and know more than is left.
    with Reader(path) as reader:
        summed = sum(one.visits for one in reader.channels(until=EVENING + 16 * 3600))
    assert before["observations"] == summed


def test_a_lost_channel_takes_its_observations(path: Path) -> None:
    """They are counted; what they were of nobody knows any more."""
    filled(path)
    spoil(path, *pages_of(path, "channels"))
    done = repair(path, LATER, silent)
    by_name = {table.name: table for table in done.tables}
    assert (0, 10_000) == (by_name["observations"].read, by_name["observations"].orphans)
    assert 301 == by_name["events"].read == counts(path)["events"]


def test_lost_sums_are_made_anew(path: Path) -> None:
    """From the observations, by the daemon's own upkeep."""
    filled(path)
    with Reader(path) as reader:
        before = reader.channels()
    spoil(path, *pages_of(path, "channel_nights"))
    repair(path, LATER, silent)
    writer = Writer(path)
    writer.open(LATER)
    while writer.tend(LATER, Keeping()):
        pass
    writer.close()
    with Reader(path) as reader:
        assert before == reader.channels()
    assert [] == check(path, LATER, silent)


def test_lost_runs_do_not_take_their_events(path: Path) -> None:
    """Which program wrote when is lost then, what it wrote is not."""
    filled(path, rows=100)
    spoil(path, *pages_of(path, "runs"))
    repair(path, LATER, silent)
    assert {"observations": 100, "events": 301, "runs": 1} == counts(path)
    assert [] == check(path, LATER, silent)


def test_a_file_without_its_head(path: Path) -> None:
    """The first hundred bytes are the same in every journal; all of the rest is read."""
    filled(path)
    before = counts(path)
    with path.open("r+b") as file:
        file.write(bytes(100))
    done = repair(path, LATER, silent)
    assert done.whole
    assert before == counts(path)
    assert [] == check(path, LATER, silent)


def test_half_a_file(path: Path) -> None:
    """What is in the half that is left is read as far as its way there is left."""
    filled(path)
    os.truncate(path, path.stat().st_size // 8 * 6)
    done = repair(path, LATER, silent)
    assert 3000 < counts(path)["observations"] < 10_000
    assert not done.whole


def test_the_damaged_file_is_kept(path: Path) -> None:
    """Byte for byte, under a name with the time; the repaired one is sound and goes on."""
    filled(path)
    spoil(path, pages_of(path, "observations")[3])
    before = path.read_bytes()
    done = repair(path, LATER, silent)
    assert str(path.with_name("journal.set-aside-20261127T200000Z.sqlite3")) == done.kept_as
    assert before == Path(done.kept_as).read_bytes()
    assert stat.S_ISREG(path.stat().st_mode)
    writer = Writer(path)
    writer.open(LATER)
    writer.add(stamped(1, started(), time=LATER))
    assert 1 == len(writer.commit())
    writer.close()
    assert {path.name, f"{path.name}.lock", Path(done.kept_as).name} == {
        file.name for file in path.parent.iterdir()
    }


@pytest.mark.parametrize("damage", [garbage, cut_head])
def test_what_cannot_be_repaired_is_left(damage: Callable[[Path], None], path: Path) -> None:
    """Nothing can be read: said so, and nothing is done to the file."""
    damage(path)
    before = path.read_bytes()
    with pytest.raises(StoreError, match=r"nothing can be read of .*; take a backup"):
        repair(path, LATER, silent)
    assert before == path.read_bytes()
    assert {path.name, f"{path.name}.lock"} == {file.name for file in path.parent.iterdir()}


def test_a_journal_in_use_is_not_repaired(path: Path) -> None:
    """The daemon would go on writing into the file that was set aside."""
    writer = Writer(path)
    writer.open(EVENING)
    with pytest.raises(AlreadyRunningError, match="stop it"):
        repair(path, LATER, silent)
    writer.close()
    with pytest.raises(StoreError, match="there is no journal"):
        repair(path.with_name("none"), LATER, silent)


def test_random_damage(path: Path) -> None:
    """Whatever pages a card loses, the repair ends, and leaves a sound journal or the file."""
    filled(path, rows=5000)
    content = path.read_bytes()
    rng = random.Random(5)
    read = []
    for _ in range(25):
        path.write_bytes(content)
        pages = rng.sample(range(2, len(content) // 4096), rng.randrange(1, 8))
        spoil(path, *pages)
        try:
            done = repair(path, LATER, silent)
        except StoreError as error:
            assert "nothing can be read" in str(error)  # noqa: PT017 - either is right
            continue
        read.append(next(table.read for table in done.tables if table.name == "observations"))
        assert not any(finding.damage for finding in check(path, LATER, silent))
        Path(done.kept_as).unlink()
    assert len(read) > 15
    assert max(read) > 4000
