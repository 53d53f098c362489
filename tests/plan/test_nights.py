"""Nights of any windows, anywhere: at least 2,000 spans of 3 to 14 days, and 20 whole years.

What a span should hold is worked out here from the definitions, instant by instant and night by
night, and not with the functions that resolve it.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vfod.plan.dates import Season, Span
from vfod.plan.localtime import is_skipped, local
from vfod.plan.moments import Lasting, Moment, SunTime, UtcTime
from vfod.plan.slots import DAY, idle_nights, openings, resolve
from vfod.plan.windows import Window, occurrences
from vfod.radio.sun import Site, SunEvent, elevation

#: Zone, with a place in it or, where it says so, far from it: half and quarter hours, southern
#: summers, changes of half an hour and of two, changes at midnight, none, both polar circles, near
#: the poles, and a zone that is twelve hours from its sun.
PLACES = [
    ("Europe/Berlin", 52.52, 13.4),
    ("America/New_York", 40.7, -74.0),
    ("America/St_Johns", 47.56, -52.7),
    ("Asia/Kolkata", 22.57, 88.36),
    ("Asia/Kathmandu", 27.7, 85.3),
    ("Australia/Adelaide", -34.9, 138.6),
    ("Australia/Lord_Howe", -31.5, 159.1),
    ("America/Santiago", -53.15, -70.9),
    ("Pacific/Auckland", -36.85, 174.76),
    ("Pacific/Chatham", -43.9, -176.5),
    ("America/Bogota", 0.0, -74.0),
    ("Europe/Helsinki", 66.56, 25.7),
    ("Europe/Oslo", 78.2, 15.6),
    ("Antarctica/Troll", -72.0, 2.5),
    ("Antarctica/Davis", -66.56, 78.0),
    ("UTC", -17.7, 178.0),
]
ZONES = [(ZoneInfo(zone), Site(latitude=lat, longitude=lon)) for zone, lat, lon in PLACES]

clocks = st.builds(time, st.integers(0, 23), st.integers(0, 59))
moments: st.SearchStrategy[Moment] = st.one_of(
    clocks,
    st.builds(UtcTime, clocks),
    st.builds(
        SunTime,
        st.sampled_from(SunEvent),
        st.integers(-360, 360).map(lambda minutes: minutes * 60.0),
        st.none() | clocks,
    ),
)
dates = st.dates(date(2015, 1, 1), date(2036, 12, 31))
spans = st.one_of(
    st.builds(lambda first, days: Span(first, first + timedelta(days)), dates, st.integers(0, 400)),
    st.builds(lambda first, last: Span(first, last, yearly=True), dates, dates),
)


@st.composite
def window_lists(draw: st.DrawFn, most: int = 5) -> list[Window]:
    """Windows of one listener: one zone and one place."""
    zone, site = draw(st.sampled_from(ZONES))
    return [
        Window(
            name=f"w{place}",
            sweep=f"s{place}",
            start=draw(moments),
            end=draw(moments | st.builds(Lasting, st.floats(60, DAY))),
            zone=zone,
            site=site,
            weekdays=draw(
                st.just(frozenset(range(7))) | st.frozensets(st.integers(0, 6), min_size=1)
            ),
            dates=tuple(draw(st.lists(spans, max_size=1))),
            left_out=tuple(draw(st.lists(spans, max_size=1))),
            season=draw(st.none() | st.builds(Season, st.sampled_from("AB"))),
            priority=draw(st.integers(-2, 2)),
        )
        for place in range(draw(st.integers(1, most)))
    ]


#: Round the changes of the clocks and the solstices as often as not.
begins = st.sampled_from(
    [
        datetime(2026, month, day, tzinfo=UTC).timestamp()
        for month, day in ((3, 7), (3, 27), (4, 3), (6, 19), (10, 2), (10, 23), (10, 30), (12, 20))
    ]
) | st.integers(1_450_000_000, 2_080_000_000).map(float)


def chosen(window: Window, night: date) -> bool:
    """By weekday and date; every zone above has every date of these years."""
    return (
        night.weekday() in window.weekdays
        and (not window.dates or any(holds(span, night) for span in window.dates))
        and not any(holds(span, night) for span in window.left_out)
    )


def holds(span: Span, night: date) -> bool:
    """A span day by day, as it is defined."""
    if not span.yearly:
        return span.first <= night <= span.last
    day = span.first.replace(year=2000)
    while True:
        if (day.month, day.day) == (night.month, night.day):
            return True
        if (day.month, day.day) == (span.last.month, span.last.day):
            return False
        # Round a leap year and round again, so that 29 February is one of its days.
        day = (day + timedelta(1)).replace(year=2000)


def is_meant(moment: Moment, when: float, window: Window) -> bool:
    """Whether an instant is what a moment says, by the clock on the wall, by UTC or by the sun."""
    wall = local(when, window.zone).replace(tzinfo=None, fold=0)
    match moment:
        case UtcTime(at=at):
            return datetime.fromtimestamp(when, UTC).time() == at
        case SunTime():
            assert window.site is not None
            event, bare = moment.event, when - moment.offset
            seen = elevation(bare, window.site) - event.elevation
            near = elevation(bare - 2, window.site) - event.elevation
            if (near <= 0 <= seen) if event.is_rising else (near >= 0 >= seen):
                return True
            return is_meant(moment.fallback, when, window)
    assert isinstance(moment, time)
    # After a leap of the clocks, what it leapt over is read with the offset before.
    hour = timedelta(minutes=30)
    skipped = any(
        wall - shift * hour == datetime.combine((wall - shift * hour).date(), moment)
        and is_skipped(wall - shift * hour, window.zone)
        for shift in (1, 2, 3, 4)
    )
    return wall.time() == moment or skipped


def check(windows: list[Window], since: float, until: float, instants: Iterable[float]) -> None:
    """All that is promised of a span."""
    found = resolve(windows, since, until)
    everything = occurrences(windows, since - 4 * DAY, until + 4 * DAY)
    # No overlap, and no gap: at every instant the holder is the best of the open ones, or nobody.
    for one, other in pairwise(found.slots):
        assert one.opens < one.closes <= other.opens
    for when in instants:
        running = [item.window for item in everything if item.opens <= when < item.closes]
        best = min(running, key=lambda w: (-w.priority, windows.index(w)), default=None)
        holders = [slot.window for slot in found.slots if slot.opens <= when < slot.closes]
        assert ([] if best is None else [best]) == holders
    # Parts of one night leave no gap where one hands over to the other.
    begun, ended = {s.opens for s in found.slots}, {s.closes for s in found.slots}
    for slot in found.slots:
        part = slot.occurrence
        if slot.closes < part.closes and slot.closes < until:
            assert slot.closes in begun
        if slot.opens > part.opens and slot.opens > since:
            assert slot.opens in ended
    # Each is served or said to be covered, once.
    shared = [item for item in everything if item.opens < until and item.closes > since]
    served = Counter((s.window.name, s.night) for s in found.slots if s.opens == s.occurrence.opens)
    assert all(count == 1 for count in served.values())
    covered = {(c.occurrence.window.name, c.occurrence.night) for c in found.covered}
    whole = resolve(windows, since - 2 * DAY, until + 2 * DAY).slots
    parts = {(slot.window.name, slot.night) for slot in whole}
    for item in shared:
        name = item.window.name, item.night
        assert (name in parts) != (name in covered)
    per_window(windows, since, until)


def per_window(windows: list[Window], since: float, until: float) -> None:
    """Each chosen night once, at the instants that were written, with the true length."""
    for window in windows:
        wide = occurrences([window], since - 4 * DAY, until + 4 * DAY)
        nights = [item.night for item in wide]
        assert sorted(set(nights)) == nights, "each night once, in order"
        for one, other in pairwise(wide):
            assert one.closes <= other.opens
        # One that would go on when it opens again ends there, the last one at an opening beyond.
        later = occurrences([window], since - 4 * DAY, until + 6 * DAY)
        cut = {other.opens for other in later}
        idle = {item.night for item in idle_nights([window], since - 4 * DAY, until + 4 * DAY)}
        night = local(since, window.zone).date()
        while night < local(until, window.zone).date():
            opened = nights.count(night)
            if not chosen(window, night):
                assert 0 == opened
                assert night not in idle
            elif window.season is None:
                assert 1 == opened + (night in idle), night
            night += timedelta(1)
        for item in wide:
            assert 0 < item.length <= DAY + 7200 + 1
            assert is_meant(window.start, item.opens, window)
            if window.season is not None:
                assert window.season.holds(item.opens)
            if item.closes in cut:
                continue
            if isinstance(window.end, Lasting):
                assert window.end.seconds == pytest.approx(item.length, abs=1e-6)
            elif item.length < DAY - 7200 and not (
                isinstance(window.start, time) and is_skipped_night(window, item.night)
            ):
                assert is_meant(window.end, item.closes, window)


def is_skipped_night(window: Window, night: date) -> bool:
    """Whether the clocks leap in it, over a window that may lie in the leap altogether."""
    noon = datetime.combine(night, time(12), window.zone)
    later = datetime.combine(night + timedelta(2), time(12), window.zone)
    return (later.utcoffset() or timedelta()) > (noon.utcoffset() or timedelta())


#: 2,100 spans in all; three tests, so that they can run side by side.
_SPANS = settings(max_examples=700, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@pytest.mark.parametrize("third", range(3))
def test_any_span_of_3_to_14_days(third: int) -> None:
    """No overlap, no gap, each night's windows exactly once, lengths true in UTC."""

    @_SPANS
    @given(window_lists(), begins, st.integers(3, 14))
    def spans_hold(windows: list[Window], since: float, days: int) -> None:
        until = since + days * DAY
        some = [since + (until - since) * (k + (third + 1) / 4) / 25 for k in range(25)]
        check(windows, since, until, some)

    spans_hold()


@settings(max_examples=24, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(window_lists(most=3), st.integers(2015, 2035))
def test_whole_years(windows: list[Window], year: int) -> None:
    """The same, from new year to new year; and the openings one by one are those of the year."""
    since, until = (datetime(y, 1, 1, tzinfo=UTC).timestamp() for y in (year, year + 1))
    check(windows, since, until, [since + DAY * day * 0.97 for day in range(370)])
    listed = []
    for slot in openings(windows, since):
        if slot.opens >= until:
            break
        listed.append(slot)
    whole = [slot for slot in resolve(windows, since, until).slots if slot.opens > since]
    assert whole == listed


def test_the_places_are_as_many_and_as_odd_as_they_should_be() -> None:
    """At least 8 zones and 8 latitudes; half hours, southern ones, both polar circles."""
    assert 8 <= len({zone.key for zone, _ in ZONES})
    assert 8 <= len({site.latitude for _, site in ZONES})
    july = [datetime(2026, 7, 1, tzinfo=zone).utcoffset() or timedelta() for zone, _ in ZONES]
    assert any(offset.seconds % 3600 == 1800 for offset in july)
    assert any(offset.seconds % 3600 == 2700 for offset in july)
    assert {66.56, -66.56} <= {site.latitude for _, site in ZONES}
    assert sum(site.latitude < 0 for _, site in ZONES) >= 5


def test_a_priority_goes_before_the_order() -> None:
    """Listed last and with the higher priority, a window has the dial; replaced by less, not."""
    zone, site = ZONES[0]
    low = Window(name="low", sweep="a", start=time(22), end=time(6), zone=zone, site=site)
    high = replace(low, name="high", sweep="b", start=time(23), end=time(1), priority=5)
    since = datetime(2026, 6, 21, 12, tzinfo=UTC).timestamp()
    names = [slot.window.name for slot in resolve([low, high], since, since + DAY).slots]
    assert ["low", "high", "low"] == names
    names = [
        s.window.name for s in resolve([low, replace(high, priority=-1)], since, since + DAY).slots
    ]
    assert ["low"] == names
