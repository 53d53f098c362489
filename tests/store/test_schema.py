"""The journal's version: what is in the file's header, and what is done with other versions."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING, observed, stamped, started, tuned
from vfod import __version__
from vfod import events as e
from vfod.errors import StoreError
from vfod.store import Keeping, Reader, Writer, schema

FIRST = Path(__file__).with_name("version-1.sql")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite3"


@pytest.fixture
def db(path: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        yield db


def from_dump(path: Path, dump: str) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.executescript(dump)


def test_the_header_says_whose_file_it_is(path: Path) -> None:
    """Other programs can tell our journals: SQLite's file format, sqlite.org/fileformat2.html
    section 1.3, has the user version at offset 60 and the application id at 68."""
    writer = Writer(path)
    writer.open(EVENING)
    writer.close()
    head = path.read_bytes()[:100]
    assert b"SQLite format 3\0" == head[:16]
    assert len(schema.migrations()) == int.from_bytes(head[60:64], "big")
    assert b"vfod" == head[68:72]


@pytest.mark.parametrize("version", range(1, len(schema.migrations())))
def test_a_journal_of_every_earlier_version_is_brought_up_to_date(path: Path, version: int) -> None:
    """What it wrote is all there after the newest has opened it, it goes on, and is summed up."""
    from_dump(path, FIRST.with_name(f"version-{version}.sql").read_text())
    writer = Writer(path)
    writer.open(EVENING)
    writer.add(stamped(1, started()))
    writer.add(stamped(2, observed(9_500_000)))
    assert [e.DoorOpened(door="journal", where=str(path))] == writer.commit()
    while writer.tend(EVENING + 86400, Keeping()):
        pass
    writer.close()
    with Reader(path) as reader:
        runs = [(run.id, run.version, run.stopped) for run in reader.runs()]
        assert [(1, "0.1.0", 1_780_000_060.5), (version + 1, "0.1.0", None)] == runs[:1] + runs[-1:]
        first, second, *_ = reader.events()
        assert e.DaemonStarted(version="0.1.0", config_path="/c", config_digest="ab") == first.event
        assert tuned(9_420_000) == second.event
        assert "q-1" == second.cause
        old, older, *doubted, new = reader.observations()
        assert observed(lateness=0.012) == old.observed
        unknown = observed(
            9_425_000, level=None, highest=None, floor=None, active=None, band=None, readings=0
        )
        assert unknown == older.observed
        assert 1_780_000_004.0 == older.time
        assert version - 1 == len(doubted) == sum(one.doubted for one in doubted)
        assert 9_500_000 == new.observed.dial
        sums = [(one.dial, one.visits) for one in reader.channels()]
        assert [(9_420_000, 1), (9_425_000, 1), (9_500_000, 1)] == sums
        assert version - 1 == sum(entry.doubted for entry in reader.events())
    with closing(sqlite3.connect(path)) as db:
        assert [("ok",)] == db.execute("PRAGMA integrity_check").fetchall()
        assert [] == db.execute("PRAGMA foreign_key_check").fetchall()
        assert (len(schema.migrations()),) == db.execute("PRAGMA user_version").fetchone()
        assert (3,) == db.execute("SELECT sum(visits) FROM channel_nights").fetchone()


@pytest.mark.parametrize("version", range(1, len(schema.migrations())))
def test_a_journal_of_an_earlier_version_has_the_tables_of_a_new_one(
    path: Path, version: int
) -> None:
    """However it came about, a journal of this version is laid out in one way."""
    from_dump(path, FIRST.with_name(f"version-{version}.sql").read_text())
    fresh = path.with_name("fresh.sqlite3")
    laid_out = []
    for each in (path, fresh):
        writer = Writer(each)
        writer.open(EVENING)
        writer.close()
        with closing(sqlite3.connect(each)) as db:
            names = "SELECT name FROM sqlite_schema WHERE type IN ('table', 'view') ORDER BY name"
            laid_out.append(
                [
                    (name, db.execute(f"PRAGMA table_info({name})").fetchall())
                    for (name,) in db.execute(names).fetchall()
                ]
            )
    assert laid_out[0] == laid_out[1]


def test_a_step_is_taken_wholly_or_not_at_all(db: sqlite3.Connection, path: Path) -> None:
    """A migration that fails half-way leaves the version before, with everything in it."""
    schema.migrate(db, path, EVENING)
    before = list(db.iterdump())
    broken = "CREATE TABLE more (id INTEGER);\nDROP VIEW observation;\nDROP TABLE nowhere;\n"
    with pytest.raises(sqlite3.OperationalError, match="nowhere"):
        schema.step(db, 9, broken, EVENING)
    assert before == list(db.iterdump())
    newest = len(schema.migrations())
    assert (newest,) == db.execute("PRAGMA user_version").fetchone()
    schema.step(db, newest + 1, "CREATE TABLE more (id INTEGER);\n", EVENING + 1)
    assert (newest + 1,) == db.execute("PRAGMA user_version").fetchone()
    steps = [(number, EVENING, __version__) for number in range(1, newest + 1)]
    assert [*steps, (newest + 1, EVENING + 1, __version__)] == db.execute(
        "SELECT * FROM migrations"
    ).fetchall()


def test_a_script_is_cut_into_statements() -> None:
    """A semicolon in a text or a comment ends nothing; what has no end is refused."""
    assert ["-- a; b\nSELECT\n';';\n", "SELECT 2;\n"] == list(
        schema.statements("-- a; b\nSELECT\n';';\nSELECT 2;\n")
    )
    with pytest.raises(AssertionError, match="no end"):
        list(schema.statements("SELECT 1"))


@pytest.mark.parametrize("opens", [Reader, lambda path: Writer(path).open(EVENING)])
def test_a_newer_journal_is_refused(opens: type[Reader], path: Path) -> None:
    """A journal of a version that nobody knows yet is left as it is, and its writer is named."""
    dump = FIRST.read_text().replace("user_version = 1", "user_version = 999")
    from_dump(path, dump + "INSERT INTO migrations VALUES (999, 1.0, '9.8.7');")
    before = path.read_bytes()
    with pytest.raises(StoreError, match=r"vfod 9\.8\.7 \(journal version 999\).*newer one"):
        opens(path)
    assert before == path.read_bytes()


def test_a_newer_journal_without_the_name_of_its_writer(path: Path) -> None:
    """Even where the table that names the writer is gone, the refusal is a clear line."""
    from_dump(
        path, "PRAGMA application_id = 1986424676; PRAGMA user_version = 7; CREATE TABLE t(x)"
    )
    with pytest.raises(StoreError, match=r"vfod \(unknown\) \(journal version 7\)"):
        Writer(path).open(EVENING)


@pytest.mark.parametrize("opens", [Reader, lambda path: Writer(path).open(EVENING)])
@pytest.mark.parametrize(
    "dump",
    [
        "CREATE TABLE recipes (id INTEGER);",
        "PRAGMA application_id = 7;",
        "PRAGMA user_version = 1;",
    ],
)
def test_another_programs_database_is_left_alone(
    opens: type[Reader], dump: str, path: Path
) -> None:
    """A sound database that is not ours is neither written to nor moved out of the way."""
    from_dump(path, dump)
    before = path.read_bytes()
    with pytest.raises(StoreError, match=r"another program.*name another file"):
        opens(path)
    assert before == path.read_bytes()
