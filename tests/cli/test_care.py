"""`vfod journal backup`, `check` and `repair`, as a person uses them."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.test_care import filled, pages_of, spoil
from vfod.__main__ import main


@pytest.fixture
def journal(config: Path) -> Path:
    path = config.parent / "journal.sqlite"
    filled(path, rows=2000, events=5)
    return path


def said(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    assert code == main(["journal", *words])
    told = capsys.readouterr()
    return told.out + told.err


def test_backup_and_check(
    journal: Path, config: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The copy is written, refused a second time, overwritten when asked, and found sound."""
    copy = tmp_path / "copy.sqlite"
    words = ("backup", str(copy), "--journal", str(journal))
    assert f"written: {copy}, 0.1 MB\n" == said(capsys, *words)
    assert f"there is a file {copy} already" in said(capsys, *words, code=2)
    assert f"written: {copy}" in said(capsys, *words, "--overwrite")
    assert f"{copy} is sound\n" == said(capsys, "check", "--journal", str(copy))


def test_what_was_found(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Something odd ends with 1, damage with 7 and what to do about it."""
    with closing(sqlite3.connect(journal)) as db, db:
        db.execute("UPDATE runs SET stopped = 1")
    told = said(capsys, "check", "--journal", str(journal), code=1)
    assert "1 runs ended before they began\n" == told
    spoil(journal, pages_of(journal, "observations")[3])
    told = said(capsys, "check", "--journal", str(journal), code=7)
    assert told.startswith("the file is damaged: ")
    assert f"by:\n  vfod journal repair --journal {journal}\n" in told


def test_repair(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What was read is counted, when the lost ones were is told, and where the old file is."""
    pages = pages_of(journal, "observations")
    spoil(journal, pages[3])
    told = said(capsys, "repair", "--journal", str(journal))
    with closing(sqlite3.connect(journal)) as db:
        (rows,) = db.execute("SELECT count(*) FROM observations").fetchone()
    assert 1700 < rows < 2000
    assert f"{rows:>10}  observations, with 1 gap\n" in told
    assert "         6  events\n" in told
    (lost,) = [line for line in told.splitlines() if line.startswith("lost: ")]
    # From 20:00 UTC on a visit every two seconds.
    assert lost.startswith("lost: observations from 2026-11-25 2")
    assert "the rest could not be read" in told
    assert f"written: {journal}; the file as it was: {journal.parent}/journal.set-aside-" in told
    assert "it is in its place; to start the daemon again:\n  " in told
    told = said(capsys, "repair", "--journal", str(journal))
    assert "nothing was lost" in told
    assert f"{journal} is sound\n" == said(capsys, "check", "--journal", str(journal))


def test_no_journal(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each says that there is none, with the same exit code."""
    none = config.parent / "none.sqlite"
    for words in (("backup", "copy"), ("check",), ("repair",)):
        told = said(capsys, *words, "--journal", str(none), code=7)
        assert f"there is no journal {none}" in told
