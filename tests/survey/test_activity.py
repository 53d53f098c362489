"""Activity: the floor of the band and a margin with hysteresis."""

import pytest

from vfod.survey.activity import Detector, Margin

NOON = 1_795_608_000.0


def taught(detector: Detector, level: float) -> Detector:
    """The detector after a pass over twenty empty channels."""
    for index in range(20):
        detector.judge("41m", 7_300_000 + index, level, NOON + index, scatter=0.1)
    return detector


def test_activity_has_hysteresis() -> None:
    """6 dB to become active, 3 dB to stay so (docs: defaults)."""
    detector = taught(Detector(Margin(active=6, stay=3)), -100.0)
    assert [False, True, True, False, False] == [
        detector.judge("41m", 7_200_000, level, NOON + 30, learn=False).active
        for level in (-95.0, -94.0, -96.0, -98.0, -95.0)
    ]


def test_bands_have_floors_of_their_own() -> None:
    """Noise of one band says nothing about the other."""
    verdict = taught(Detector(Margin()), -90.0).judge("31m", 9_400_000, -70.0, NOON + 30)
    assert verdict.floor is None
    assert verdict.active is None


def test_a_hold_does_not_teach_the_floor() -> None:
    """Looking at one strong channel a thousand times leaves the floor where it was."""
    detector = taught(Detector(Margin()), -100.0)
    for look in range(1000):
        verdict = detector.judge("41m", 7_200_000, -50.0, NOON + 30 + look, learn=False)
        assert -100.0 == pytest.approx(verdict.floor)
        assert verdict.active


def test_quiet_channels_rule() -> None:
    """Where the listener named a quiet channel, the floor is its level, however full the band."""
    detector = Detector(Margin(), quiet=frozenset({7_205_000}))
    for index in range(20):
        detector.judge("41m", 7_300_000 + index, -60.0, NOON + index, scatter=0.1)
    verdict = detector.judge("41m", 7_205_000, -101.0, NOON + 30, scatter=0.1)
    assert (-101.0, False) == (verdict.floor, verdict.active)
    assert detector.judge("41m", 7_300_000, -60.0, NOON + 40, scatter=0.1).active


def test_the_receiver_s_own_signals_are_no_stations() -> None:
    """However strong, activity there is unknown, and the floor does not learn from it."""
    detector = Detector(Margin(), own=frozenset({7_235_000}))
    assert taught(detector, -100.0) is detector
    verdict = detector.judge("41m", 7_235_000, -50.0, NOON + 30, scatter=0.1)
    assert verdict.active is None
    assert -100.0 == pytest.approx(verdict.floor)


def test_a_full_band_goes_by_what_an_earlier_run_knew() -> None:
    """Nineteen channels of twenty carry something: the floor is that of yesterday's half hour."""
    detector = Detector(Margin())
    detector.recall("41m", int(NOON // 1800) % 48, -100.0)
    detector.describe(Margin())
    for index in range(20):
        level = -80.0 + 2 * index if index else -100.0
        verdict = detector.judge("41m", 7_200_000 + index, level, NOON + index, scatter=0.1)
        assert (-100.0, index > 0) == (verdict.floor, verdict.active)
    assert detector.judge("41m", 7_200_000, -100.0, NOON + 1800, scatter=0.1).floor is None


def test_what_is_well_above_a_listed_signal_is_something_else() -> None:
    """Up to 10 dB above what was measured without the antenna nothing is known; then it is."""
    detector = Detector(Margin(), listed={7_235_000: -90.0})
    taught(detector, -100.0)
    verdicts = [
        detector.judge("41m", 7_235_000, level, NOON + 30, scatter=0.1).active
        for level in (-120.0, -90.0, -80.1, -79.9, -90.0)
    ]
    assert [None, None, None, True, None] == verdicts
    assert detector.judge("41m", 7_240_000, -90.0, NOON + 31, scatter=0.1).active
