"""The simulated receiver: law of the oscillator, detector, uncertainty, converter."""

import itertools
from fractions import Fraction
from math import exp, log10, sqrt
from statistics import mean, stdev

import pytest

from vfod.radio.levels import Bound
from vfod.radio.receiver import Detector, Injection, Range, Receiver
from vfod.sim.air import Air
from vfod.sim.jump import SimClock
from vfod.sim.receiver import SimReceiver
from vfod.sim.scenario import (
    BoxSetup,
    Crystal,
    Floor,
    FloorBand,
    ReceiverSetup,
    Scenario,
    Station,
)
from vfod.sim.world import build

FLOOR = Floor(bandwidth=5000, bands=(FloorBand(low=7_200_000, high=7_450_000, hours={0: -100.0}),))
#: No noise but the air's, no jitter, and a detector that averages so long that nothing trembles.
STILL = ReceiverSetup(noise=-200.0, jitter=0.0, time_constant=1000.0)


def _receiver(setup: ReceiverSetup, *stations: Station) -> SimReceiver:
    return SimReceiver(Air(Scenario(floor=FLOOR, stations=stations)), setup, seed=3)


def _oscillator(frequency: int) -> float:
    return frequency + 455_000.0


@pytest.mark.parametrize(
    ("injection", "intermediate", "ratio"),
    [("high", 455_000, "1"), ("low", 455_000, "4"), ("high", 10_700_000, "1/2"), ("high", 0, "4")],
)
async def test_it_receives_what_the_law_of_the_dial_says(
    injection: str, intermediate: int, ratio: str
) -> None:
    """The law of vfod.radio.receiver, corrected for a crystal that runs 25 ppm fast, sets a box
    with that crystal so that the receiver truly is where the dial says.
    """
    setup = ReceiverSetup.model_validate(
        {
            "intermediate_frequency": intermediate,
            "injection": injection,
            "oscillator_per_mixer": ratio,
        }
    )
    law = Receiver(
        ranges=(
            Range(
                low=5_000_000,
                high=15_000_000,
                detector=Detector.ENVELOPE if intermediate else Detector.DIRECT,
                intermediate_frequency=intermediate,
                injection=Injection(injection),
                ratio=Fraction(ratio),
                offset=0,
            ),
        ),
        correction=Fraction(25),
    )
    box_setup = BoxSetup(crystal=Crystal(error=25.0), output=True, resolution=1, high=10**11)
    world = build(Scenario(receiver=setup, box=box_setup), clock=SimClock(wall=0.0))
    world.box.feed(f"tune f={law.millihertz_for(9_420_000) / 1000:.3f}\n".encode())
    assert world.box.listening == pytest.approx(9_420_000, abs=0.01)
    world.box.close()


def test_the_passband_is_flat_and_its_skirts_fall() -> None:
    """5 kHz flat, 20 dB a kilohertz outside, and the noise of a little more than 5 kHz:
    each skirt adds the integral of 10^(-2x) over x in kilohertz, 217 Hz.
    """
    station = Station(name="A", frequency=7_300_000, power=-40.0)
    receiver = _receiver(STILL, station)
    for away, level in ((0, -40.0), (2_400, -40.0), (3_000, -50.0), (4_000, -70.0)):
        shown = receiver.shown(_oscillator(7_300_000 + away), 1e9)
        assert level == pytest.approx(shown, abs=0.05), away
    noise = -100 + 10 * log10((5000 + 2 * 217.1) / 5000)
    assert noise == pytest.approx(receiver.shown(_oscillator(7_400_000), 1e9), abs=0.01)


def test_the_detector_takes_its_time() -> None:
    """After one time constant 1/e of a step is left, after five less than a hundredth."""
    setup = ReceiverSetup(noise=-200.0, jitter=0.0, time_constant=0.05, bandwidth=5000)
    receiver = _receiver(setup, Station(name="A", frequency=7_300_000, power=-40.0))
    start = 1e9
    receiver.tune(_oscillator(7_400_000), _oscillator(7_300_000), start)
    step = -100.0 - -40.0
    for constants in (0.5, 1.0, 2.0, 5.0):
        shown = receiver.shown(_oscillator(7_300_000), start + constants * 0.05)
        # The noise it starts from trembles by some tenths of a decibel.
        assert -40.0 + step * exp(-constants) == pytest.approx(shown, abs=1.0), constants


@pytest.mark.parametrize("ratio", [0.0, 0.3, 1.0, 10.0, 100.0])
def test_a_short_measurement_is_as_uncertain_as_theory_says(ratio: float) -> None:
    """Relative deviation of the power: sqrt((1 + 2g) / TB) / (1 + g) (energy detector)."""
    setup = ReceiverSetup(noise=-200.0, jitter=0.0, time_constant=0.05, bandwidth=5000, skirt=100)
    bandwidth = 5000 + 2 * 43.4
    power = -100 + 10 * log10(bandwidth / 5000 * ratio) if ratio else -200.0
    receiver = _receiver(setup, Station(name="A", frequency=7_300_000, power=power))
    readings = [
        10 ** (receiver.shown(_oscillator(7_300_000), 1e9 + k * 1.3) / 10) for k in range(3000)
    ]
    theory = sqrt((1 + 2 * ratio) / (0.1 * 5000)) / (1 + ratio)
    # The deviation of 3000 readings is itself uncertain by 1.3 %.
    assert theory == pytest.approx(stdev(readings) / mean(readings), rel=0.05)


def test_readings_much_closer_than_the_detector_can_follow_agree() -> None:
    """A hundredth of a time constant apart, they are nearly the same; far apart they are not."""
    receiver = _receiver(ReceiverSetup(noise=-200.0, jitter=0.0))
    shown = [receiver.shown(_oscillator(7_400_000), 1e9 + k * 0.0005) for k in range(400)]
    near = stdev(b - a for a, b in itertools.pairwise(shown))
    far = stdev(b - a for a, b in zip(shown, shown[200:], strict=False))
    assert near * 10 < far


def test_the_table_undoes_the_detector() -> None:
    """Counts through the table are the level again, within the bow between two of its points."""
    receiver = _receiver(STILL, Station(name="A", frequency=7_300_000, power=-55.5))
    table = receiver.level_table()
    for away in range(0, 6_500, 100):
        oscillator = _oscillator(7_300_000 + away)
        level = table.level(receiver.counts(oscillator, 1e9))
        assert receiver.shown(oscillator, 1e9) == pytest.approx(level.value, abs=0.1), away
        assert Bound.EXACT == level.bound


def test_the_converter_ends_at_both_ends() -> None:
    """Never below zero nor above full scale, however weak or strong it is."""
    strong = _receiver(STILL, Station(name="A", frequency=7_300_000, power=20.0))
    assert 4095 == strong.counts(_oscillator(7_300_000), 1e9)
    assert 0 == _receiver(STILL).counts(None, 1e9)


def test_without_an_oscillator_only_its_own_noise_is_left() -> None:
    """The output is off: the receiver is deaf, whatever is on the air."""
    setup = ReceiverSetup(noise=-120.0, jitter=0.0, time_constant=1000.0)
    receiver = _receiver(setup, Station(name="A", frequency=7_300_000, power=-20.0))
    assert -120.0 == pytest.approx(receiver.shown(None, 1e9), abs=0.01)


def test_a_wall_clock_that_was_set_back_does_no_harm() -> None:
    """The detector then counts as settled."""
    receiver = _receiver(STILL, Station(name="A", frequency=7_300_000, power=-40.0))
    receiver.tune(None, _oscillator(7_300_000), 1e9)
    assert -40.0 == pytest.approx(receiver.shown(_oscillator(7_300_000), 1e9 - 3600), abs=0.01)
