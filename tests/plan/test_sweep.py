"""A sweep's plan: worked cases of docs/standards.md, section 1.4, and what a runner relies on."""

import math
from dataclasses import replace
from fractions import Fraction
from itertools import islice, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vfod.errors import OutOfRangeError, UsageError
from vfod.plan.sweep import Hold, Order, Sweep, SweepPlan, Visit, plan_sweep
from vfod.radio.bands import band_named, bands_for
from vfod.radio.receiver import Detector, Injection, Range, Receiver

REGION_1 = bands_for(1)


def band_range(low: int, high: int, select: int | None = None, settle: float = 0.1) -> Range:
    return Range(
        low=low,
        high=high,
        detector=Detector.ENVELOPE,
        intermediate_frequency=455_000,
        select=select,
        settle=settle,
    )


ONE_RANGE = Receiver(ranges=(band_range(2_000_000, 30_000_000),))
THREE_RANGES = Receiver(
    ranges=(
        band_range(2_000_000, 7_300_000, select=1),
        band_range(7_300_000, 9_600_000, select=1, settle=0.2),
        band_range(9_600_000, 30_000_000, select=2),
    )
)


def sweep_of(*names: str, **more: object) -> Sweep:
    bands = tuple(band_named(name, REGION_1) for name in names)
    return Sweep(name="demo", vfo="main", bands=bands, **more)  # type: ignore[arg-type]  # by name


def test_the_worked_case_of_41_metres() -> None:
    """7 200 to 7 450 kHz, 5 kHz, 2.0 s dwell, 0.1 s to settle: 51 channels, 107.1 s, 268 visits."""
    plan = plan_sweep(sweep_of("41m", dwell=2.0), ONE_RANGE)
    assert len(plan) == 51
    assert math.isclose(107.1, plan.revisit_time)
    assert math.isclose(107.1, plan.pass_duration)
    assert plan.visits_in(28_800) == 268
    for occupancy, error in [(0.05, 0.5219), (0.1, 0.3592), (0.2, 0.2395), (0.5, 0.1197)]:
        assert math.isclose(error, plan.relative_error(28_800, occupancy), abs_tol=5e-5)


def test_a_window_of_whole_passes_has_them_all() -> None:
    """Three passes of 2.1 s fit 6.3 s, whatever binary fractions make of it."""
    plan = plan_sweep(Sweep(name="one", vfo="main", channels=(9_420_000,)), ONE_RANGE)
    assert plan.visits_in(6.3) == 3


def test_defaults_are_those_of_the_design() -> None:
    """2 s dwell, 8 readings, 6 and 3 dB, holds of 30 s, 3 s quiet, 10 min rest after three."""
    sweep = sweep_of("31m")
    assert (2.0, 8, 6.0, 3.0, Hold(limit=30, quiet=3, rest=600, most=3)) == (
        sweep.dwell,
        sweep.readings,
        sweep.margin,
        sweep.margin_stay,
        sweep.hold,
    )


def test_the_settle_is_the_sweep_s_or_the_range_s() -> None:
    assert plan_sweep(sweep_of("31m", settle=0.5), ONE_RANGE).pass_duration == 101 * 2.5
    slow = Receiver(ranges=(replace(ONE_RANGE.ranges[0], settle=None),))
    assert math.isclose(101 * 2.3, plan_sweep(sweep_of("31m"), slow).pass_duration)


def test_a_change_of_range_doubles_the_settle_and_is_counted() -> None:
    """41 m and 31 m over three ranges: three changes a pass upwards, two of them the filter's."""
    plan = plan_sweep(sweep_of("41m", "31m"), THREE_RANGES)
    changed = [visit for visit in plan if visit.range_change]
    assert [7_200_000, 7_300_000, 9_600_000] == [visit.dial for visit in changed]
    assert [0.2, 0.4, 0.2] == [visit.settle for visit in changed]
    assert {0.1, 0.2} == {visit.settle for visit in plan if not visit.range_change}
    assert (3, 2) == (plan.range_changes, plan.select_changes)


def test_there_and_back_spares_the_way_home() -> None:
    """Turning round at the ends needs one change of range less, one of the filter less a pass."""
    plan = plan_sweep(sweep_of("41m", "31m", order=Order.THERE_AND_BACK), THREE_RANGES)
    assert (2, 1) == (plan.range_changes, plan.select_changes)
    dials = [visit.dial for visit in islice(plan.walk(), 2 * len(plan))]
    up, down = dials[: len(plan)], dials[len(plan) :]
    assert sorted(up) == up == down[::-1]


def test_stretches_of_one_filter_come_one_after_another() -> None:
    """Filter 1 below and above, filter 2 between: 2 switchings a pass, where straight on has 4."""
    split = Receiver(
        ranges=(
            band_range(2_000_000, 7_300_000, select=1),
            band_range(7_300_000, 9_600_000, select=2),
            band_range(9_600_000, 11_000_000, select=None),
            band_range(11_000_000, 12_000_000, select=1),
            band_range(12_000_000, 30_000_000, select=2),
        )
    )
    dials = (7_200_000, 7_400_000, 9_700_000, 11_500_000, 13_600_000)
    plan = plan_sweep(Sweep(name="demo", vfo="main", channels=dials), split)
    assert [7_200_000, 11_500_000, 7_400_000, 9_700_000, 13_600_000] == [v.dial for v in plan]
    assert (5, 2) == (plan.range_changes, plan.select_changes)
    assert (0, 1) == plan.resume_at(11_500_000)
    assert (0, 3) == plan.resume_at(9_650_000)


def test_bands_apart_stay_apart_unless_joined() -> None:
    """31 m and 25 m have 202 channels; joined, all from 9 400 to 12 100 kHz, the border once."""
    assert len(plan_sweep(sweep_of("31m", "25m"), ONE_RANGE)) == 202
    joined = plan_sweep(sweep_of("31m", "25m", joined=True), ONE_RANGE)
    assert list(range(9_400_000, 12_100_001, 5_000)) == [visit.dial for visit in joined]
    assert ["31m", "25m"] == [v.band for v in joined if v.dial in (10_745_000, 10_750_000)]


def test_a_visit_tells_all_a_runner_needs() -> None:
    plan = plan_sweep(sweep_of("31m"), THREE_RANGES)
    expected = Visit(
        pass_number=0,
        index=40,
        dial=9_600_000,
        band="31m",
        settle=0.2,
        dwell=2.0,
        range_change=True,
        select=2,
        sweep=plan.sweep,
        ends_pass=False,
    )
    assert expected == list(plan)[40]
    assert math.isclose(2.2, expected.duration)
    assert [100] == [visit.index for visit in plan if visit.ends_pass]


def test_the_first_visit_looks_at_where_the_dial_was() -> None:
    """From the same range no change; from another, from outside and from nowhere, a change."""
    plan = plan_sweep(sweep_of("31m"), THREE_RANGES)
    assert [False, True, True, True] == [
        next(plan.walk(coming_from=dial)).range_change
        for dial in (7_400_000, 9_600_000, 3_000_000, None)
    ]


# --- complaints ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"bands": ()}, "either bands or channels"),
        ({"channels": (9_420_000,)}, "either bands or channels"),
        ({"raster": 0}, "raster"),
        ({"dwell": 0.0}, "dwell"),
        ({"dwell": float("nan")}, "dwell"),
        ({"settle": -1.0}, "settle"),
        ({"readings": 0}, "readings"),
        ({"margin_stay": 7.0}, "margin to stay"),
        ({"skip": ((9_600_000, 9_500_000),)}, "lower end first"),
    ],
)
def test_a_wrong_sweep_is_refused_by_name(changes: dict[str, object], complaint: str) -> None:
    with pytest.raises(UsageError, match=rf"sweep 'demo'.*{complaint}"):
        replace(sweep_of("31m"), **changes)  # type: ignore[arg-type]  # wrong on purpose


def test_a_dwell_shorter_than_the_settle_is_refused() -> None:
    with pytest.raises(UsageError, match=r"dwells 0\.2 s, shorter than its settle of 0\.3 s"):
        plan_sweep(sweep_of("31m", dwell=0.2, settle=0.3), ONE_RANGE)


def test_a_sweep_with_everything_skipped_is_refused() -> None:
    with pytest.raises(UsageError, match="no channel left"):
        plan_sweep(sweep_of("31m", skip=((9_000_000, 9_990_000),)), ONE_RANGE)


def test_a_channel_the_receiver_cannot_tune_is_named() -> None:
    """The complaint has sweep, channel, band, and how far the receiver goes."""
    narrow = Receiver(ranges=(band_range(2_000_000, 9_500_000),))
    with pytest.raises(
        OutOfRangeError, match=r"sweep 'demo', channel 9505 kHz of 31m: .*2000 kHz to 9500 kHz"
    ):
        plan_sweep(sweep_of("31m"), narrow)


@pytest.mark.parametrize("changes", [{"limit": -1.0}, {"quiet": float("inf")}, {"most": 0}])
def test_a_wrong_hold_is_refused(changes: dict[str, float]) -> None:
    with pytest.raises(UsageError, match="hold"):
        Hold(**changes)  # type: ignore[arg-type]  # wrong on purpose


# --- properties ----------------------------------------------------------------------------------

#: Some ranges without a filter, some with; different settle times.
receivers = st.lists(st.integers(2_000_001, 2_399_999), max_size=4, unique=True).map(
    lambda cuts: Receiver(
        ranges=tuple(
            Range(
                low=low,
                high=high,
                detector=Detector.ENVELOPE,
                intermediate_frequency=455_000,
                injection=Injection.HIGH,
                ratio=Fraction(1),
                select=(1, 2, None)[number % 3],
                settle=0.1 * (1 + number % 3),
            )
            for number, (low, high) in enumerate(
                zip([2_000_000, *sorted(cuts)], [*sorted(cuts), 2_400_000], strict=True)
            )
        )
    )
)
plans = st.builds(
    lambda receiver, dials, order: plan_sweep(
        Sweep(name="demo", vfo="main", channels=tuple(dials), order=order), receiver
    ),
    receivers,
    st.lists(st.integers(2_000_000, 2_400_000), min_size=1, max_size=30),
    st.sampled_from(Order),
)


@settings(deadline=None, max_examples=200)
@given(plans)
def test_what_is_added_up_is_what_is_walked(plan: SweepPlan) -> None:
    """Duration and changes of a pass equal the sums over the visits, once the sweep runs."""
    walked = list(islice(plan.walk(), 5 * len(plan)))
    passes = [walked[start : start + len(plan)] for start in range(0, len(walked), len(plan))]
    for number, visits in enumerate(passes):
        assert {number} == {visit.pass_number for visit in visits}
        assert list(range(len(plan))) == [visit.index for visit in visits]
        assert {channel.dial for channel in plan.channels} == {visit.dial for visit in visits}
    running = [visit for visits in passes[1:] for visit in visits]
    total = sum(visit.settle + visit.dwell for visit in running)
    assert math.isclose(4 * plan.pass_duration, total)
    assert 4 * plan.range_changes == sum(visit.range_change for visit in running)
    before = [visit.select for visit in passes[0] if visit.select is not None][-1:]
    filters = before + [visit.select for visit in running if visit.select is not None]
    assert 4 * plan.select_changes == sum(a != b for a, b in pairwise(filters))
    assert [(v.dial, v.settle) for v in plan] == [(v.dial, v.settle) for v in passes[2]]


@settings(deadline=None, max_examples=200)
@given(plans, st.lists(st.integers(0, 12), max_size=12))
def test_a_yield_never_loses_or_repeats_a_channel(plan: SweepPlan, rests: list[int]) -> None:
    """Leaving an unvisited channel and coming back, however often: the sequence is unbroken."""
    place = (0, 0)
    seen: list[tuple[int, int]] = []
    for length in rests:
        walk = plan.walk(*place)
        seen += [(visit.pass_number, visit.dial) for visit in islice(walk, length)]
        left = next(walk)
        place = plan.resume_at(left.dial, left.pass_number)
        assert (left.pass_number, left.index) == place
    expected = islice(plan.walk(), len(seen))
    assert [(visit.pass_number, visit.dial) for visit in expected] == seen


@settings(deadline=None, max_examples=200)
@given(plans, st.integers(1_999_000, 2_401_000), st.integers(0, 3))
def test_a_dial_between_channels_goes_on_with_the_next_in_order(
    plan: SweepPlan, dial: int, number: int
) -> None:
    """What comes after is ahead of the dial in the pass's direction, what came before is behind."""
    found_number, index = plan.resume_at(dial, number)
    whole = [v.dial for v in islice(plan.walk(number), len(plan))]
    back = plan.sweep.order is Order.THERE_AND_BACK and number % 2
    rising = plan.sweep.order is not Order.DOWN and not back
    ahead = [d for d in whole if (d >= dial if rising else d <= dial)]
    if not ahead:
        assert (number + 1, 0) == (found_number, index)
    else:
        assert (min(ahead) if rising else max(ahead)) == whole[index]


@settings(deadline=None, max_examples=200)
@given(plans)
def test_a_pass_switches_each_filter_on_once(plan: SweepPlan) -> None:
    """With k filters no order needs less: k switchings round and round, k - 1 where it turns."""
    filters = len({item.select for item in plan.ranges if item.select is not None})
    turns = plan.sweep.order is Order.THERE_AND_BACK
    assert (filters - 1 if turns and filters else 0 if filters < 2 else filters) == (
        plan.select_changes
    )
    placed = [(v.select, v.dial) for v in plan if v.select is not None]
    down = plan.sweep.order is Order.DOWN
    for select in {select for select, _ in placed}:
        dials = [dial for of, dial in placed if of == select]
        assert sorted(dials, reverse=down) == dials, "along the band within a filter"
