"""`vfod night`: the words around the report, and the files it writes."""

import datetime as dt
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image

from tests.report.diary import Diary, at, ordinary
from vfod.__main__ import main
from vfod.errors import StoreError
from vfod.store import Writer


@pytest.fixture
def journal(config: Path) -> Path:
    """The ordinary night, in the journal of a configuration whose window is another one."""
    diary = Diary(config.parent / "journal.sqlite")
    ordinary(diary)
    return diary.close()


def test_the_summary(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`last` is the night of the newest visit, by name the same; a pipe gets no progress."""
    assert 0 == main(["night"])
    last = capsys.readouterr()
    assert last.out.startswith("Night of Wednesday 2026-11-25, VFO main\ntimes in Europe/Berlin\n")
    assert "" == last.err
    assert 0 == main(["night", "2026-11-25"])
    assert capsys.readouterr().out == last.out
    assert "evening: kept by the daemon, though the configuration does not have it" in last.out


def test_without_a_configuration(
    journal: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The journal alone will do; times are the machine's."""
    monkeypatch.delenv("VFOD_CONFIG")
    monkeypatch.setenv("HOME", str(journal.parent / "nobody"))
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    assert 0 == main(["night", "--journal", str(journal)])
    assert "times in Asia/Tokyo" in capsys.readouterr().out


def test_the_files(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A page and a picture, whole, and nothing else left beside them."""
    page, picture = journal.parent / "n.html", journal.parent / "n.png"
    before = _names(journal)
    assert 0 == main(["night", "--html", str(page), "--png", str(picture)])
    assert f"written: {page}\nwritten: {picture}\n" == capsys.readouterr().out
    assert page.read_text(encoding="utf-8").endswith("</html>\n")
    with Image.open(picture) as found:
        assert "PNG" == found.format
    # SQLite's own companions come and go with a reader.
    assert {"n.html", "n.png"} == _names(journal) - before


def test_the_picture_for_a_page_of_ones_own(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """SVG in pieces, well-formed, printed or into a file, and the same both ways."""
    assert 0 == main(["night", "--svg", "-"])
    printed = capsys.readouterr().out
    pieces = ElementTree.fromstring(f"<page>{printed}</page>")
    assert ["store", "chart wide", "chart narrow"] == [piece.get("class") for piece in pieces]
    file = journal.parent / "n.svg"
    assert 0 == main(["night", "--svg", str(file)])
    assert printed.strip() == file.read_text(encoding="utf-8").strip()


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["night", "yesterday"], 2, "vfod night: 'yesterday' is not the date of a night; write"),
        (["night", "--vfo", "attic"], 2, "there is no VFO 'attic'; known are main"),
        (["nights", "--vfo", "attic"], 2, "there is no VFO 'attic'; known are main"),
        (["night", "2026-13-01"], 2, "'2026-13-01' is not the date of a night"),
        (["night", "9999-12-31"], 2, "'9999-12-31' is not the date of a night"),
        (["night", "0001-01-01"], 2, "'0001-01-01' is not the date of a night"),
        (["nights", "--until", "0001-01-01"], 2, "'0001-01-01' is not the date of a night"),
        (["night", "--html", "/"], 2, "/ is a folder; name a file in it"),
        (["night", "--html", ""], 2, ". is a folder; name a file in it"),
        (["night", "--html", "/dev/full"], 2, "/dev/full cannot be written: No space left"),
        (["night", "--html", "/nowhere/n.html"], 2, "/nowhere/n.html cannot be written"),
        (["night", "--html", "/dev/null/n.html"], 2, "/dev/null/n.html cannot be written"),
        (["night", "2020-01-01", "--png", "x.png"], 2, "there is no picture of this night"),
        (["night", "2020-01-01", "--svg", "-"], 2, "there is no picture of this night"),
    ],
)
def test_mistakes(
    journal: Path, capsys: pytest.CaptureFixture[str], words: list[str], code: int, says: str
) -> None:
    """One line each, with a remedy."""
    assert code == main(words)
    assert says in capsys.readouterr().err
    # A device is written to, never put a file in the place of.
    assert Path("/dev/full").is_char_device()


def test_an_empty_journal(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """There is no last night then, but any night by name."""
    writer = Writer(config.parent / "journal.sqlite")
    writer.open(at("25 12:00"))
    writer.close()
    assert StoreError.exit_code == main(["night"])
    assert "is empty; let the daemon run for a night" in capsys.readouterr().err
    assert 0 == main(["night", dt.date(2026, 11, 25).isoformat()])
    assert "No channel was visited" in capsys.readouterr().out


def test_mistakes_in_the_list_of_stations(
    journal: Path, config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """They are told with their line before anything is printed."""
    (config.parent / "mine.csv").write_text("khz,from,to,name\n94x0,18:00,19:00,X\n")
    config.write_text(config.read_text() + "stations: mine.csv\n")
    assert 3 == main(["night"])
    shown = capsys.readouterr()
    assert ("", True) == (shown.out, "mine.csv:2: khz: '94x0' does not fit" in shown.err)


def _names(journal: Path) -> set[str]:
    return {p.name for p in journal.parent.iterdir() if not p.name.startswith(journal.name)}


def test_eighty_columns(
    journal: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where $COLUMNS says so, no line is longer and no column of the windows is cut."""
    monkeypatch.setenv("COLUMNS", "80")
    assert 0 == main(["night"])
    lines = capsys.readouterr().out.splitlines()
    assert [] == [line for line in lines if len(line) > 80]
    (head,) = (line for line in lines if line.lstrip().startswith("window "))
    assert head.split() == ["window", "planned", "kept", "first", "last", "visits", "sweep"]
