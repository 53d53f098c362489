"""Stations that come and go by a clock: how far off their share may be is known by the visits."""

import random

import pytest

from vfod.survey.instep import Window, play
from vfod.survey.occupancy import Share, Visit, occupancy

VISITS = 268


def seen(period: float, on: float, phase: float) -> tuple[float, list[Visit]]:
    """The true share of the night, and visits at whole numbers; times in revisit times."""
    grid = 50
    states = [(k / grid + phase) % period < on for k in range(VISITS * grid)]
    return sum(states) / len(states), [
        Visit(k + 0.5, states[k * grid + grid // 2]) for k in range(VISITS)
    ]


@pytest.mark.parametrize("off_step", [0.0, 0.003, -0.01, 0.5, 0.37])
def test_the_share_of_a_regular_station_lies_in_its_interval(off_step: float) -> None:
    """Periods of 3 to 20 revisit times and a part of one, in any phase: every one of forty."""
    rng = random.Random(3)
    for _ in range(40):
        many = rng.randint(3, 20)
        on = rng.uniform(1.05, many - 1.05)
        truth, visits = seen(many + off_step, on, rng.uniform(0, many))
        figure = occupancy(visits, 0, VISITS).tonight
        assert isinstance(figure, Share)
        assert figure.low - 0.001 <= truth <= figure.high + 0.001, (many, on, off_step)


def test_in_step_nothing_is_known_of_the_gaps() -> None:
    """Four visits of ten: on for three to five of them. Out of step: for four, nearly."""
    _, in_step = seen(10, 4.0, 0.3)
    _, out_of_step = seen(10.37, 4.0, 0.3)
    narrow, wide = occupancy(out_of_step, 0, VISITS).tonight, occupancy(in_step, 0, VISITS).tonight
    assert isinstance(wide, Share)
    assert isinstance(narrow, Share)
    assert wide.low < 0.31
    assert wide.high > 0.49
    assert 0.05 > narrow.high - narrow.low


def test_what_is_not_regular_has_no_play() -> None:
    """Exponential gaps between comings: none of two hundred fits a period; one that does, does."""
    rng = random.Random(8)
    for _ in range(200):
        time, windows = 0.0, []
        for _ in range(12):
            time += 3 + rng.expovariate(1 / 15)
            windows.append(Window(int(time), int(time) + 1))
        assert 0.0 == play(windows)
    regular = [Window(10 * k, 10 * k + 1) for k in range(12)]
    assert 12 * 0.5 == pytest.approx(play(regular), rel=0.11)
    assert 0.0 == play(regular[:2])


def test_a_cycle_that_nobody_watched_is_counted() -> None:
    """The sweep yielded in the middle: the period fits all the same."""
    windows = [Window(10 * k, 10 * k + 1) for k in range(24) if not 9 < k < 13]
    assert 0.5 == pytest.approx(play(windows) / len(windows), rel=0.11)
