"""Deviations against NIST SP 1065, section 12 (pages 107-108), and a general-purpose library.

The nine values are those of NBS Monograph 140, Annex 8.E; the thousand come from the generator
that SP 1065 prescribes. allantools computes both once more by code that is not ours.
"""

from collections.abc import Iterator
from itertools import islice
from statistics import fmean, stdev

import allantools
import pytest

from vfod.survey.stability import (
    DEVIATIONS,
    Deviation,
    allan,
    hadamard,
    modified_allan,
    overlapping_allan,
    overlapping_hadamard,
    time_deviation,
    total_deviation,
)

NINE = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0]


def integers(seed: int) -> Iterator[int]:
    """The linear congruential generator of SP 1065."""
    value = seed
    while True:
        yield value
        value = 16807 * value % 2147483647


THOUSAND = [n / 2147483647 for n in islice(integers(1234567890), 1000)]


def test_the_generator() -> None:
    """The series is the one that SP 1065 means: its first and last integers and its mean."""
    made = list(islice(integers(1234567890), 1000))
    assert [395529916, 1209410747, 633705974] == made[1:4]
    assert 1560135652 == made[-1]
    assert 1043618065 == next(islice(integers(1), 10_000, None))
    assert fmean(THOUSAND) == pytest.approx(0.4897745, abs=1e-7)
    assert stdev(THOUSAND) == pytest.approx(0.2884664, abs=1e-7)


@pytest.mark.parametrize(
    ("deviation", "one", "two"),
    [
        (allan, 91.22945, 115.8082),
        (overlapping_allan, 91.22945, 85.95287),
        (modified_allan, 91.22945, 74.78849),
        (time_deviation, 52.67135, 86.35831),
        (hadamard, 70.80608, 116.7980),
        (overlapping_hadamard, 70.80607, 85.61487),
        (total_deviation, 91.22945, 93.90379),
    ],
)
def test_nine_values(deviation: Deviation, one: float, two: float) -> None:
    """SP 1065's table for the nine values, at one and at two intervals."""
    assert one == pytest.approx(deviation(NINE, 1), rel=2e-7)
    assert two == pytest.approx(deviation(NINE, 2), rel=1e-6)


LIBRARY = {
    "Allan": allantools.adev,
    "overlapping Allan": allantools.oadev,
    "modified Allan": allantools.mdev,
    "Hadamard": allantools.hdev,
    "overlapping Hadamard": allantools.ohdev,
    "total": allantools.totdev,
}


@pytest.mark.parametrize("name", DEVIATIONS)
@pytest.mark.parametrize("m", [1, 2, 10, 100, 250])
def test_a_library_agrees(name: str, m: int) -> None:
    """allantools computes the same from the thousand values."""
    _, expected, _, _ = LIBRARY[name](THOUSAND, rate=1.0, data_type="freq", taus=[m])
    assert expected[0] == pytest.approx(DEVIATIONS[name](THOUSAND, m), rel=1e-9)


def test_time_deviation_has_seconds() -> None:
    """A longer interval makes the time deviation longer in proportion."""
    one = time_deviation(THOUSAND, 10)
    assert one is not None
    assert 30 * one == pytest.approx(time_deviation(THOUSAND, 10, interval=30.0))


@pytest.mark.parametrize("name", DEVIATIONS)
def test_too_few_values(name: str) -> None:
    """What cannot be told is None and no error."""
    assert DEVIATIONS[name]([], 1) is None
    assert DEVIATIONS[name]([1.0], 1) is None
    assert DEVIATIONS[name](NINE, 9) is None
