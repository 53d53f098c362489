"""Occupancy: what may be said of a night, what of all nights, and what not at all."""

import random
from bisect import bisect_right
from collections.abc import Callable
from itertools import accumulate

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from vfod.survey.band import of_band
from vfod.survey.occupancy import (
    PERFECT,
    Occupancy,
    Reason,
    Run,
    Scored,
    Share,
    Unsaid,
    Visit,
    by_parts,
    occupancy,
    runs,
)

#: docs/standards.md section 1.4: 51 channels of 2.1 s, a night of eight hours.
REVISIT = 107.1
NIGHT = 28_800.0


def at_every(
    step: float, active: Callable[[float], bool | None], until: float = NIGHT
) -> list[Visit]:
    return [Visit(k * step, active(k * step)) for k in range(int(until / step) + 1)]


def said(figure: Share | Unsaid) -> Share:
    assert isinstance(figure, Share)
    return figure


def test_a_silent_night() -> None:
    """Never active in 269 visits: 0, and Wilson's upper end, since short bursts hide between."""
    it = occupancy(at_every(REVISIT, lambda _: False), 0, NIGHT)
    assert (269, 269, 0, 0) == (it.visits, it.judged, it.active, it.changes)
    assert REVISIT == pytest.approx(it.revisit or 0)
    assert 0.0 == said(it.tonight).value == said(it.tonight).low
    assert 3.8416 / (269 + 3.8416) == pytest.approx(said(it.tonight).high, rel=3e-3)
    assert Unsaid(reason=Reason.FEW_CHANGES) == it.long_run
    assert it.needed is None


def test_one_long_run_is_known_to_its_two_gaps() -> None:
    """Active from 2 h to 5 h: three eighths of the night, to about one revisit time either way."""
    it = occupancy(at_every(REVISIT, lambda t: 7200 <= t < 18_000), 0, NIGHT)
    tonight = said(it.tonight)
    assert 0.375 == pytest.approx(tonight.value, abs=REVISIT / NIGHT)
    assert tonight.low < 0.375 < tonight.high
    assert tonight.high - tonight.low < 4 * REVISIT / NIGHT
    assert Unsaid(reason=Reason.FEW_CHANGES) == it.long_run


def test_the_long_run_is_far_less_certain_than_the_night() -> None:
    """Eight runs of half an hour: the night is known to some per cent, all nights to tens."""
    it = occupancy(at_every(REVISIT, lambda t: t % 3600 < 1800), 0, NIGHT)
    night, always = said(it.tonight), said(it.long_run)
    assert night.low < 0.5 < night.high
    assert always.low < 0.5 < always.high
    assert always.high - always.low > 8 * (night.high - night.low)
    assert it.needed is not None
    assert it.needed > 385


def test_runs_say_in_which_gap_each_change_lies() -> None:
    """Quiet at 10, active at 20 and 30, quiet at 40; and one that nobody saw end."""
    seen = [Visit(10, False), Visit(20, True), Visit(30, True), Visit(40, False), Visit(50, True)]
    assert [
        Run(after=10, first=20, last=30, by=40),
        Run(after=40, first=50, last=50, by=None),
    ] == runs(seen)
    assert [] == runs([])
    assert [Run(after=None, first=10, last=10, by=None)] == runs([Visit(10, True)])


def test_time_that_nobody_watched_is_left_out() -> None:
    """A sweep that yielded for two hours watched six of the eight, and no run spans the hole."""
    seen = [v for v in at_every(REVISIT, lambda _: True) if not 7200 < v.time < 14_400]
    it = occupancy(seen, 0, NIGHT)
    assert NIGHT - 7200 == pytest.approx(it.watched, abs=2 * REVISIT)
    assert 1.0 == said(it.tonight).value
    assert REVISIT == pytest.approx(it.longest or 0)
    assert [(None, None), (None, None)] == [(run.after, run.by) for run in runs(seen)]


def test_visits_that_come_more_often_do_not_count_for_more() -> None:
    """Half the time active, but visited twice as often in the active half: still a half."""
    seen = at_every(100.0, lambda _: False, 14_400) + [
        Visit(14_450 + k * 50, True) for k in range(287)
    ]
    it = occupancy(seen, 0, NIGHT)
    assert 0.5 == pytest.approx(said(it.tonight).value, abs=0.01)


@pytest.mark.parametrize(
    ("visits", "reason"),
    [
        ([], Reason.NO_VISIT),
        ([Visit(10.0 * k, None) for k in range(50)], Reason.NO_VISIT),
        ([Visit(10.0 * k, True) for k in range(4)], Reason.FEW_VISITS),
    ],
)
def test_what_cannot_be_said_is_not_said(visits: list[Visit], reason: Reason) -> None:
    """No figure without data, and the reason in words."""
    for it in (occupancy(visits, 0, NIGHT), of_band([visits, visits], 0, NIGHT)):
        assert Unsaid(reason=reason) == it.tonight == it.long_run
        assert it.revisit is None
    assert Unsaid(reason=Reason.NO_VISIT) == of_band([], 0, NIGHT).tonight


def test_a_detector_that_guesses_supports_no_figure() -> None:
    """0.6 against 0.3: a visit hardly depends on what is on the air."""
    guessing = Scored(detection=0.6, false_alarm=0.3)
    seen = at_every(REVISIT, lambda t: t % 3600 < 1800)
    it = occupancy(seen, 0, NIGHT, guessing)
    assert Unsaid(reason=Reason.UNSURE) == it.tonight == it.long_run
    assert Unsaid(reason=Reason.UNSURE) == of_band([seen], 0, NIGHT, guessing).tonight


def test_false_alarms_and_misses_are_taken_out() -> None:
    """1 % false alarms and 95 % detection over 4000 visits: 0 stays 0, a half stays a half."""
    scored = Scored(detection=0.95, false_alarm=0.01)
    rng = random.Random(4)

    def wrongly(truth: bool) -> bool:
        return rng.random() < (scored.detection if truth else scored.false_alarm)

    silent = occupancy(at_every(7.2, lambda _: wrongly(False)), 0, NIGHT, scored)
    assert silent.active > 20
    assert 0.0 == pytest.approx(said(silent.tonight).value, abs=0.003)
    assert 0.0 == said(silent.tonight).low
    # Eighty changes, all of them made up: nothing is claimed of other nights.
    assert Unsaid(reason=Reason.FEW_CHANGES) == silent.long_run
    half = occupancy(at_every(7.2, lambda t: wrongly(t % 4800 < 2400)), 0, NIGHT, scored)
    assert 0.5 == pytest.approx(said(half.tonight).value, abs=0.01)
    assert said(half.tonight).low < 0.5 < said(half.tonight).high


def test_hour_by_hour() -> None:
    """Active in the second of eight hours only."""
    seen = at_every(REVISIT, lambda t: 3600 <= t < 7200)
    hours = by_parts(seen, [3600.0 * hour for hour in range(9)])
    assert [0, 1, 0, 0, 0, 0, 0, 0] == [round(said(it.tonight).value) for it in hours]
    assert sum(it.visits for it in hours) == 269


@example(gaps=[1.0] * 5, states=[True, False] * 30, detection=0.5, false_alarm=0.5)
@example(gaps=[1.0] * 5, states=[True, False] * 30, detection=2e-265, false_alarm=0.0)
@example(gaps=[1.0] * 59, states=[True, True, False] * 20, detection=1.0, false_alarm=0.0)
@given(
    gaps=st.lists(st.floats(0.0, 1000.0), max_size=60),
    states=st.lists(st.sampled_from([True, False, None]), min_size=60, max_size=60),
    detection=st.floats(0.0, 1.0),
    false_alarm=st.floats(0.0, 1.0),
)
def test_any_visits_give_figures_in_order(
    gaps: list[float], states: list[bool | None], detection: float, false_alarm: float
) -> None:
    """Whatever was seen, by whatever detector: 0 <= low <= value <= high <= 1, or nothing said."""
    times = list(accumulate(gaps))
    visits = [Visit(time, state) for time, state in zip(times, states, strict=False)]
    scored = Scored(detection=detection, false_alarm=false_alarm)
    until = (times[-1] if times else 0.0) + 1
    for it in (occupancy(visits, 0, until, scored), of_band([visits] * 3, 0, until, scored)):
        assert 0 <= it.active <= it.judged <= it.visits
        assert 0 <= it.watched <= 3 * until + 1e-6
        for figure in (it.tonight, it.long_run):
            if isinstance(figure, Share):
                assert 0 <= figure.low <= figure.value + 1e-9
                assert figure.value <= figure.high + 1e-9 <= 1 + 2e-9
    assert sum(run.last >= run.first for run in runs(visits)) == len(runs(visits))


def _drawn(rng: random.Random, on: float, off: float, scored: Scored) -> tuple[float, Occupancy]:
    """A night of a channel that comes and goes without memory, and what visits make of it."""
    time, first = 0.0, rng.random() < on / (on + off)
    state, edges, active = first, list[float](), 0.0
    while time < NIGHT:
        end = min(NIGHT, time + rng.expovariate(1 / (on if state else off)))
        active += (end - time) * state
        edges.append(end)
        time, state = end, not state
    start = rng.random() * REVISIT

    def seen(moment: float) -> bool:
        truly = first is (bisect_right(edges, start + moment) % 2 == 0)
        return rng.random() < (scored.detection if truly else scored.false_alarm)

    visits = [Visit(start + v.time, v.active) for v in at_every(REVISIT, seen, NIGHT - REVISIT)]
    return active / NIGHT, occupancy(visits, 0, NIGHT, scored)


@pytest.mark.parametrize("scored", [PERFECT, Scored(detection=0.99, false_alarm=0.002)])
@pytest.mark.parametrize(("on", "off"), [(1500, 1500), (400, 1600), (60, 90)])
def test_the_intervals_hold(on: float, off: float, scored: Scored) -> None:
    """300 drawn nights: (a) in at least 95 % of them, (b) in 95 % of those where it is said;
    less the three deviations that a count of 300 has (3.8 points).
    """
    rng = random.Random(on + off)
    nights = [_drawn(rng, on, off, scored) for _ in range(300)]
    tonight = [
        it.tonight.low <= truth <= it.tonight.high
        for truth, it in nights
        if isinstance(it.tonight, Share)
    ]
    always = [
        it.long_run.low <= on / (on + off) <= it.long_run.high
        for _, it in nights
        if isinstance(it.long_run, Share)
    ]
    assert 300 == len(tonight)
    assert 0.95 - 0.038 <= sum(tonight) / len(tonight)
    assert len(always) > 200
    assert 0.95 == pytest.approx(sum(always) / len(always), abs=0.038)
