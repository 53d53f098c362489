"""The line against temperature, beside numpy's weighted fit, and the equal steps of a series."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from vfod.survey.drifting import Point, fit, series


def points(*values: tuple[float, float, float | None]) -> list[Point]:
    """An hour apart: error and its deviation in ppm, temperature."""
    return [
        Point(time=3600.0 * n, error=error, deviation=deviation, temperature=degrees)
        for n, (error, deviation, degrees) in enumerate(values)
    ]


@settings(max_examples=50, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    count=st.integers(5, 30),
    slope=st.floats(-2, 2),
)
def test_the_line_is_that_of_numpy(seed: int, count: int, slope: float) -> None:
    """Value, slope, their intervals by Student's distribution, at any temperature."""
    rng = np.random.default_rng(seed)
    degrees = np.concatenate([[10.0, 30.0], rng.uniform(10, 30, count - 2)])
    deviations = rng.uniform(0.01, 0.5, count)
    errors = 3 + slope * degrees + rng.normal(0, deviations)
    found = fit(points(*zip(errors, deviations, degrees, strict=True)))
    assert found is not None
    (expected, at_zero), spread = np.polyfit(degrees, errors, 1, w=1 / deviations, cov=True)
    reach = student.ppf(0.975, count - 2)
    assert expected == pytest.approx(found.slope, rel=1e-6, abs=1e-9)
    assert reach * spread[0, 0] ** 0.5 == pytest.approx(found.slope_reach, rel=1e-4)
    for temperature in (10.0, 21.5):
        value, within = found.at(temperature)
        assert expected * temperature + at_zero == pytest.approx(value, rel=1e-6, abs=1e-9)
        there = np.array([temperature, 1.0])
        assert reach * (there @ spread @ there) ** 0.5 == pytest.approx(within, rel=1e-4)


def test_where_there_is_not_enough() -> None:
    """Fewer than five calibrations, less than three degrees, no thermometer: no line."""
    assert fit(points(*[(1.0, 0.1, 20.0 + n) for n in range(4)])) is None
    assert fit(points(*[(1.0, 0.1, 20.0 + n / 2) for n in range(6)])) is None
    assert fit(points(*[(1.0, 0.1, None) for _ in range(9)])) is None
    assert fit(points(*[(1.0, 0.1, 20.0 + n) for n in range(5)])) is not None


def test_equal_steps() -> None:
    """As long as most are apart; two in one step are one value, a gap ends the stretch."""
    times = [0, 3600, 7200, 10_700, 10_900, 14_400, 40_000, 43_600]
    errors = [1.0, 2.0, 3.0, 4.0, 6.0, 7.0, 8.0, 9.0]
    some = [
        Point(time=float(t), error=error, deviation=0.1, temperature=None)
        for t, error in zip(times, errors, strict=True)
    ]
    step, values = series(list(reversed(some)))
    assert 3600.0 == step
    assert [1.0, 2.0, 3.0, 5.0, 7.0] == values
    assert (0.0, [1.0]) == series(some[:1])
