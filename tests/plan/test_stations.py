"""The listener's own list of stations: what it says, and what is complained of."""

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from vfod.errors import ConfigError
from vfod.plan.stations import COLUMNS, Broadcast, Station, expected, named, parse

HEAD = "khz,days,from,to,valid_from,valid_to,name\n"


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def one(row: str) -> Station:
    (station,) = parse(HEAD + row, "list.csv")
    return station


def test_a_line_of_the_list() -> None:
    """Every column, as RFC 4180 quotes them; kilohertz may have decimals."""
    station = one('9422.5,mon-fri,18:00,20:30,2026-10-25,2027-03-27,"Radio ""Moor"", south"\r\n')
    assert ('Radio "Moor", south', 9_422_500) == (station.name, station.frequency)
    assert frozenset(range(5)) == station.days
    assert (date(2026, 10, 25), date(2027, 3, 27)) == (station.first, station.last)


def test_columns_may_be_left_out_and_stand_in_any_order() -> None:
    """Only frequency, times and name are needed; a byte order mark of a spreadsheet is no fault."""
    (station,) = parse("\ufeffName,kHz,From,To\nRadio Moor,6005,15:00,09:00\n\n", "l")
    assert ("Radio Moor", 6_005_000, frozenset(range(7))) == (
        station.name,
        station.frequency,
        station.days,
    )


@pytest.mark.parametrize(
    ("days", "expected_days"),
    [("", range(7)), ("sat sun", (5, 6)), ("SAT-MON", (5, 6, 0)), ("wed", (2,))],
)
def test_days(days: str, expected_days: range) -> None:
    """Single days, stretches, also over the end of the week; nothing is every day."""
    assert frozenset(expected_days) == one(f"6005,{days},15:00,16:00,,,X").days


def test_a_broadcast_over_midnight_belongs_to_the_day_it_begins() -> None:
    """Tuesday 22:00 to Wednesday 02:00 UTC, and only that one."""
    station = one("6005,tue,22:00,02:00,,,X")
    # 2026-11-24 is a Tuesday.
    assert [(at("2026-11-24T22:00"), at("2026-11-25T02:00"))] == list(
        station.on_the_air(at("2026-11-23T00:00"), at("2026-11-26T00:00"))
    )
    assert [] == list(station.on_the_air(at("2026-11-25T02:00"), at("2026-11-25T20:00")))


def test_all_day_long() -> None:
    """00:00 to 24:00 is a whole day, and the next one follows it."""
    station = one("6005,,00:00,24:00,,,X")
    spans = list(station.on_the_air(at("2026-11-24T12:00"), at("2026-11-25T12:00")))
    assert [86_400.0, 86_400.0] == [end - begin for begin, end in spans]


def test_dates_bound_the_season() -> None:
    """From the first to the last date, both included."""
    station = one("6005,,18:00,19:00,2026-11-24,2026-11-25,X")
    found = station.on_the_air(at("2026-11-20T00:00"), at("2026-11-30T00:00"))
    assert [24, 25] == [datetime.fromtimestamp(begin, UTC).day for begin, _ in found]


def test_who_is_expected_and_who_it_was() -> None:
    """By time and half a raster; the same name only once."""
    stations = parse(
        HEAD
        + "6005,,18:00,19:00,,,Near\n6005,,18:30,20:00,,,Near\n"
        + "6010,,18:00,19:00,,,Next\n6005,,21:00,22:00,,,Later\n",
        "l",
    )
    since, until = at("2026-11-24T18:00"), at("2026-11-24T20:00")
    assert ["Near"] == named(stations, 6_007_500, since, until, 2_500)[:1]
    assert ["Near", "Next"] == named(stations, 6_007_500, since, until, 2_500)
    assert ["Near"] == named(stations, 6_005_000, since, until, 2_500)
    # Two lines of the list that join on are one broadcast.
    near = Broadcast(name="Near", frequency=6_005_000, begins=since, ends=until)
    assert near == expected(stations, since, until)[0]


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        (
            "",
            f"l:1: the first line does not name the columns, separated by commas; "
            f"write {','.join(COLUMNS)}",
        ),
        ("khz;name\n", "l:1: the first line does not name the columns"),
        ("khz,from,to,titel\n", "l:1: there is no column 'titel'"),
        ("khz,from,to,to,name\n", "l:1: column to is there twice"),
        ("khz,from,name\n", "l:1: column to is missing"),
        (HEAD + "94x0,,18:00,19:00,,,X\n", "l:2: khz: '94x0' does not fit; write kilohertz like"),
        (HEAD + "-9420,,18:00,19:00,,,X\n", "l:2: khz: '-9420' does not fit"),
        (HEAD + "9420,mo,18:00,19:00,,,X\n", "l:2: days: 'mo' does not fit; write days like"),
        (HEAD + "9420,,18,19:00,,,X\n", "l:2: from: '18' does not fit; write a time in UTC"),
        (HEAD + "9420,,18:00,,,,X\n", "l:2: to: '' does not fit"),
        (HEAD + "9420,,18:00,19:00,25.10.2026,,X\n", "l:2: valid_from: '25.10.2026' does not fit"),
        (
            HEAD + "9420,,18:00,19:00,2026-12-01,2026-11-01,X\n",
            "l:2: valid_to: 2026-11-01 is before",
        ),
        (HEAD + "9420,,18:00,19:00,,,\n", "l:2: name: '' does not fit"),
        (HEAD + '9420,,18:00,19:00,,,"X\x1b[31m"\n', "l:2: name: 'X\\x1b[31m' does not fit"),
        (HEAD + "9420,,18:00,19:00,,,Radio, Moor\n", "l:2: 8 columns where the first line has 7"),
        (HEAD + '9420,,18:00,19:00,,,"X\n', "l:2: unexpected end of data; double a quote"),
    ],
)
def test_complaints(text: str, complaint: str) -> None:
    """File, line, column, what is wrong and what to write instead."""
    with pytest.raises(ConfigError) as caught:
        parse(text, "l")
    assert caught.value.complaints[0].startswith(complaint)


def test_all_complaints_come_at_once() -> None:
    """Every line is looked at, also after one that is wrong."""
    with pytest.raises(ConfigError) as caught:
        parse(HEAD + "x,,18:00,19:00,,,X\n9420,,y,z,,,X\n", "l")
    assert ["l:2: khz", "l:3: from", "l:3: to"] == [
        complaint.rpartition(": '")[0] for complaint in caught.value.complaints
    ]


def test_the_example_is_sound() -> None:
    """What we hand out has no mistakes."""
    path = Path(__file__).parents[2] / "configs" / "stations.csv"
    assert 5 == len(parse(path.read_text(), str(path)))
