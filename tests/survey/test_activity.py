"""Floor and activity: a low quantile of the band, a margin with hysteresis."""

import random
import statistics

import pytest

from vfod.survey.activity import LEAST, MEMORY, QUANTILE, Detector, Floor, Margin


def test_the_floor_is_unknown_until_enough_was_seen() -> None:
    """Seven channels say nothing about a band, eight something."""
    floor = Floor()
    for level in range(LEAST - 1):
        floor.add(-100.0 + level)
        assert floor.value is None
    floor.add(-90.0)
    assert floor.value is not None


def test_the_floor_is_the_quantile_of_what_was_last_seen() -> None:
    """Against the standard library's quantiles, over a window that forgets."""
    rng = random.Random(3)
    levels = [rng.gauss(-100, 5) for _ in range(3 * MEMORY)]
    floor = Floor()
    for level in levels:
        floor.add(level)
    cuts = statistics.quantiles(levels[-MEMORY:], n=100, method="inclusive")
    assert floor.value == pytest.approx(cuts[round(QUANTILE * 100) - 1], abs=0.2)


def test_a_few_strong_stations_do_not_lift_the_floor() -> None:
    """Half the channels at -60 dBm leave the floor with the noise at -100."""
    floor = Floor()
    for index in range(100):
        floor.add(-60.0 if index % 2 else -100.0)
    assert -100.0 == floor.value


def test_activity_has_hysteresis() -> None:
    """6 dB to become active, 3 dB to stay so (docs: defaults)."""
    detector = Detector(Margin(active=6, stay=3))
    for index in range(40):
        detector.judge("41m", 7_300_000 + index, -100.0)
    assert [False, True, True, False, False] == [
        detector.judge("41m", 7_200_000, level, learn=False).active
        for level in (-95.0, -94.0, -96.0, -98.0, -95.0)
    ]


def test_bands_have_floors_of_their_own() -> None:
    """Noise of one band says nothing about the other."""
    detector = Detector(Margin())
    for index in range(20):
        detector.judge("41m", 7_200_000 + index, -90.0)
    verdict = detector.judge("31m", 9_400_000, -70.0)
    assert verdict.floor is None
    assert verdict.active is None


def test_a_hold_does_not_teach_the_floor() -> None:
    """Looking at one strong channel a thousand times leaves the floor where it was."""
    detector = Detector(Margin())
    for index in range(20):
        detector.judge("41m", 7_300_000 + index, -100.0)
    for _ in range(1000):
        detector.judge("41m", 7_200_000, -50.0, learn=False)
    verdict = detector.judge("41m", 7_200_000, -50.0, learn=False)
    assert -100.0 == verdict.floor
    assert verdict.active
