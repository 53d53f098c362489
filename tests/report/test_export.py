"""What is exported comes back as it was, read by programs that are not ours."""

import csv
import datetime as dt
import json
from pathlib import Path
from typing import Any

import adif_io
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.report.diary import Diary, at, ordinary
from vfod import events as e
from vfod.__main__ import main
from vfod.radio.adif_bands import adif_band
from vfod.report.export import guarded, unguarded
from vfod.store import Reader

SHELL = e.Origin(door=e.Door.SHELL, who="listener")

#: Everything that a file format may stumble over.
TEXTS = (
    "drums, then talk",
    'said "hello", twice',
    "=HYPERLINK(1)",
    "+1",
    "-73 or so",
    "@home",
    "'tis all",
    "semi;colon <EOR> <CALL:3>XXX",
    "Übergang nach Süden",
    "音楽",
)


def note(number: int, text: str) -> e.NoteTaken:
    return e.NoteTaken(
        text=text,
        sinpo="45344" if number % 2 else None,
        heard=None if number == 1 else f"Radio {text[:10]}",
        at=at("25 22:00") + 60.25 * number,
        dial=None if number == 3 else 7_200_000 + 100_500 * number,
        band="upper" if number % 2 else None,
        level=-61.5 if number % 2 else None,
        unit="dBm" if number % 2 else None,
        by=SHELL,
    )


@pytest.fixture
def journal(config: Path) -> Path:
    diary = Diary(config.parent / "journal.sqlite")
    ordinary(diary)
    for number, text in enumerate(TEXTS):
        diary.say(at("25 22:00") + 60 * number, note(number, text))
    return diary.close()


def exported(journal: Path, *words: str) -> str:
    target = journal.parent / "export"
    assert 0 == main(["journal", "export", *words, "--to", str(target)])
    return target.read_bytes().decode("utf-8")


def kilohertz(text: str) -> int:
    return round(float(text) * 1000)


def test_notes_as_csv(journal: Path) -> None:
    """Read by the standard library: every note, none of its texts a formula, none changed."""
    text = exported(journal, "notes", "--as", "csv")
    assert text.count("\r\n") == text.count("\n") == len(TEXTS) + 1
    rows = list(csv.DictReader(text.splitlines(), strict=True))
    assert not any(cell[:1] in "=+-@" for row in rows for cell in row.values() if not number(cell))
    for index, (row, told) in enumerate(zip(rows, TEXTS, strict=True)):
        given_ = note(index, told)
        assert told == unguarded(row["text"])
        assert (given_.sinpo or "", given_.band or "") == (row["sinpo"], row["band"])
        assert given_.at == pytest.approx(dt.datetime.fromisoformat(row["time"]).timestamp())
        if given_.dial is not None:
            assert given_.dial == kilohertz(row["khz"])
        assert ("" if given_.level is None else "-61.5") == row["level"]


def number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return cell == ""
    return True


def test_notes_as_json_lines(journal: Path) -> None:
    """Read by the standard library: exactly what was noted."""
    for index, line in enumerate(exported(journal, "notes", "--as", "jsonl").splitlines()):
        read, given_ = json.loads(line), note(index, TEXTS[index])
        for field in ("text", "sinpo", "heard", "dial", "band", "level", "unit"):
            assert getattr(given_, field) == read[field]
        assert ("main", given_.at) == (read["vfo"], read["time"])


def test_notes_as_adif(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Read by adif-io: every note that names a station and a frequency, as a listener's record."""
    text = exported(journal, "notes", "--as", "adif")
    assert text.isascii()
    records, header = adif_io.read_from_string(text)
    assert ("3.1.7", "vfod") == (header["ADIF_VER"], header["PROGRAMID"])
    noted = [note(n, told) for n, told in enumerate(TEXTS)]
    kept = [one for one in noted if one.heard is not None and one.dial is not None]
    assert len(kept) == len(records) == len(TEXTS) - 2
    for record, one in zip(records, kept, strict=True):
        assert "Y" == record["SWL"]
        assert one.dial == round(float(record["FREQ"]) * 1e6)
        when = adif_io.time_on(record)
        assert int(one.at) == int(when.timestamp())
        assert one.sinpo == record.get("RST_SENT")
        assert "AM" == record["MODE"]
        if one.text.isascii():
            assert (one.text, one.heard) == (record["COMMENT"], record["CALL"])
        low, high = (7_000_000, 7_300_000)
        assert ("40m" if low <= (one.dial or 0) <= high else None) == record.get("BAND")
    assert "Ubergang nach Suden" in {record["COMMENT"] for record in records}
    said = capsys.readouterr().err
    assert "2 notes name no station or no frequency and are left out" in said
    assert "4 texts have letters that ADIF cannot have; csv and jsonl keep them" in said


def test_observations(journal: Path) -> None:
    """Every visit of the journal, in both forms, with unknown values left empty."""
    with Reader(journal) as reader:
        seen = list(reader.observations(since=at("25 23:00"), until=at("26 00:00")))
    span = ("--since", "2026-11-25 23:00", "--until", "2026-11-26 00:00")
    rows = list(csv.DictReader(exported(journal, "observations", *span).splitlines()))
    objects: list[dict[str, Any]] = [
        json.loads(line)
        for line in exported(journal, "observations", "--as", "jsonl", *span).splitlines()
    ]
    assert len(seen) == len(rows) == len(objects) > 400
    for one, row, read in zip(seen, rows, objects, strict=True):
        assert one.observed.dial == kilohertz(row["khz"]) == read["dial"]
        assert one.observed.level == float(row["level"]) == read["level"]
        assert ("yes" if one.observed.active else "no") == row["active"]
        assert (one.observed.active, one.time) == (read["active"], read["time"])
        # The clock was right all night.
        assert ("no", False) == (row["doubted"], read["doubted"])


def test_an_empty_export(config: Path) -> None:
    """Still a file of its kind: names of the columns, an ADIF header, nothing."""
    journal = Diary(config.parent / "journal.sqlite").close()
    assert "time,vfo,khz,band" in exported(journal, "notes")
    assert "" == exported(journal, "notes", "--as", "jsonl")
    records, header = adif_io.read_from_string(exported(journal, "notes", "--as", "adif"))
    assert (0, "3.1.7") == (len(records), header["ADIF_VER"])


def test_no_observations_as_adif(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A log has no place for measurements."""
    assert 2 == main(["journal", "export", "observations", "--as", "adif"])
    assert "ADIF is for logs" in capsys.readouterr().err


@given(st.text())
def test_a_guarded_cell_is_no_formula_and_comes_back(text: str) -> None:
    """Whatever the text; OWASP names = + - @ tab and carriage return as what begins a formula."""
    assert guarded(text)[:1] not in ("=", "+", "-", "@", "\t", "\r")
    assert text == (unguarded(guarded(text)) if guarded(text) != text else text)


@pytest.mark.parametrize(
    ("megahertz", "band"),
    [
        # ADIF 3.1.7, band enumeration, both edges inclusive.
        (54.0, "6m"),
        (54.000001, "5m"),
        (7.3, "40m"),
        (7.300001, None),
        (9.42, None),
        (5.06, "60m"),
        (1.7, None),
        (0.1357, "2190m"),
        (29.7, "10m"),
    ],
)
def test_bands_of_adif(megahertz: float, band: str | None) -> None:
    """A band is written only inside the table."""
    assert band == adif_band(round(megahertz * 1e6))


def test_the_place_in_adif(journal: Path, config: Path) -> None:
    """ADIF's Location: hemisphere, degrees, minutes with three decimals."""
    config.write_text(
        config.read_text().replace(
            "place: {zone: Europe/Berlin}",
            "place: {zone: Europe/Berlin, latitude: -33.51, longitude: 13.4}",
        )
    )
    records, _ = adif_io.read_from_string(exported(journal, "notes", "--as", "adif"))
    # 0.51 degrees are 30.6 minutes, 0.4 are 24.
    assert ("S033 30.600", "E013 24.000") == (records[0]["MY_LAT"], records[0]["MY_LON"])
