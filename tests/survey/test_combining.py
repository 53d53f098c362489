"""Weighted means: Student's quantiles by scipy, and intervals that hold as often as they say."""

import numpy as np
import pytest
from scipy import stats

from vfod.survey.combining import combine, student


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 5, 9, 10, 30, 101, 400])
@pytest.mark.parametrize("confidence", [0.5, 0.95, 0.99])
def test_student(degrees: int, confidence: float) -> None:
    """scipy has the same quantiles."""
    expected = stats.t.ppf((1 + confidence) / 2, degrees)
    assert expected == pytest.approx(student(degrees, confidence), rel=1e-9)


def test_equal_weights_give_the_plain_mean() -> None:
    """Where all state nothing worth speaking of, it is the mean and its Student interval."""
    values = [1.0, 2.0, 4.0, 5.5, 3.2]
    found = combine([(value, 1e-9) for value in values])
    assert found is not None
    low, high = stats.t.interval(0.95, 4, np.mean(values), stats.sem(values))
    assert np.mean(values) == pytest.approx(found.value)
    assert (low, high) == pytest.approx((found.low, found.high), rel=1e-6)
    assert np.std(values, ddof=1) == pytest.approx(found.scatter, rel=1e-6)


def test_weights_by_stated_uncertainty() -> None:
    """Measurements that agree are weighted by what they state: 1/4 and 4 give 0.2 and 0.8 here."""
    found = combine([(1.0, 2.0), (2.0, 1.0)])
    assert found is not None
    assert 1.8 == pytest.approx(found.value)
    assert 0.0 == found.scatter
    assert (1 / (1 / 4 + 1)) ** 0.5 == pytest.approx(found.deviation)


def test_never_below_the_limit() -> None:
    """However many there are, the limit is not passed."""
    found = combine([(1.0, 1e-9)] * 1000, limit=1e-8)
    assert found is not None
    assert 1e-8 == found.deviation
    assert 1.96e-8 == pytest.approx(found.high - found.value, rel=1e-3)


def test_one_and_none() -> None:
    """One alone has what it states; none is None, and what is no number is left out."""
    assert combine([]) is None
    assert combine([(float("nan"), 1.0)]) is None
    one = combine([(3.0, 0.5)])
    assert one is not None
    assert (3.0, 0.5, 1) == (one.value, one.deviation, one.count)


@pytest.mark.parametrize(("count", "most"), [(3, 0.99), (6, 0.97), (15, 0.97)])
def test_the_interval_holds(count: int, most: float) -> None:
    """In 3000 draws with hidden scatter 93 to 97 of 100 intervals hold the true value.

    With three values more do, because they are not believed to agree better than they state.
    """
    rng = np.random.default_rng(count)
    held = 0
    for _ in range(3000):
        spreads = rng.uniform(0.5, 2.0, count)
        values = rng.normal(10.0, np.sqrt(spreads**2 + 2.0**2))
        found = combine(list(zip(values.tolist(), spreads.tolist(), strict=True)))
        assert found is not None
        held += found.low <= 10.0 <= found.high
    assert 0.93 <= held / 3000 <= most
