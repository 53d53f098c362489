"""Windows by the sun, by UTC, by dates and seasons, around the clocks' changes and at the poles."""

import time as clock
from datetime import UTC, date, datetime, time
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from vfod.errors import UsageError
from vfod.plan.dates import Season, Span, parse_season, parse_span, season_at, season_start
from vfod.plan.localtime import local, local_words
from vfod.plan.moments import Lasting, Moment, SunTime, UtcTime, parse_moment
from vfod.plan.slots import DAY, idle_nights
from vfod.plan.windows import Occurrence, Window, occurrences
from vfod.radio.sun import Site, SunEvent, next_event

BERLIN = ZoneInfo("Europe/Berlin")
HERE = Site(latitude=52.52, longitude=13.405)
OSLO = ZoneInfo("Europe/Oslo")
TROMSO = Site(latitude=69.65, longitude=18.96)


def utc(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def window(
    start: str, end: str | float, zone: ZoneInfo = BERLIN, site: Site = HERE, **more: object
) -> Window:
    return Window(
        name="demo",
        sweep="demo",
        start=parse_moment(start),
        end=parse_moment(end) if isinstance(end, str) else Lasting(end),
        zone=zone,
        site=site,
        **more,  # type: ignore[arg-type]  # whatever a test is about
    )


def in_night(item: Window, night: str) -> Occurrence:
    found = item.in_night(date.fromisoformat(night))
    assert found is not None
    return found


def told(item: Window, night: str) -> str:
    found = in_night(item, night)
    return " ".join(f"{local(when, item.zone):%d %H:%M}" for when in (found.opens, found.closes))


# --- how they are written ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("22:00", time(22)),
        ("19:58 UTC", UtcTime(time(19, 58))),
        ("19:58Z", UtcTime(time(19, 58))),
        ("sunset", SunTime(SunEvent.SUNSET)),
        ("sunset+45m", SunTime(SunEvent.SUNSET, 2700)),
        ("sunrise - 1h30m", SunTime(SunEvent.SUNRISE, -5400)),
        ("astronomical-dusk or 23:30", SunTime(SunEvent.ASTRONOMICAL_DUSK, 0, time(23, 30))),
        ("civil-dawn+10m or 05:00", SunTime(SunEvent.CIVIL_DAWN, 600, time(5))),
    ],
)
def test_moments_are_read(text: str, expected: Moment) -> None:
    assert expected == parse_moment(text)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("25:00", "not a clock time"),
        ("25:00 UTC", "not a clock time"),
        ("22:00 CET", "not a clock time"),
        ("sundown", "'sundown' is no time; write 22:00, 19:58 UTC, or sunset.45m with one of"),
        ("dusk", "civil-dusk"),
        ("sunset+45", "no unit after sunset; write sunset.45m"),
        ("sunset+7h", "more than 6 h from sunset"),
        ("sunset or 25:00", "not a clock time"),
        ("", "no time"),
    ],
)
def test_what_is_no_moment_is_refused(text: str, complaint: str) -> None:
    with pytest.raises(UsageError, match=complaint):
        parse_moment(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-06-01", Span(date(2026, 6, 1), date(2026, 6, 1))),
        ("2026-06-01/2026-08-31", Span(date(2026, 6, 1), date(2026, 8, 31))),
        ("12-24/01-06", Span(date(2000, 12, 24), date(2000, 1, 6), yearly=True)),
    ],
)
def test_dates_are_read(text: str, expected: Span) -> None:
    """As ISO 8601 writes a date and an interval; without a year, of every year."""
    assert expected == parse_span(text)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("2026-06-31", "there is no 31 June 2026; its days go from 01 to 30"),
        ("06-31", "there is no 31 June; its days"),
        ("2026-02-29", "there is no 29 February 2026"),
        ("2026-13-01", "there is no month 13"),
        ("2026-08-31/2026-06-01", "runs backwards"),
        ("2026-06-01/08-31", "a year at one end only"),
        ("June", "'June' is no date"),
        ("0000-01-01", "there is no year 0000"),
    ],
)
def test_what_is_no_date_is_refused(text: str, complaint: str) -> None:
    with pytest.raises(UsageError, match=complaint):
        parse_span(text)


def test_yearly_dates_go_over_new_year() -> None:
    span = parse_span("12-24/01-06")
    assert [False, True, True, True, False] == [
        span.holds(date.fromisoformat(day))
        for day in ("2026-12-23", "2026-12-24", "2026-12-31", "2027-01-06", "2027-01-07")
    ]
    assert parse_span("02-29").holds(date(2028, 2, 29))


# --- broadcast seasons ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("letter", "year", "begins", "ends"),
    [
        # docs/standards.md, section 10.5.
        ("A", 2006, "2006-03-26", "2006-10-29"),
        ("B", 2018, "2018-10-28", "2019-03-31"),
        ("A", 2019, "2019-03-31", "2019-10-27"),
        ("A", 2026, "2026-03-29", "2026-10-25"),
        ("B", 2026, "2026-10-25", "2027-03-28"),
        ("A", 2027, "2027-03-28", "2027-10-31"),
        ("B", 2027, "2027-10-31", "2028-03-26"),
    ],
)
def test_seasons_begin_and_end_as_published(letter: str, year: int, begins: str, ends: str) -> None:
    """To the second: 01:00 UTC of the first day, and of the next one's first day."""
    first, last = utc(f"{begins}T01:00"), utc(f"{ends}T01:00")
    assert first == season_start(letter, year)
    season = Season(letter, year)
    assert [False, True, True, False] == [
        season.holds(when) for when in (first - 1, first, last - 1, last)
    ]
    assert str(season) == str(season_at((first + last) / 2)) == f"{letter}{year % 100:02}"


def test_a_window_of_a_season_opens_in_it_only() -> None:
    """At 00:30 UTC of the Sunday it is still B25, at 01:30 UTC it is A26."""
    for start, expected in (("00:30 UTC", 30), ("01:30 UTC", 29)):
        item = window(start, 1800.0, season=parse_season("A"))
        first = occurrences([item], utc("2026-03-20T12:00"), utc("2026-04-02T12:00"))[0]
        assert utc(f"2026-03-{expected}T{start[:5]}") == first.opens
    assert parse_season("B26") == Season("B", 2026)
    for text in ("C", "A2026", "summer"):
        with pytest.raises(UsageError, match="no broadcast season"):
            parse_season(text)


# --- filters -------------------------------------------------------------------------------------


def test_dates_and_dates_left_out_mean_the_night() -> None:
    """02:00 of New Year's Day belongs to the night of 31 December."""
    item = window("02:00", "03:00", dates=(parse_span("2026-12-30/2027-01-02"),))
    less = window(
        "02:00", "03:00", dates=(parse_span("12-30/01-02"),), left_out=(parse_span("12-31"),)
    )
    begin, end = utc("2026-12-25T12:00"), utc("2027-01-10T12:00")
    assert [30, 31, 1, 2] == [found.night.day for found in occurrences([item], begin, end)]
    assert [30, 1, 2] == [found.night.day for found in occurrences([less], begin, end)]


# --- the sun -------------------------------------------------------------------------------------


def test_from_sunset_until_sunrise() -> None:
    """Berlin, docs/standards.md section 5.4: 19:33 UTC is 21:33, and the next morning's 04:43."""
    item = window("sunset", "sunrise")
    assert told(item, "2026-06-21") in ("21 21:33 22 04:43", "21 21:32 22 04:43")
    found = in_night(window("sunset+45m", "sunrise-1h"), "2026-06-21")
    plain = in_night(item, "2026-06-21")
    assert (plain.opens + 2700, plain.closes - 3600) == (found.opens, found.closes)
    assert () == found.remarks()


@pytest.mark.parametrize(
    ("start", "end", "night", "expected"),
    [
        ("18:30", "sunset", "2026-06-21", "21 18:30 21 21:33"),
        ("sunset", "22:00", "2026-06-21", "21 21:33 21 22:00"),
        ("sunset", "11:00", "2026-06-21", "21 21:33 22 11:00"),
        ("10:00", "sunset", "2026-06-21", "22 10:00 22 21:33"),
        ("sunrise", "14:00", "2026-06-21", "22 04:43 22 14:00"),
        ("sunrise", "sunset", "2026-06-21", "22 04:43 22 21:33"),
        ("03:00", "sunrise", "2026-06-21", "22 03:00 22 04:43"),
        ("nautical-dusk", "nautical-dawn", "2026-06-21", "21 23:47 22 02:30"),
        ("19:58 UTC", "20:33 UTC", "2026-06-21", "21 21:58 21 22:33"),
        ("19:58 UTC", "sunrise", "2026-12-21", "21 20:58 22 08:15"),
        ("22:00", "20:30 UTC", "2026-06-21", "21 22:00 21 22:30"),
        ("23:00", "23:00 UTC", "2026-12-21", "21 23:00 22 00:00"),
    ],
)
def test_the_day_that_until_is_in(start: str, end: str, night: str, expected: str) -> None:
    """The first such time after from, and of the same evening where the two drift."""
    got = told(window(start, end), night)
    for ours, theirs in zip(got.split()[1::2], expected.split()[1::2], strict=True):
        minutes = [int(t[:2]) * 60 + int(t[3:]) for t in (ours, theirs)]
        assert abs(minutes[0] - minutes[1]) <= 1, got
    assert expected.split()[::2] == got.split()[::2]


def test_a_window_that_would_end_before_it_begins_stays_closed_and_says_so() -> None:
    """From 45 minutes after sunset until 22:00 is nothing at midsummer, and not 23 hours."""
    item = window("sunset+45m", "22:00")
    assert item.in_night(date(2026, 6, 21)) is None
    assert 1 < in_night(item, "2026-12-21").length / 3600 < 7
    idle = idle_nights([item], utc("2026-06-21T10:00"), utc("2026-06-22T10:00"))
    assert ["does not open, because it would begin at 22:18 and end at 22:00"] == [
        found.reason for found in idle
    ]
    assert [] == idle_nights([item], utc("2026-12-21T10:00"), utc("2026-12-22T10:00"))


def test_no_event_means_the_fallback_and_says_so() -> None:
    """No astronomical twilight in Berlin at midsummer: the hours written, else 22:00 and 04:00."""
    item = window("astronomical-dusk or 23:30", "astronomical-dawn")
    assert "21 23:30 22 04:00" == told(item, "2026-06-21")
    assert (
        "there is no astronomical dusk, 23:30 is meant",
        "there is no astronomical dawn, 04:00 is meant",
    ) == in_night(item, "2026-06-21").remarks()
    assert () == in_night(item, "2026-12-21").remarks()


def test_a_year_beyond_the_polar_circle() -> None:
    """Tromso: every night of the year has its window, none overlaps the next, none is an error."""
    item = window("sunset", "sunrise", OSLO, TROMSO)
    found = occurrences([item], utc("2026-01-01T11:00"), utc("2027-01-01T11:00"))
    assert len({occurrence.night for occurrence in found}) == len(found) == 365
    for one, other in pairwise(found):
        assert one.opens < one.closes <= other.opens
    summer = in_night(item, "2026-06-21")
    assert "21 22:00 22 04:00" == told(item, "2026-06-21")
    assert "there is no sunset, 22:00 is meant" in summer.remarks()
    # By the almanac of section 5.1's hour angles, about two months each without sunset or sunrise.
    fallback = [occurrence for occurrence in found if len(occurrence.remarks()) == 2]
    assert 100 < len(fallback) < 140


def test_without_a_place_there_is_no_sun() -> None:
    with pytest.raises(UsageError, match=r"goes by the sun.*write latitude and longitude"):
        Window(name="w", sweep="s", start=SunTime(SunEvent.SUNSET), end=time(22), zone=BERLIN)


# --- UTC -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("at", ["09:30", "10:30", "11:00", "11:30", "23:30"])
def test_a_time_of_utc_comes_each_night_exactly_once(at: str) -> None:
    """Also near noon, where a night of 23 hours has it not at all by the clock, one of 25 twice."""
    item = window(f"{at} UTC", 600.0)
    found = occurrences([item], utc("2026-01-01T12:00"), utc("2027-01-01T12:00"))
    assert {DAY} == {other.opens - one.opens for one, other in pairwise(found)}
    assert len({occurrence.night for occurrence in found}) == len(found) == 365


def test_a_time_of_utc_does_not_move_with_the_clocks() -> None:
    """19:58 UTC is 20:58 in Berlin's winter and 21:58 in its summer."""
    item = window("19:58 UTC", 2100.0)
    assert "21 20:58 21 21:33" == told(item, "2026-12-21")
    assert "21 21:58 21 22:33" == told(item, "2026-06-21")


def test_the_sunset_of_a_place_far_from_its_zone() -> None:
    """A listener in Auckland whose zone was left at UTC: each evening's sunset once."""
    site = Site(latitude=-36.85, longitude=174.76)
    item = window("sunset", 3600.0, ZoneInfo("UTC"), site)
    found = occurrences([item], utc("2026-01-01T00:00"), utc("2027-01-01T00:00"))
    assert 365 == len(found) == len({occurrence.night for occurrence in found})
    when = utc("2026-01-01T00:00")
    for occurrence in found:
        when = next_event(SunEvent.SUNSET, when, site, when + 2 * DAY) or 0.0
        assert when == pytest.approx(occurrence.opens, abs=2)
        when += 3600


@pytest.mark.parametrize(
    ("instant", "shown"),
    [
        ("2026-10-25 00:30", "02:30 CEST"),
        ("2026-10-25 01:30", "02:30 CET"),
        ("2026-10-25 02:30", "03:30"),
        ("2026-03-29 00:30", "01:30"),
        ("2026-03-29 01:30", "03:30"),
        ("2026-11-25 21:00", "22:00"),
    ],
)
def test_a_time_that_comes_twice_names_its_zone(
    instant: str, shown: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Summer time ends and begins at 01:00 UTC (Directive 2000/84/EC); also as the machine's."""
    assert shown == local_words(utc(instant), BERLIN, "%H:%M")
    monkeypatch.setenv("TZ", "Europe/Berlin")
    clock.tzset()
    try:
        assert shown == local_words(utc(instant), None, "%H:%M")
    finally:
        monkeypatch.undo()
        clock.tzset()
