"""The journal's file: who may write it, and what becomes of a damaged one."""

import os
import random
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING, HOLDS, filled, observed, stamped, started, tuned
from vfod import events as e
from vfod.errors import AlreadyRunningError, StoreError
from vfod.store import Keeping, Reader, Writer

ROOT = Path(__file__).parents[2]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite3"


# --- one writer, many readers --------------------------------------------------------------------


@pytest.mark.no_leaks
def test_a_second_daemon_is_refused_until_the_first_is_gone(path: Path) -> None:
    """The refusal names the file and the process; the lock of a killed process is no lock."""
    words = [sys.executable, "-c", HOLDS, str(path)]
    pipe = subprocess.PIPE
    with subprocess.Popen(words, cwd=ROOT, stdin=pipe, stdout=pipe) as first:
        assert first.stdout is not None
        assert b"open\n" == first.stdout.readline()
        with pytest.raises(AlreadyRunningError) as refused:
            Writer(path).open(EVENING)
        assert f"(process {first.pid})" in str(refused.value)
        assert str(path) in str(refused.value)
        with Reader(path) as reader:
            assert 1 == len(reader.events())
        first.kill()
    second = Writer(path)
    second.open(EVENING)
    with pytest.raises(AlreadyRunningError, match=f"process {os.getpid()}"):
        Writer(path).open(EVENING)
    second.close()
    third = Writer(path)
    third.open(EVENING)
    third.close()


def test_readers_see_each_commit_and_stop_nobody(path: Path) -> None:
    """A reader stays open while the daemon writes, sees what is committed, and nothing before."""
    writer = Writer(path)
    writer.open(EVENING)
    with Reader(path) as reader:
        for number in range(1, 4):
            writer.add(stamped(number, tuned(9_420_000)))
            assert number - 1 == len(reader.events())
            writer.commit()
            assert number == len(reader.events())
        # Half-way through a long answer nothing is held either: the log can be emptied.
        for number in range(5000):
            writer.add(stamped(number, observed()))
        writer.commit()
        answer = reader.observations()
        next(answer)
        with closing(sqlite3.connect(path)) as db:
            assert (0,) == db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[:1]
        assert 4999 == len(list(answer))
    writer.close()


# --- a file that goes away ------------------------------------------------------------------------


def test_a_deleted_journal_is_noticed_and_begun_anew(path: Path) -> None:
    """At the next batch: it is said, a new file has it, and nothing old is left to spoil that."""
    writer = Writer(path)
    writer.open(EVENING)
    writer.add(stamped(1, started()))
    for number in range(2, 50):
        writer.add(stamped(number, observed()))
    writer.commit()
    path.unlink()
    writer.add(stamped(50, tuned(9_420_000)))
    failed, opened = writer.commit()
    assert isinstance(failed, e.DoorFailed)
    assert "deleted" == failed.reason
    assert f"{path} was deleted, moved or exchanged while it was open" in failed.detail
    assert e.DoorOpened(door="journal", where=str(path)) == opened
    assert (50, 0) == (writer.last_commit, writer.queued)
    with Reader(path) as reader:
        assert [50] == [entry.sequence for entry in reader.events()]
        assert [1] == [run.id for run in reader.runs()]
        assert [] == list(reader.observations())
    # The upkeep notices too, and leaves it to the next batch.
    path.unlink()
    assert not writer.tend(EVENING, Keeping())
    writer.add(stamped(51, tuned(9_425_000)))
    assert 2 == len(writer.commit())
    writer.close()
    with closing(sqlite3.connect(path)) as db:
        assert [("ok",)] == db.execute("PRAGMA integrity_check").fetchall()
        assert [(51,)] == db.execute("SELECT sequence FROM events").fetchall()


def test_a_moved_journal_is_whole(path: Path) -> None:
    """What was written before is all in the file that was moved away, the rest in a new one."""
    writer = Writer(path)
    writer.open(EVENING)
    writer.add(stamped(1, started()))
    writer.commit()
    away = path.with_name("away.sqlite3")
    path.rename(away)
    writer.add(stamped(2, tuned(9_420_000)))
    assert 2 == len(writer.commit())
    writer.close()
    for each, sequence in ((away, 1), (path, 2)):
        with closing(sqlite3.connect(each)) as db:
            assert [("ok",)] == db.execute("PRAGMA integrity_check").fetchall()
            assert [(sequence,)] == db.execute("SELECT sequence FROM events").fetchall()


def test_an_exchanged_journal_is_gone_on_with(path: Path) -> None:
    """Another sound journal put in the place of the open one is kept, and written to."""
    other = path.with_name("other.sqlite3")
    filled(other, rows=30)
    writer = Writer(path)
    writer.open(EVENING)
    writer.add(stamped(1, started()))
    writer.commit()
    other.rename(path)
    writer.add(stamped(99, tuned(9_420_000)))
    failed, _ = writer.commit()
    assert isinstance(failed, e.DoorFailed)
    writer.close()
    with Reader(path) as reader:
        assert [1, 99] == [entry.sequence for entry in reader.events()]
        assert 28 == len(list(reader.observations()))


# --- damaged files -------------------------------------------------------------------------------


def garbage(path: Path) -> None:
    path.write_bytes(random.Random(3).randbytes(20_000))


def a_letter(path: Path) -> None:
    path.write_text("Dear listener,\n")


def cut_in_half(path: Path) -> None:
    filled(path)
    os.truncate(path, path.stat().st_size // 2)


def cut_in_the_header(path: Path) -> None:
    filled(path)
    os.truncate(path, 50)


def a_page_short(path: Path) -> None:
    filled(path)
    os.truncate(path, path.stat().st_size - 4096)


def no_header(path: Path) -> None:
    filled(path)
    with path.open("r+b") as file:
        file.write(bytes(100))


def newest_page_gone(path: Path) -> None:
    filled(path)
    with closing(sqlite3.connect(path)) as db:
        (page,) = db.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'observations'"
        ).fetchone()
    with path.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xff" * 4096)


DAMAGES = [
    garbage,
    a_letter,
    cut_in_half,
    cut_in_the_header,
    a_page_short,
    no_header,
    newest_page_gone,
]


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_file_is_set_aside(damage: Callable[[Path], None], path: Path) -> None:
    """It is kept byte for byte under a name with the time, a new one is begun, and it is told."""
    damage(path)
    before = path.read_bytes()
    writer = Writer(path)
    writer.open(EVENING + 0.5)
    writer.add(stamped(1, tuned(9_420_000)))
    aside, opened = writer.commit()
    writer.close()
    kept = path.with_name("journal.set-aside-20261125T200000Z.sqlite3")
    assert isinstance(aside, e.JournalSetAside)
    assert str(kept) == aside.kept_as
    assert aside.reason
    assert e.DoorOpened(door="journal", where=str(path)) == opened
    assert before == kept.read_bytes()
    with Reader(path) as reader:
        assert [1] == [entry.sequence for entry in reader.events()]


@pytest.mark.parametrize("damage", [garbage, a_letter, cut_in_the_header, no_header])
def test_a_reader_says_what_is_wrong_with_a_file(
    damage: Callable[[Path], None], path: Path
) -> None:
    """A file that is no journal is named, and nothing is done to it."""
    damage(path)
    before = path.read_bytes()
    with pytest.raises(StoreError, match=r"journal\.sqlite3 is no journal, or a damaged one"):
        Reader(path)
    assert before == path.read_bytes()


def test_a_reader_that_meets_damage_says_so(path: Path) -> None:
    """Damage that shows only when a page is read is a clear line too."""
    newest_page_gone(path)
    with Reader(path) as reader:
        assert 1 == len(reader.events())
        with pytest.raises(StoreError, match="damaged"):
            list(reader.observations())


def test_nothing_set_aside_is_overwritten(path: Path) -> None:
    """Two damaged files in one second get two names."""
    for text in ("first\n", "second\n", "third\n"):
        path.write_text(text)
        writer = Writer(path)
        writer.open(EVENING)
        writer.close()
    names = ["", "-2", "-3"]
    kept = [path.with_name(f"journal.set-aside-20261125T200000Z{n}.sqlite3") for n in names]
    assert ["first\n", "second\n", "third\n"] == [file.read_text() for file in kept]


def test_an_empty_file_is_a_new_journal(path: Path) -> None:
    """A file of no bytes, as a full disk or a `touch` leaves, is simply filled."""
    path.touch()
    with pytest.raises(StoreError, match="is empty; start the daemon once"):
        Reader(path)
    writer = Writer(path)
    writer.open(EVENING)
    assert [e.DoorOpened(door="journal", where=str(path))] == writer.commit()
    writer.close()
    assert [] == list(path.parent.glob("*set-aside*"))


def test_damage_that_shows_while_the_daemon_runs(path: Path) -> None:
    """What was to be written goes into the new file, as a run of its own."""
    filled(path)
    writer = Writer(path)
    writer.open(EVENING)
    writer.add(stamped(1, started()))
    writer.commit()
    size = path.stat().st_size
    with path.open("r+b") as file:  # all but the pages that every opening reads
        file.seek(3 * 4096)
        file.write(b"\xff" * (size - 3 * 4096))
    old = [stamped(2 + n, observed(), time=EVENING + n / 10) for n in range(30)]
    for row in [*old, stamped(100, tuned(9_420_000))]:
        writer.add(row)
    (aside,) = writer.commit()
    assert isinstance(aside, e.JournalSetAside)
    assert (False, 100, 0) == (writer.failing, writer.last_commit, writer.queued)
    writer.close()
    with Reader(path) as reader:
        assert [100] == [entry.sequence for entry in reader.events()]
        assert 30 == len(list(reader.observations()))
        assert [1] == [run.id for run in reader.runs()]
