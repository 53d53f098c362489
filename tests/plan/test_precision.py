"""How well an occupancy is known, against docs/standards.md, sections 1.3 and 1.4."""

import math

import pytest

from vfod.plan.precision import relative_error, visits_needed

#: Section 1.3, the formula's column: occupancy in per cent, independent visits for 10 % at 95 %.
NEEDED = [
    (6.67, 5376), (10, 3458), (15, 2177), (20, 1537), (30, 897), (40, 577), (50, 385), (60, 257),
    (70, 165), (80, 97), (90, 43),
]  # fmt: skip

#: Section 1.4: visits, occupancy, relative error at 95 %.
ERRORS = [
    (268, 0.05, 0.5219), (268, 0.1, 0.3592), (268, 0.2, 0.2395), (268, 0.5, 0.1197),
    (480, 0.05, 0.3900), (480, 0.1, 0.2684), (480, 0.2, 0.1789), (480, 0.5, 0.0895),
]  # fmt: skip


@pytest.mark.parametrize(("percent", "visits"), NEEDED)
def test_visits_needed(percent: float, visits: int) -> None:
    """Visits for 10 % relative error at 95 % confidence, rounded up."""
    assert visits == visits_needed(percent / 100)


@pytest.mark.parametrize(("visits", "occupancy", "error"), ERRORS)
def test_relative_error(visits: int, occupancy: float, error: float) -> None:
    """The error that so many visits leave, to the four decimals of the table."""
    assert math.isclose(error, relative_error(visits, occupancy), abs_tol=5e-5)


def test_nothing_is_known_from_nothing() -> None:
    """No visit, or nothing ever heard: the error has no bound, and no exception."""
    assert math.isinf(relative_error(0, 0.5))
    assert math.isinf(relative_error(100, 0.0))


def test_one_is_the_other_s_inverse() -> None:
    """So many visits give at most the error asked for; one fewer gives more."""
    for percent, _ in NEEDED:
        p = percent / 100
        n = visits_needed(p, 0.25)
        assert relative_error(n, p) <= 0.25 < relative_error(n - 1, p)
