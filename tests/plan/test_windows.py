"""Windows and clock changes, against docs/standards.md, section 10, and a search minute by minute.

The pinned zones are those whose rules do not hang on the release of the zone database.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vfod.errors import UsageError
from vfod.plan.localtime import (
    instant,
    is_skipped,
    is_twice,
    local,
    night_of,
    parse_clock,
    parse_zone,
)
from vfod.plan.windows import EVERY_DAY, Occurrence, Window, occurrences

BERLIN, LONDON, NEW_YORK = (
    ZoneInfo(name) for name in ("Europe/Berlin", "Europe/London", "America/New_York")
)
DAY = timedelta(days=1)


def utc(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def window(start: str, end: str, zone: ZoneInfo, weekdays: frozenset[int] = EVERY_DAY) -> Window:
    return Window(
        name=f"{start}-{end}",
        sweep="demo",
        start=parse_clock(start),
        end=parse_clock(end),
        zone=zone,
        weekdays=weekdays,
    )


def in_night(item: Window, night: str) -> Occurrence:
    found = item.in_night(date.fromisoformat(night))
    assert found is not None
    return found


# --- published values ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wall", "zone", "expected", "kind"),
    [
        # Section 10.3.
        ("2026-03-29T02:30", BERLIN, "2026-03-29T01:30", "gap"),
        ("2026-10-25T02:30", BERLIN, "2026-10-25T00:30", "twice"),
        ("2026-03-29T01:30", LONDON, "2026-03-29T01:30", "gap"),
        ("2026-03-08T02:30", NEW_YORK, "2026-03-08T07:30", "gap"),
        ("2026-11-01T01:30", NEW_YORK, "2026-11-01T05:30", "twice"),
        # RFC 5545, section 3.3.5: TZID=America/New_York:20070311T023000 is 03:30 EDT.
        ("2007-03-11T02:30", NEW_YORK, "2007-03-11T07:30", "gap"),
        ("2026-06-21T02:30", BERLIN, "2026-06-21T00:30", "plain"),
    ],
)
def test_times_in_the_gap_and_in_the_fold(
    wall: str, zone: ZoneInfo, expected: str, kind: str
) -> None:
    """A time that does not exist takes the offset before the leap; one that is twice, the first."""
    naive = datetime.fromisoformat(wall)
    assert utc(expected) == instant(naive, zone)
    assert (kind == "gap", kind == "twice") == (is_skipped(naive, zone), is_twice(naive, zone))


@pytest.mark.parametrize(
    ("zone", "on", "off"),
    [
        # Section 10.2: transitions of 2026 and 2027 in UTC.
        (BERLIN, "2026-03-29T01:00", "2026-10-25T01:00"),
        (BERLIN, "2027-03-28T01:00", "2027-10-31T01:00"),
        (LONDON, "2026-03-29T01:00", "2026-10-25T01:00"),
        (ZoneInfo("Europe/Lisbon"), "2027-03-28T01:00", "2027-10-31T01:00"),
        (NEW_YORK, "2026-03-08T07:00", "2026-11-01T06:00"),
        (NEW_YORK, "2027-03-14T07:00", "2027-11-07T06:00"),
        (ZoneInfo("America/Denver"), "2026-03-08T09:00", "2026-11-01T08:00"),
        (ZoneInfo("Australia/Sydney"), "2026-10-03T16:00", "2026-04-04T16:00"),
        (ZoneInfo("Australia/Sydney"), "2027-10-02T16:00", "2027-04-03T16:00"),
    ],
)
def test_the_clocks_change_at_the_published_instants(zone: ZoneInfo, on: str, off: str) -> None:
    """The zone database in use has the transitions that the other values here rest on."""
    for text, hours in ((on, 1), (off, -1)):
        before, after = (local(utc(text) + shift, zone).utcoffset() for shift in (-1, 0))
        assert before is not None
        assert after is not None
        assert timedelta(hours=hours) == after - before


@pytest.mark.parametrize("name", ["Asia/Kolkata", "Asia/Kathmandu", "America/Sao_Paulo"])
def test_some_clocks_never_change(name: str) -> None:
    """Section 10.2: no transition in 2026 and 2027."""
    zone, first = ZoneInfo(name), utc("2026-01-01T00:00")
    assert 1 == len({local(first + 86400 * day, zone).utcoffset() for day in range(2 * 365)})


def test_dublin_changes_with_london() -> None:
    """Section 10.2: at the same instants, though its database counts winter as the odd one."""
    dublin, first = ZoneInfo("Europe/Dublin"), utc("2026-01-01T00:30")
    hours = [first + 3600 * hour for hour in range(2 * 365 * 24)]
    assert all(local(when, dublin).utcoffset() == local(when, LONDON).utcoffset() for when in hours)


@pytest.mark.parametrize(
    ("zone", "night", "hours"),
    [
        # Section 10.4: "a scan from 22:00 to 06:00 local lasts".
        (BERLIN, "2026-03-28", 7),
        (BERLIN, "2026-10-24", 9),
        (NEW_YORK, "2026-03-07", 7),
        (NEW_YORK, "2026-10-31", 9),
        (BERLIN, "2026-03-27", 8),
        (BERLIN, "2026-10-25", 8),
        (NEW_YORK, "2026-11-01", 8),
    ],
)
def test_ten_to_six_has_its_true_length(zone: ZoneInfo, night: str, hours: int) -> None:
    """7 h, 8 h or 9 h, and it says why it is not the 8 h written."""
    found = in_night(window("22:00", "06:00", zone), night)
    assert (hours * 3600, 8 * 3600) == (found.length, found.written)
    reasons = {
        7: ("7 h instead of 8 h, because the clocks go forward in this night",),
        8: (),
        9: ("9 h instead of 8 h, because the clocks go back in this night",),
    }
    assert reasons[hours] == found.remarks()


@pytest.mark.parametrize(
    ("night", "hours"), [("2026-03-28", 23), ("2026-10-24", 25), ("2026-06-21", 24)]
)
def test_a_whole_day_is_nominal(night: str, hours: int) -> None:
    """Section 10.4: Berlin noon plus P1D is 23 h over the gap and 25 h over the fold."""
    assert hours * 3600 == in_night(window("12:00", "12:00", BERLIN), night).length


def test_a_window_inside_the_gap_still_comes_with_its_length() -> None:
    """02:30 to 03:00 does not exist on 2026-03-29 in Berlin: 30 minutes from 03:30, said."""
    found = in_night(window("02:30", "03:00", BERLIN), "2026-03-28")
    assert (utc("2026-03-29T01:30"), utc("2026-03-29T02:00")) == (found.opens, found.closes)
    assert ("there is no 02:30 in this night, 03:30 is meant",) == found.remarks()


def test_a_window_that_begins_in_the_gap_ends_when_written() -> None:
    """02:30 to 04:00 begins at 03:30 and has half an hour left."""
    found = in_night(window("02:30", "04:00", BERLIN), "2026-03-28")
    assert (utc("2026-03-29T01:30"), utc("2026-03-29T02:00")) == (found.opens, found.closes)


def test_a_window_in_the_fold_comes_once() -> None:
    """02:15 to 02:45 comes in the first of the two hours only."""
    found = in_night(window("02:15", "02:45", BERLIN), "2026-10-24")
    assert (utc("2026-10-25T00:15"), utc("2026-10-25T00:45")) == (found.opens, found.closes)
    assert ("02:15 comes twice in this night, the first is meant",) == found.remarks()[:1]


# --- nights and weekdays -------------------------------------------------------------------------


def test_a_night_is_named_by_its_first_date() -> None:
    """From noon to noon: 11:59 belongs to the date before."""
    expected = [date(2026, 3, 27), date(2026, 3, 28), date(2026, 3, 28)]
    times = ("2026-03-28T10:59", "2026-03-28T11:00", "2026-03-29T09:59")
    assert expected == [night_of(utc(text), BERLIN) for text in times]


def test_weekdays_mean_the_night() -> None:
    """A window at 02:00 of the Saturday night comes on Sunday morning."""
    saturday = frozenset({5})
    found = occurrences(
        [window("02:00", "03:00", BERLIN, saturday)],
        utc("2026-11-01T00:00"),
        utc("2026-11-15T00:00"),
    )
    assert ["2026-11-01 02:00", "2026-11-08 02:00"] == [
        f"{local(item.opens, BERLIN):%Y-%m-%d %H:%M}" for item in found
    ]
    assert [date(2026, 10, 31), date(2026, 11, 7)] == [item.night for item in found]


def test_occurrences_are_those_that_share_time() -> None:
    """One already open counts, one that closes at the first instant does not."""
    item = window("22:00", "06:00", BERLIN)
    opens, closes = utc("2026-06-21T20:00"), utc("2026-06-22T04:00")

    def nights(since: float, until: float) -> list[date]:
        return [found.night for found in occurrences([item], since, until)]

    assert [date(2026, 6, 21)] == nights(closes - 1, closes)
    assert [] == nights(closes, closes + 1)
    assert [] == nights(opens - 1, opens)
    assert [date(2026, 6, 21)] == nights(opens, opens + 1)


def test_a_date_that_a_zone_left_out_has_no_night() -> None:
    """Samoa went from 29 to 31 December 2011: two nights, not three, and none twice."""
    found = occurrences(
        [window("22:00", "06:00", ZoneInfo("Pacific/Apia"))],
        utc("2011-12-30T00:00"),
        utc("2012-01-01T00:00"),
    )
    assert [date(2011, 12, 29), date(2011, 12, 31)] == [item.night for item in found]
    assert [8 * 3600.0] * 2 == [item.length for item in found]


# --- texts ---------------------------------------------------------------------------------------


def test_clock_times_are_read() -> None:
    assert [time(22), time(6, 5), time(6, 30, 15), time(0)] == [
        parse_clock(text) for text in ("22:00", "6:05", " 06:30:15", "24:00")
    ]


@pytest.mark.parametrize("text", ["", "22", "22.00", "25:00", "24:01", "22:60", "-1:00", "٢٢:00"])
def test_what_is_no_clock_time_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="not a clock time; write it like 22:00"):
        parse_clock(text)


@pytest.mark.parametrize("name", ["Europe/Brelin", "", "../etc/passwd", "/etc/passwd", "Europe"])
def test_an_unknown_zone_is_refused(name: str) -> None:
    with pytest.raises(UsageError, match="no time zone"):
        parse_zone(name)


def test_a_window_without_weekdays_is_refused() -> None:
    for weekdays in (frozenset[int](), frozenset({7})):
        with pytest.raises(UsageError, match="weekdays"):
            window("22:00", "06:00", BERLIN, weekdays)


# --- properties ----------------------------------------------------------------------------------

#: Both hemispheres, half hours and quarters, a half-hour change (Lord Howe), changes at midnight
#: (Cairo, Santiago, Sao Paulo until 2019), none at all, and a jump over the date line (Apia).
ZONES = [
    ZoneInfo(name)
    for name in (
        "Europe/Berlin",
        "Europe/London",
        "America/New_York",
        "America/St_Johns",
        "America/Sao_Paulo",
        "America/Santiago",
        "Africa/Cairo",
        "Asia/Kolkata",
        "Asia/Kathmandu",
        "Australia/Adelaide",
        "Australia/Lord_Howe",
        "Pacific/Auckland",
        "Pacific/Apia",
        "UTC",
    )
]
zones = st.sampled_from(ZONES)
clocks = st.builds(time, st.integers(0, 23), st.integers(0, 59))
windows_drawn = st.builds(
    Window,
    name=st.just("demo"),
    sweep=st.just("demo"),
    start=clocks,
    end=clocks,
    zone=zones,
    weekdays=st.frozensets(st.integers(0, 6), min_size=1),
)


def transitions(zone: ZoneInfo, first: date, last: date) -> Iterator[float]:
    """Where the offset changes, to the minute, found by asking for the offset only."""
    step = 6 * 3600
    when = int(datetime.combine(first, time(), UTC).timestamp())
    end = int(datetime.combine(last, time(), UTC).timestamp())
    while when < end:
        low, high = when, when + step
        if local(low, zone).utcoffset() != local(high, zone).utcoffset():
            while high - low > 60:
                middle = (low + high) // 120 * 60
                same = local(middle, zone).utcoffset() == local(low, zone).utcoffset()
                low, high = (middle, high) if same else (low, middle)
            yield high
        when += step


def by_search(wall: datetime, zone: ZoneInfo) -> float:
    """What `instant` should say, by walking along UTC and reading the clock on the wall."""
    near = int(wall.replace(tzinfo=UTC).timestamp())
    before = None
    for when in range(near - 26 * 3600, near + 26 * 3600, 60):
        seen = local(when, zone).replace(tzinfo=None, fold=0)
        if seen == wall:
            return when
        if seen > wall and before is not None:
            return before + (wall - local(before, zone).replace(tzinfo=None)).total_seconds()
        before = when
    raise AssertionError("not found within a day")


CHANGES = [
    (zone, when) for zone in ZONES for when in transitions(zone, date(2011, 6, 1), date(2012, 6, 1))
]


def test_there_are_changes_to_test_with() -> None:
    """The next property would pass on nothing otherwise."""
    assert len(CHANGES) > 12
    assert {"Australia/Lord_Howe", "Pacific/Apia"} < {zone.key for zone, _ in CHANGES}


@settings(max_examples=100)
@given(st.sampled_from(CHANGES), st.integers(-100, 100))
def test_instants_around_every_change_agree_with_a_search(
    change: tuple[ZoneInfo, float], minutes: int
) -> None:
    """Round every change, on both sides of it, the wall clock's own order decides."""
    zone, when = change
    side = local(when - 60, zone).replace(tzinfo=None, fold=0)
    wall = side + timedelta(minutes=minutes)
    assert by_search(wall, zone) == instant(wall, zone)


@settings(max_examples=60)
@given(windows_drawn, st.integers(2005, 2032), st.integers(1, 30))
def test_each_night_s_window_comes_exactly_once_in_years(
    item: Window, year: int, chunk: int
) -> None:
    """Two years asked for in pieces of any size: every chosen night once, true to the clock."""
    since, until = (datetime(y, 1, 1, tzinfo=UTC).timestamp() for y in (year, year + 2))
    nights: list[date] = []
    last_close = 0.0
    step = chunk * 86400.0
    begin = since
    while begin < until:
        end = min(begin + step, until)
        for found in occurrences([item], begin, end):
            if begin <= found.opens < end:
                nights.append(found.night)
                assert last_close <= found.opens < found.closes
                last_close = found.closes
                opened = local(found.opens, item.zone).replace(tzinfo=None, fold=0)
                closed = local(found.closes, item.zone).replace(tzinfo=None, fold=0)
                if not is_skipped(opened, item.zone) and (opened.time() == item.start):
                    assert found.night == night_of(found.opens, item.zone)
                else:
                    assert is_skipped(item.walls(found.night)[0], item.zone)
                if closed.time() != item.end:
                    assert any(is_skipped(wall, item.zone) for wall in item.walls(found.night))
        begin = end
    expected = []
    night, stop = night_of(since, item.zone) - DAY, night_of(until, item.zone) + DAY
    while night <= stop:
        left_out = item.zone.key == "Pacific/Apia" and night == date(2011, 12, 30)
        if night.weekday() in item.weekdays and not left_out:
            start, _ = item.walls(night)
            if since <= instant(start, item.zone) < until:
                expected.append(night)
        night += DAY
    assert expected == nights


@settings(max_examples=100)
@given(windows_drawn, st.dates(date(2005, 1, 1), date(2035, 1, 1)))
def test_the_true_length_is_the_written_one_and_the_change_of_offset(
    item: Window, night: date
) -> None:
    """length = written + offset at the start - offset at the end, for walls that exist."""
    found = item.in_night(night)
    if found is None or any(is_skipped(wall, item.zone) for wall in item.walls(night)):
        return
    at_open, at_close = (local(when, item.zone).utcoffset() for when in (found.opens, found.closes))
    assert at_open is not None
    assert at_close is not None
    expected = found.written + (at_open - at_close).total_seconds()
    assert expected == found.length
