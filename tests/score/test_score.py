"""What `make score` promises, on twenty nights; `make bench` asks for it on two hundred."""

from math import sqrt
from statistics import median

import pytest

from tests.score.curves import at_false_alarm, at_margin
from tests.score.nights import PROMISED, night, scored
from tests.score.receivers import Kind, kinds
from tests.score.tally import tally
from vfod.survey.occupancy import LEAST_CHANGES, Reason, Unsaid

KINDS = {kind.name: kind for kind in kinds()}

#: Deviations that a count may be off its chance: 20 nights are not 200.
SLACK = 3.0


def least(chance: float, count: int) -> float:
    """What a count of that chance reaches all but once in a thousand times."""
    return chance - SLACK * sqrt(chance * (1 - chance) / count)


@pytest.mark.timeout(1200)
def test_twenty_nights() -> None:
    """The level sources in turn, and all that is promised of what is made of their visits.

    One test, because the nights are walked once for all of it.
    """
    turn = list(KINDS.values())
    channels = [one for k in range(20) for one in night(turn[k % len(turn)], k)]
    promised = [channel for channel in channels if channel.of in PROMISED]
    lines = tally(channels, lambda channel: channel.of)
    for name in PROMISED:
        held = lines[name].held
        assert len(held) > 60
        assert least(0.95, len(held)) <= sum(held) / len(held), f"(a) does not hold: {name}"
    (everything,) = tally(promised, lambda _: "all").values()
    assert 4.0 >= median(everything.widths), "(a) in revisit times over the night"
    held = everything.always_held
    assert len(held) > 80
    assert least(0.95, len(held)) <= sum(held) / len(held), "(b) does not hold"
    assert [] == lines["steady"].always_held + lines["silent"].always_held
    few = [channel for channel in channels if channel.it.changes < LEAST_CHANGES]
    assert any(channel.it.changes > 0 for channel in few)
    assert all(Unsaid(reason=Reason.FEW_CHANGES) == channel.it.long_run for channel in few)
    usual = [channel for channel in channels if KINDS[channel.kind].margin.active == 6]
    quiet = tally(usual, lambda channel: channel.of)["silent"]
    assert quiet.false_alarm is not None
    assert 0.01 >= quiet.false_alarm
    assert lines["steady"].detection is not None
    assert 0.99 <= lines["steady"].detection


def test_the_poor_detector_is_scored_as_it_is() -> None:
    """What occupancy is corrected by is what other nights then show, within three deviations."""
    told = scored(KINDS["unsteady"])
    found = tally(night(KINDS["unsteady"], 77), lambda channel: channel.of)["silent"]
    assert found.false_alarm is not None
    assert 0.002 < told.false_alarm < 0.03
    deviation = (told.false_alarm / found.truly_quiet + told.false_alarm / 3000) ** 0.5
    assert told.false_alarm == pytest.approx(found.false_alarm, abs=4 * deviation)


@pytest.mark.parametrize("kind", [kind for kind in kinds() if kind.margin.active == 6])
def test_steady_signals_are_detected_as_theory_says(kind: Kind) -> None:
    """With the margin of 6 dB: within 1.5 dB of the energy detector at half and nine tenths."""
    curve = at_margin(kind, 60)
    assert curve.apart is not None
    assert (0.0, 0.0) == pytest.approx(curve.apart, abs=1.5)
    assert 0.01 >= curve.false_alarm


def test_a_hundredth_of_false_alarms_is_enough_for_weak_ones() -> None:
    """At a false alarm of 1 % too, with a steady detector: 14 dB below the noise."""
    curve = at_false_alarm(KINDS["ideal"], 120)
    assert curve.apart is not None
    assert 0.01 == pytest.approx(curve.false_alarm, rel=0.1)
    assert -0.5 <= min(curve.apart) <= max(curve.apart) <= 1.5
