"""Several sweeps in one window: revisit times kept, shares kept, nothing lost or starved.

The sums are worked out by hand from the definitions: a visit is settle and dwell, a revisit time
is from the beginning of a visit to the next one of the same channel (docs/standards.md, 1.1).
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import time
from itertools import islice, pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vfod.errors import UsageError
from vfod.plan.outlook import outlook, warnings
from vfod.plan.roster import STRETCH, Roster, roster_of
from vfod.plan.sweep import Sweep, Visit, plan_sweep
from vfod.plan.windows import Guest, Window
from vfod.radio.bands import bands_for
from vfod.radio.receiver import Detector, Range, Receiver

BANDS = {band.name: band for band in bands_for(1)}


def receiver(*cuts: int) -> Receiver:
    edges = (150_000, *cuts, 30_000_000)
    return Receiver(
        ranges=tuple(
            Range(low=low, high=high, detector=Detector.DIRECT, offset=0, settle=0.3, select=place)
            for place, (low, high) in enumerate(pairwise(edges))
        )
    )


ONE_RANGE, TWO_RANGES = receiver(), receiver(8_000_000)
SIX = tuple(range(7_205_000, 7_235_000, 5_000))
SWEEPS = {
    "band": Sweep(name="band", vfo="main", bands=(BANDS["41m"],)),
    "six": Sweep(name="six", vfo="main", channels=SIX),
    "two": Sweep(name="two", vfo="main", channels=(9_400_000, 9_405_000)),
    "far": Sweep(name="far", vfo="main", bands=(BANDS["31m"],)),
}


def roster(*guests: Guest, over: Receiver = ONE_RANGE, own: str = "band") -> Roster:
    window = Window(
        name="w",
        sweep=own,
        start=time(22),
        end=time(6),
        zone=ZoneInfo("UTC"),
        guests=guests,
    )
    return roster_of(window, SWEEPS, over)


def timed(visits: Iterable[Visit], seconds: float) -> list[tuple[float, Visit]]:
    """The visits that begin before so many seconds, with when they begin."""
    found, now = [], 0.0
    for visit in visits:
        if now >= seconds:
            break
        found.append((now, visit))
        now += visit.duration
    return found


def gaps(walked: list[tuple[float, Visit]], name: str) -> dict[int, list[float]]:
    """Times from visit to visit of each channel of a sweep."""
    began: dict[int, list[float]] = {}
    for when, visit in walked:
        if visit.sweep.name == name:
            began.setdefault(visit.dial, []).append(when)
    return {dial: [b - a for a, b in pairwise(times)] for dial, times in began.items()}


def test_without_guests_it_is_the_sweep() -> None:
    """Visit for visit what the plan of the sweep alone does, from any place."""
    plan = plan_sweep(SWEEPS["band"], TWO_RANGES)
    for place in ((0, 0), (3, 17)):
        alone = list(islice(plan.walk(*place, coming_from=7_000_000), 200))
        assert alone == list(islice(Roster(main=plan).walk(*place, coming_from=7_000_000), 200))


def test_six_channels_every_two_minutes_and_the_rest_of_the_band_in_between() -> None:
    """Eight hours: the six come at most 120 s apart, and as seldom as that allows."""
    walked = timed(roster(Guest(sweep="six", every=120.0)).walk(), 8 * 3600)
    six = gaps(walked, "six")
    assert set(SIX) == set(six)
    for times in six.values():
        # 6 visits of 2.3 s and 46 more are 119.6 s; one more would be 121.9 s. The first visit of
        # the night has its settle of 0.3 s doubled, because the dial comes from elsewhere.
        assert {119.6} == {round(gap, 6) for gap in times[1:]}
        assert times[0] <= 120.0 + 1e-6
    rest = [visit.dial for _, visit in walked if visit.sweep.name == "band"]
    channels = [dial for dial in range(7_200_000, 7_450_001, 5_000) if dial not in SIX]
    assert 45 == len(channels)
    # In order, without one left out, as if nothing had come in between.
    expected = [channels[place % 45] for place in range(len(rest))]
    assert expected == rest
    # (28800 - 241 * 13.8) s / 2.3 s / 45 channels is 246.
    assert 246 == len(rest) // 45


def test_a_pass_of_a_revisited_guest_is_not_torn() -> None:
    """Its channels follow each other, so that a range is changed twice and not twelve times."""
    walked = [visit for _, visit in timed(roster(Guest(sweep="six", every=120.0)).walk(), 7200)]
    names = [visit.sweep.name for visit in walked]
    starts = [i for i, visit in enumerate(walked) if visit.dial == SIX[0]]
    for start in starts[:-1]:
        assert ["six"] * 6 + ["band"] == names[start : start + 7]


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.9])
def test_a_share_is_kept_at_any_time_of_the_night(share: float) -> None:
    """Never more than half a stretch and a visit from it, in ten hours."""
    used = now = 0.0
    for visit in roster(Guest(sweep="far", share=share)).walk():
        if now > 36_000:
            break
        assert abs(used - share * now) <= STRETCH / 2 + 5
        used += visit.duration if visit.sweep.name == "far" else 0.0
        now += visit.duration
    assert share == pytest.approx(used / now, abs=0.005)


def test_a_share_changes_range_twice_a_stretch() -> None:
    """31 m and 41 m lie in two ranges: at 30 % a stretch of 2 min comes every 400 s."""
    shared = timed(roster(Guest(sweep="far", share=0.3), over=TWO_RANGES).walk(), 36_000)
    changes = sum(visit.range_change for _, visit in shared)
    assert 2 * 36_000 / 400 == pytest.approx(changes, abs=6)
    selects = [visit.select for _, visit in shared]
    assert changes - 1 == sum(a != b for a, b in pairwise(selects))


def test_a_changed_range_settles_longer() -> None:
    """Also from one sweep to the other: the first visit of a stretch has its settle doubled."""
    walked = timed(roster(Guest(sweep="far", share=0.3), over=TWO_RANGES).walk(), 3600)
    for (_, before), (_, visit) in pairwise(walked):
        assert (0.6 if before.select != visit.select else 0.3) == visit.settle


def test_what_was_lost_makes_a_guest_due() -> None:
    """After a hold of two minutes the six come next."""
    lost = 0.0
    walk = roster(Guest(sweep="six", every=120.0)).walk(lost=lambda: lost)
    assert [*["six"] * 6, *["band"] * 4] == [next(walk).sweep.name for _ in range(10)]
    lost = 120.0
    assert ["six"] * 6 == [next(walk).sweep.name for _ in range(6)]


@pytest.mark.parametrize("is_next", [False, True])
def test_an_interlude_in_a_hold_is_a_whole_pass_and_back(is_next: bool) -> None:
    """Also where the guest came next anyway; the settles are those of the way that is gone, the
    guest is due again a revisit time after it began, and the own sweep loses no channel.
    """
    lost = 0.0
    found = roster(Guest(sweep="two", every=60.0), over=TWO_RANGES)
    walk = found.walk(lost=lambda: lost)
    visits = [next(walk) for _ in range(8)]
    while visits[-1].sweep.name != "two" if is_next else len(visits) < 10:
        visits.append(next(walk))
    *_, held, coming = visits
    assert is_next is (coming.sweep.name == "two")
    assert "band" == held.sweep.name
    lost = 300.0
    came = walk.interlude(found.guests[0][1], held, coming)
    assert list(SWEEPS["two"].channels) == [visit.dial for visit in came[:2]]
    assert [("two", 0.6), ("two", 0.3), ("band", 0.6)] == [(v.sweep.name, v.settle) for v in came]
    assert (held.pass_number, held.index, held.dial) == (
        came[2].pass_number,
        came[2].index,
        came[2].dial,
    )
    after = [next(walk) for _ in range(60)]
    own = [visit for visit in ([] if is_next else [coming]) + after if visit.sweep.name == "band"]
    assert [held.index + 1 + k for k in range(len(own))][:20] == [visit.index for visit in own[:20]]
    # 300 s later than it was planned, and from then on each 60 s or sooner.
    until = next(k for k, visit in enumerate(after) if visit.sweep.name == "two")
    begun = sum(v.duration for v in (*came, *([] if is_next else [coming]), *after[:until]))
    assert 60 - 2.3 - 0.3 <= begun <= 60 + came[2].duration
    for before, visit in pairwise([*([held] if is_next else [coming]), *after]):
        assert (0.6 if before.select != visit.select else 0.3) == visit.settle


def test_resuming_is_by_the_windows_own_sweep() -> None:
    """A roster joined late goes on at the channel that its own sweep left."""
    found = roster(Guest(sweep="six", every=120.0))
    place = found.main.resume_at(7_300_000)
    first = next(v for v in found.walk(*place) if v.sweep.name == "band")
    assert 7_300_000 == first.dial


def test_nothing_left_is_a_complaint() -> None:
    with pytest.raises(UsageError, match="no channel left"):
        roster_of(
            Window(
                name="w",
                sweep="six",
                start=time(22),
                end=time(6),
                zone=ZoneInfo("UTC"),
                guests=(Guest(sweep="band", every=600.0),),
            ),
            SWEEPS,
            ONE_RANGE,
        )
    for guest in ({}, {"every": 60.0, "share": 0.3}):
        with pytest.raises(UsageError, match="needs a revisit time or a share"):
            Guest(sweep="six", **guest)


# --- beforehand ----------------------------------------------------------------------------------


def test_the_arithmetic_of_a_sweep_alone() -> None:
    """51 channels, 107.1 s, 268 visits in eight hours (docs/standards.md, section 1.4)."""
    sweep = replace(SWEEPS["band"], settle=0.1)
    (found,) = outlook(Roster(main=plan_sweep(sweep, ONE_RANGE)), 28_800)
    assert (51, 268) == (len(found.plan), found.visits)
    assert found.revisit_time == pytest.approx(107.1, abs=0.11)
    assert found.share == pytest.approx(1.0, abs=1e-4)
    assert [] == warnings([found])


def test_a_revisit_time_that_cannot_be_kept_is_told() -> None:
    """A pass of the six takes 13.8 s and a visit of the band 2.3 s, 0.3 s more at the start."""
    found = outlook(roster(Guest(sweep="six", every=10.0)), 3600)
    assert [
        "six cannot be had every 10 s: it takes up to 16.4 s, because a pass of it takes 13.8 s"
    ] == [text for text in warnings(found) if text.startswith("six")]
    assert found[0].share == pytest.approx(2.3 / 16.1, abs=0.01)
    assert [] == warnings(outlook(roster(Guest(sweep="six", every=120.0)), 3600))


def test_a_share_beside_a_revisit_time_that_leaves_less_is_told() -> None:
    """The six take 13.8 s of every 18.4 s; half of the time for another is not to be had."""
    found = outlook(roster(Guest(sweep="six", every=18.4), Guest(sweep="far", share=0.5)), 7200)
    said = warnings(found)
    assert any(text.startswith("far has 2") and "and not 50%" in text for text in said), said


def test_a_window_shorter_than_a_pass_is_told() -> None:
    """101 channels of 2.3 s do not fit into two minutes."""
    (found,) = outlook(Roster(main=plan_sweep(SWEEPS["far"], ONE_RANGE)), 120)
    assert 0 == found.visits
    assert found.revisit_time is None
    assert [
        "not every channel of far is visited: a pass of it alone takes 4 min, and it has 119.9 s"
    ] == warnings([found])


# --- properties ----------------------------------------------------------------------------------

channels = st.lists(st.integers(400, 4_000), min_size=1, max_size=12, unique=True)
dwells = st.sampled_from([0.3, 0.5, 2.0, 5.0])
guests = st.lists(
    st.tuples(channels, dwells, st.floats(5, 600) | st.none(), st.floats(0.01, 0.3)),
    min_size=1,
    max_size=3,
)


@settings(deadline=None, max_examples=150)
@given(channels, dwells, guests, st.booleans())
def test_any_roster_keeps_what_can_be_kept(
    own: list[int],
    dwell: float,
    drawn: list[tuple[list[int], float, float | None, float]],
    two: bool,
) -> None:
    """Each sweep goes on where it was, none starves, and each revisit time that fits is kept."""
    over = TWO_RANGES if two else ONE_RANGE
    # In places of their own, so that no channel is taken out of the window's own sweep.
    main = plan_sweep(
        Sweep(name="own", vfo="main", channels=tuple(5_000 * c for c in own), dwell=dwell), over
    )
    parts = []
    for number, (dials, stay, every, share) in enumerate(drawn):
        sweep = Sweep(
            name=f"g{number}",
            vfo="main",
            channels=tuple(5_000 * c + number + 1 for c in dials),
            dwell=stay,
        )
        guest = Guest(sweep=sweep.name, every=every, share=None if every else share)
        parts.append((guest, plan_sweep(sweep, over)))
    found = Roster(main=main, guests=tuple(parts))
    walked = timed(found.walk(), 1800)
    for plan in (main, *(plan for _, plan in parts)):
        seen = [v for _, v in walked if v.sweep.name == plan.sweep.name]
        alone = list(islice(plan.walk(), len(seen)))
        assert [(v.pass_number, v.index, v.dial) for v in alone] == [
            (v.pass_number, v.index, v.dial) for v in seen
        ]
    assert any(visit.sweep.name == "own" for _, visit in walked)
    timed_parts = [(g, p) for g, p in parts if g.every is not None]
    # What may lie between two passes of one guest at most: a pass of each, and a visit.
    longest = max(p.sweep.dwell for p in (main, *(p for _, p in parts))) + 0.6
    passes = sum(sum(v.duration for v in p) + 0.6 for _, p in timed_parts)
    for guest, _ in timed_parts:
        assert guest.every is not None
        if passes + longest <= guest.every and passes + longest <= min(
            g.every or 0 for g, _ in timed_parts
        ):
            for times in gaps(walked, guest.sweep).values():
                # A settle of 0.3 s more or less, after another range.
                assert all(gap <= guest.every + 0.3 * len(parts) + 1e-6 for gap in times)
