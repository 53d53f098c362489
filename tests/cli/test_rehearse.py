"""`vfod rehearse`: what is printed, and every mistake in one line."""

import json
from pathlib import Path

import pytest

from vfod.__main__ import main


@pytest.fixture
def short(config: Path) -> Path:
    """A window of ten minutes."""
    config.write_text(
        config.read_text().replace('"22:00", until: "02:00"', '"22:00", until: "22:10"')
    )
    return config


def test_a_night(short: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Progress on the other stream, then the timeline in local time and the totals."""
    before = sorted(short.parent.iterdir())
    assert 0 == main(["rehearse", "--night", "2026-12-24"])
    out, err = capsys.readouterr()
    lines = out.splitlines()
    assert lines[0].startswith("the night of 2026-12-24, Europe/Berlin: 12 min rehearsed in ")
    assert "  2026-12-24 22:00:00  window both opened for sweep both" in lines
    assert "  2026-12-24 22:10:00  window both closed" in lines
    assert "  windows   1 opened, 1 closed, no gaps" in lines
    assert any(line.startswith("  sweep     both: ") for line in lines)
    assert any(line.startswith("  lower") for line in lines)
    assert [f"{part:3}%" for part in range(10, 101, 10)] == [line[:4] for line in err.splitlines()]
    assert before == sorted(short.parent.iterdir())


def test_for_a_machine(short: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The totals as JSON, and the journal where it was asked for."""
    journal = short.parent / "night.sqlite"
    assert 0 == main(["rehearse", "--night", "2026-12-24", "--json", "--journal", str(journal)])
    told = json.loads(capsys.readouterr().out)
    assert ("2026-12-24", 1, []) == (
        told["night"],
        told["vfos"]["main"]["opened"],
        told["vfos"]["main"]["missed"],
    )
    assert told["visits"] == sum(b["visits"] for b in told["vfos"]["main"]["bands"].values())
    assert journal.exists()


@pytest.mark.parametrize(
    ("most", "says"),
    [
        (100_000, "levels come from the sound, as in the night, but from an invented one"),
        (10, "levels come from the simulated box's line, and not from the sound as in the night"),
    ],
)
def test_it_says_where_levels_come_from(
    most: int,
    says: str,
    short: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where the configuration takes them from the sound; of too many readings, how many."""
    monkeypatch.setattr("vfod.app.rehearse.MOST_BY_SOUND", most)
    recorded = "    audio: {program: arecord, device: rx}\n    receiver:"
    text = short.read_text().replace("    receiver:", recorded).replace("22:10", "22:01")
    short.write_text(text)
    assert 0 == main(["rehearse", "--night", "2026-12-24"])
    told = capsys.readouterr().out.splitlines()[1]
    assert told.startswith(says)
    # A minute of visits of about two and a half seconds, each with eight readings.
    assert most > 10 or 150 <= int(told.partition("its ")[2].split()[0]) <= 220


@pytest.mark.parametrize("text", ["31.12.2026", "2026-02-30", "tonight", "0001-01-01", ""])
def test_a_date_that_is_none(text: str, short: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line, and how to write it."""
    assert 2 == main(["rehearse", "--night", text])
    assert (
        f"vfod rehearse: --night {text!r} is not the date of a night; write it like 2026-11-25\n"
        == capsys.readouterr().err
    )


def test_files_that_cannot_be_used(short: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A scenario that is not there, a journal that is."""
    assert 2 == main(["rehearse", "--scenario", str(short.parent / "none.yaml")])
    assert "none.yaml: cannot be read" in capsys.readouterr().err
    assert 2 == main(["rehearse", "--journal", str(short)])
    assert "exists already; name a new file" in capsys.readouterr().err
