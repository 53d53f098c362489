"""Channels that never pause are offered for the skip list; nothing else is."""

from vfod.survey.occupancy import Scored
from vfod.survey.steady import Measured, steady

REVISIT = 107.1
NIGHT = 28_800.0


def visits(pause: range = range(0), hours: float = 8, known: bool = True) -> list[Measured]:
    """A visit each revisit time, active but for the numbers in `pause`, 0.1 dB up at each."""
    return [
        Measured(k * REVISIT, (k not in pause) if known else None, -60.0 + 0.1 * (k % 10))
        for k in range(int(hours * 3600 / REVISIT))
    ]


def test_what_never_pauses_is_offered_with_the_evidence() -> None:
    """All 268 visits active: a share of 1, of which 0.986 is sure (Wilson), and its levels."""
    (one,) = steady({7_210_000: visits()}, 0, NIGHT)
    assert (7_210_000, 268, 268) == (one.dial, one.visits, one.active)
    assert 1.0 == one.share.value
    assert 0.985 < one.share.low < 0.987
    assert -59.7 < one.level < -59.5
    assert -60.0 <= one.lowest < -59.9


def test_what_pauses_is_not() -> None:
    """Silent for half an hour of the eight: no."""
    assert [] == steady({7_210_000: visits(range(100, 117))}, 0, NIGHT)


def test_a_miss_of_the_detector_is_no_pause() -> None:
    """One visit of 268 missed, as often as the detector is known to miss."""
    scored = Scored(detection=0.996, false_alarm=0.0)
    assert [7_210_000] == [
        one.dial for one in steady({7_210_000: visits(range(9, 10))}, 0, NIGHT, scored=scored)
    ]


def test_an_hour_is_too_little() -> None:
    """Nor do visits count of which activity could not be told."""
    assert [] == steady({7_210_000: visits(hours=1)}, 0, NIGHT)
    assert [] == steady({7_210_000: visits(known=False)}, 0, NIGHT)


def test_the_receiver_s_own_signals_are_taken_out() -> None:
    """They are always there, and no station."""
    channels = {7_210_000: visits(), 7_235_000: visits()}
    assert [7_210_000] == [one.dial for one in steady(channels, 0, NIGHT, own={7_235_000})]
