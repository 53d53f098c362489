"""Intervals against worked values and general-purpose statistics (scipy, numpy)."""

from math import exp, log

import numpy as np
import pytest
from scipy import special, stats

from vfod.survey.intervals import aliasing, logistic, trigamma, visits_needed, wilson

#: docs/standards.md section 1.4 (computed there from the textbook's formula, z = 1.96).
WILSON = [
    (0, 10, 0.000000, 0.277540),
    (5, 10, 0.236590, 0.763410),
    (10, 10, 0.722460, 1.000000),
    (54, 268, 0.157841, 0.253581),
]

#: docs/standards.md section 1.3, the formula's column: occupancy in per cent, visits.
NEEDED = [
    (6.67, 5376), (10, 3458), (15, 2177), (20, 1537), (30, 897), (40, 577), (50, 385), (60, 257),
    (70, 165), (80, 97), (90, 43),
]  # fmt: skip


@pytest.mark.parametrize(("active", "visits", "low", "high"), WILSON)
def test_wilson_s_interval_as_worked(active: int, visits: int, low: float, high: float) -> None:
    """The worked values to their six decimals."""
    assert (low, high) == pytest.approx(wilson(active / visits, visits), abs=5e-7)


@pytest.mark.parametrize(("active", "visits"), [(0, 7), (1, 268), (133, 268), (267, 268)])
def test_wilson_s_interval_as_scipy_has_it(active: int, visits: int) -> None:
    """scipy.stats uses 1.959964 for z where the tables of the trade use 1.96."""
    low, high = stats.binomtest(active, visits).proportion_ci(method="wilson")
    assert (low, high) == pytest.approx(wilson(active / visits, visits), abs=1e-4)


@pytest.mark.parametrize("x", [0.5, 1.0, 5.5, 9.99, 10.0, 300.0])
def test_trigamma(x: float) -> None:
    """Against scipy.special."""
    assert special.polygamma(1, x) == pytest.approx(trigamma(x), rel=1e-9)


@pytest.mark.parametrize(("percent", "visits"), NEEDED)
def test_visits_needed(percent: float, visits: int) -> None:
    """Independent visits for 10 % relative error at 95 % confidence, rounded up."""
    assert visits == visits_needed(percent / 100)


def test_dependent_visits_count_for_less() -> None:
    """A two-state Markov chain of lag-one correlation r: the variance of its mean is
    (1 + r) / (1 - r) times that of independent visits, here measured on 2000 drawn chains.
    """
    r, p, n = 0.6, 0.3, 400
    rng = np.random.default_rng(5)
    states = rng.random(2000) < p
    total = states.astype(float)
    for _ in range(n - 1):
        states = np.where(rng.random(2000) < r, states, rng.random(2000) < p)
        total += states
    measured = (total / n).var() / (p * (1 - p) / n)
    needed, dependent = visits_needed(p), visits_needed(p, correlation=r)
    assert needed is not None
    assert dependent is not None
    assert measured == pytest.approx(dependent / needed, rel=0.1)
    assert visits_needed(0.0) is None


@pytest.mark.parametrize("correlation", [0.05, 0.3, 0.9, 0.9995])
def test_what_a_comb_of_visits_mistakes_for_the_mean(correlation: float) -> None:
    """The spectrum of a two-state Markov process, 2 r / (r^2 + w^2), summed over the multiples of
    the visits' frequency but 0; ten thousand terms and the integral of the rest.
    """
    r = -log(correlation)
    k = np.arange(1, 10_001)
    terms = 2 * r / (r**2 + (2 * np.pi * k) ** 2)
    rest = 2 * r / (2 * np.pi) ** 2 / 10_000.5
    assert 2 * (terms.sum() + rest) == pytest.approx(aliasing(correlation), rel=1e-6)


def test_the_ends_of_the_aliasing() -> None:
    """Nothing is missed of what never changes; independent visits are as good as a binomial."""
    assert 0.0 == aliasing(1.0)
    assert 1.0 == aliasing(0.0)
    assert exp(-0.001) < 1
    assert aliasing(exp(-0.001001)) == pytest.approx(aliasing(exp(-0.000999)), rel=0.01)


def test_the_logistic_interval() -> None:
    """Symmetric in the log-odds (scipy.special.logit), whatever the share."""
    for share in (0.01, 0.5, 0.9):
        low, high = logistic(share, 0.5)
        assert 1.96 * 0.5 == pytest.approx(special.logit(high) - special.logit(share))
        assert -1.96 * 0.5 == pytest.approx(special.logit(low) - special.logit(share))
