"""Who has the dial when windows overlap, and the agenda's words for it."""

from dataclasses import replace
from datetime import UTC, datetime, time
from itertools import islice, pairwise
from zoneinfo import ZoneInfo

from hypothesis import given, settings
from hypothesis import strategies as st

from vfod.plan.agenda import agenda, coming
from vfod.plan.slots import DAY, Slot, next_opening, open_at, openings, resolve
from vfod.plan.windows import Window, occurrences

BERLIN = ZoneInfo("Europe/Berlin")


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=BERLIN).timestamp()


def window(name: str, start: int, end: int, *weekdays: int, zone: ZoneInfo = BERLIN) -> Window:
    return Window(
        name=name,
        sweep=f"sweep-{name}",
        start=time(start),
        end=time(end),
        zone=zone,
        weekdays=frozenset(weekdays or range(7)),
    )


def told(slots: tuple[Slot, ...]) -> list[tuple[str, str, str | None, str | None]]:
    return [
        (
            slot.window.name,
            f"{datetime.fromtimestamp(slot.opens, BERLIN):%d %H}-"
            f"{datetime.fromtimestamp(slot.closes, BERLIN):%d %H}",
            slot.after.name if slot.after else None,
            slot.before.name if slot.before else None,
        )
        for slot in slots
    ]


FIRST, SECOND = window("first", 23, 1), window("second", 22, 6)
NIGHT = at("2026-06-21T12:00"), at("2026-06-22T12:00")


def test_the_first_listed_wins_and_the_other_takes_up_again() -> None:
    """22-23 second, 23-01 first, 01-06 second, each part saying who cut it."""
    assert [
        ("second", "21 22-21 23", None, "first"),
        ("first", "21 23-22 01", None, None),
        ("second", "22 01-22 06", "first", None),
    ] == told(resolve([FIRST, SECOND], *NIGHT).slots)


def test_listed_the_other_way_round_the_inner_window_is_covered() -> None:
    found = resolve([SECOND, FIRST], *NIGHT)
    assert [("second", "21 22-22 06", None, None)] == told(found.slots)
    assert ["first"] == [item.occurrence.window.name for item in found.covered]
    assert (SECOND,) == found.covered[0].by


def test_windows_that_touch_do_not_cut_each_other() -> None:
    found = resolve([window("early", 20, 22), SECOND], *NIGHT)
    assert [("early", "21 20-21 22", None, None), ("second", "21 22-22 06", None, None)] == told(
        found.slots
    )


def test_open_at_holds_the_opening_instant_and_not_the_closing_one() -> None:
    opens, closes = at("2026-06-21T22:00"), at("2026-06-22T06:00")
    assert [None, "second", "second", None] == [
        slot.window.name if (slot := open_at([SECOND], when)) else None
        for when in (opens - 1, opens, closes - 0.001, closes)
    ]


def test_a_daemon_that_starts_inside_a_window_finds_it_whole() -> None:
    """The slot found in mid-window still says when it opened and will close."""
    found = open_at([SECOND], at("2026-06-22T03:00"))
    assert found is not None
    assert (at("2026-06-21T22:00"), at("2026-06-22T06:00")) == (found.opens, found.closes)


def test_the_next_opening_is_after_the_instant_given() -> None:
    opens = at("2026-06-21T22:00")
    for when, expected in [(opens - 1, opens), (opens, opens + DAY), (opens + 3600, opens + DAY)]:
        found = next_opening([SECOND], when)
        assert found is not None
        assert expected == found.opens
    assert next_opening([], opens) is None


def test_a_weekly_window_is_found_a_week_ahead() -> None:
    """Only Sunday nights: from Monday on, the next Sunday."""
    found = next_opening([window("weekly", 22, 6, 6)], at("2026-06-22T12:00"))
    assert found is not None
    assert at("2026-06-28T22:00") == found.opens


def test_a_window_never_reached_ends_the_search() -> None:
    """Covered every night, it does not open within the horizon; the search comes to an end."""
    days = [window("always", 12, 12), window("never", 22, 23)]
    found = list(openings(days, at("2026-06-21T12:30")))
    assert {"always"} == {slot.window.name for slot in found}
    assert len(found) == 400


# --- the agenda ----------------------------------------------------------------------------------


def test_the_agenda_says_times_and_reasons() -> None:
    """Local and UTC, the true length, and the cut."""
    found = [str(entry) for entry in agenda([FIRST, SECOND], at("2026-03-28T12:00"), 3)]
    assert [
        "Sat 2026-03-28 22:00 to Sat 23:00 Europe/Berlin (2026-03-28 21:00 to 22:00 UTC), 1 h: "
        "second, sweep sweep-second; "
        "7 h instead of 8 h, because the clocks go forward in this night; "
        "only until 23:00, then first has the dial, which is listed before it",
        "Sat 2026-03-28 23:00 to Sun 01:00 Europe/Berlin (2026-03-28 22:00 to 00:00 UTC), 2 h: "
        "first, sweep sweep-first",
        "Sun 2026-03-29 01:00 to Sun 06:00 Europe/Berlin (2026-03-29 00:00 to 04:00 UTC), 4 h: "
        "second, sweep sweep-second; "
        "7 h instead of 8 h, because the clocks go forward in this night; "
        "not before 01:00, until then first has the dial",
    ] == found


def test_the_agenda_tells_of_a_window_that_does_not_run() -> None:
    entries = agenda([SECOND, FIRST], at("2026-06-21T12:00"), 1)
    assert [("second", True), ("first", False)] == [(e.window, e.runs) for e in entries]
    assert ("does not run, because second has the dial all that time",) == entries[1].reasons


def test_coming_includes_the_window_that_is_open_now() -> None:
    """The agenda of a day begins with what runs already."""
    now = at("2026-06-22T03:00")
    assert [at("2026-06-21T22:00"), at("2026-06-22T22:00")] == [
        entry.opens for entry in coming([SECOND], now, now + DAY)
    ]


def test_the_agenda_counts_openings() -> None:
    assert len(agenda([SECOND], at("2026-06-21T12:00"), 30)) == 30


# --- properties ----------------------------------------------------------------------------------

zones = st.sampled_from(
    [ZoneInfo(z) for z in ("Europe/Berlin", "America/New_York", "Asia/Kolkata", "UTC")]
)
clocks = st.builds(time, st.integers(0, 23), st.sampled_from([0, 15, 30]))
window_lists = st.lists(
    st.builds(
        Window,
        name=st.just("named below"),
        sweep=st.just("demo"),
        start=clocks,
        end=clocks,
        zone=zones,
        weekdays=st.frozensets(st.integers(0, 6), min_size=3),
    ),
    min_size=1,
    max_size=5,
).map(lambda drawn: [replace(item, name=f"w{place}") for place, item in enumerate(drawn)])
#: Around the changes of the clocks of 2026 as often as not.
moments = st.sampled_from(
    [datetime(2026, m, d, tzinfo=UTC).timestamp() for m, d in ((3, 28), (10, 24), (3, 7), (10, 31))]
) | st.integers(1_700_000_000, 1_900_000_000).map(float)


@settings(max_examples=100)
@given(window_lists, moments, st.integers(3, 14), st.data())
def test_no_overlap_no_gap_and_the_first_listed_wins(
    windows: list[Window], since: float, days: int, data: st.DataObject
) -> None:
    """At every instant the holder is the first listed of the windows open then, or nobody."""
    until = since + days * DAY
    found = resolve(windows, since, until)
    for one, other in pairwise(found.slots):
        assert one.opens < one.closes <= other.opens
    everything = occurrences(windows, since, until)
    for when in data.draw(st.lists(st.floats(since, until, exclude_max=True), max_size=30)):
        running = [item for item in everything if item.opens <= when < item.closes]
        expected = next((w for w in windows if any(item.window is w for item in running)), None)
        holders = [slot for slot in found.slots if slot.opens <= when < slot.closes]
        assert len(holders) <= 1
        assert expected == (holders[0].window if holders else None)
        single = open_at(windows, when)
        assert (holders[0] if holders else None) == single
    # None is lost without a word: each either runs at some time, or is said to be covered.
    served = [s.occurrence for s in resolve(windows, since - 2 * DAY, until + 2 * DAY).slots]
    covered = [item.occurrence for item in found.covered]
    assert all((item in served) != (item in covered) for item in everything)


@settings(max_examples=60)
@given(window_lists, moments)
def test_openings_come_each_once_and_in_order(windows: list[Window], when: float) -> None:
    """Looked for in steps or taken from one resolution, the openings are the same."""
    listed = list(islice(openings(windows, when), 60))
    assert sorted(slot.opens for slot in listed) == [slot.opens for slot in listed]
    assert listed[0] == next_opening(windows, when)
    whole = resolve(windows, when, listed[-1].opens + 1).slots
    assert [slot for slot in whole if slot.opens > when] == listed
