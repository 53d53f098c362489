"""Calibrations put together: whether the stated interval holds, and what is said of it.

The ionosphere is modelled as carriers that arrive on several paths, each moved by its own Doppler
shift, so that their sum fades (as ITU-R F.1487 has it, from memory: a spread of 0.1 Hz in quiet,
0.5 Hz in moderate and 1 Hz in disturbed conditions), and a common shift with the standard
deviation of 1 part in 10^8 that is published as the limit of short wave (docs/standards.md,
section 3).
"""

from fractions import Fraction
from math import pi

import numpy as np
import pytest

from vfod.radio.calibration import Beat, Measured, Sideband, crystal_error
from vfod.radio.carriers import CARRIERS, IONOSPHERE
from vfod.radio.receiver import Crystal, Detector, Range
from vfod.survey.calibrating import Taken, advice, both_sidebands, combined, tone_deviation, verdict
from vfod.survey.tone import find_tone

DIRECT = Range(low=100_000, high=30_000_000, detector=Detector.DIRECT, offset=0)
SHORT_WAVE = [one.frequency for one in CARRIERS if one.frequency > 2_000_000]
RATE, SAMPLES, PATHS, BESIDE = 2048.0, 1024, 6, 600


def calibration(rng: np.random.Generator) -> tuple[float, list[Taken]]:
    """The true error of a crystal drawn at random, and what was measured of it."""
    true, common = rng.uniform(-10e-6, 10e-6), rng.normal(0, IONOSPHERE)
    spread = rng.choice([0.1, 0.5, 1.0]) / 10e6
    time, taken = np.arange(SAMPLES) / RATE, []
    for _ in range(rng.integers(3, 6)):
        carrier = int(rng.choice(SHORT_WAVE))
        oscillator = carrier - BESIDE
        tone = carrier * (1 + common) - oscillator * (1 + true)
        shifts = tone + rng.normal(0, spread / 2 * carrier, PATHS)
        phases = rng.uniform(0, 2 * pi, PATHS)
        heard = np.cos(2 * pi * np.outer(time, shifts) + phases).sum(axis=1) / PATHS**0.5
        found = find_tone((heard + rng.normal(0, 0.2, SAMPLES)).tolist(), RATE, low=100, high=1000)
        if found is None:
            # Faded away, or so deep in the noise that nothing is said of it.
            continue
        beat = Beat(
            carrier=carrier,
            oscillator=Fraction(oscillator),
            tone=Fraction(found.frequency),
            sideband=Sideband.UPPER,
            deviation=found.deviation,
            limit=IONOSPHERE,
        )
        taken.append(Taken(carrier=carrier, measured=crystal_error(DIRECT, beat, Crystal.VFO)))
    return true * 1e6, taken


def test_the_interval_holds_in_ninety_five_of_a_hundred() -> None:
    """200 calibrations against fading carriers: between 93 and 97 % of the intervals hold.

    The seed is fixed; the next test bounds the share more narrowly than chance does here.
    """
    rng = np.random.default_rng(20261125)
    held = 0
    for _ in range(200):
        true, taken = calibration(rng)
        found = combined(taken)
        assert found is not None
        held += found.low <= true <= found.high
        assert found.high - found.low >= 2 * 1.96 * IONOSPHERE * 1e6
    assert 186 <= held <= 194


def test_the_interval_holds_of_many_calibrations() -> None:
    """The same of 3000 with normal scatter, where chance moves the share by 0.4 % only."""
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(3000):
        common, spread = rng.normal(0, IONOSPHERE), rng.uniform(1e-8, 2e-7)
        noise = rng.uniform(1e-9, 5e-9)
        found = combined(
            [
                taken(common + error, noise)
                for error in rng.normal(0, np.hypot(spread, noise), rng.integers(2, 9))
            ]
        )
        assert found is not None
        held += found.low <= 0 <= found.high
    assert 0.93 <= held / 3000 <= 0.97


def taken(error: float, deviation: float, carrier: int = 10_000_000) -> Taken:
    """A measurement against a carrier of short wave."""
    measured = Measured(error=error, deviation=deviation, limit=IONOSPHERE)
    return Taken(carrier=carrier, measured=measured)


def test_never_better_than_the_ionosphere() -> None:
    """However many agree however well: 1.96 times 1 part in 10^8 to either side."""
    found = combined([taken(3e-6, 1e-11) for _ in range(500)])
    assert found is not None
    assert 3.0 == pytest.approx(found.value)
    assert 0.0196 == pytest.approx((found.high - found.low) / 2, rel=1e-3)


def test_a_carrier_of_long_wave_allows_more_only_by_its_weight() -> None:
    """One that says next to nothing does not lift the limit of those that say it all."""
    long_wave = Taken(
        carrier=77_500, measured=Measured(error=3e-6, deviation=1e-5, limit=IONOSPHERE / 100)
    )
    found = combined([long_wave, *(taken(3e-6, 1e-9) for _ in range(9))])
    assert found is not None
    assert (found.high - found.low) / 2 >= 0.0195


def test_the_sound_card_cancels() -> None:
    """A clock that is 80 ppm fast makes both tones too low: their mean does not know of it."""
    error = 80e-6 * 1000 / 10_000_000
    upper, lower = (Measured(error=2e-6 + s * error, deviation=1e-9, limit=1e-8) for s in (1, -1))
    found = both_sidebands(upper, lower)
    assert 2e-6 == pytest.approx(found.error, abs=1e-15)
    assert 1e-9 / 2**0.5 == pytest.approx(found.deviation)
    assert 0.1 == pytest.approx(tone_deviation(0.0, 1000.0))


def test_what_to_do_next() -> None:
    """From nothing to good enough."""
    assert "find zero beat" in advice([], None)
    ear = [taken(1e-6, 3e-7), taken(1.1e-6, 3e-7)]
    assert "measure again" in advice(ear, combined(ear))
    ear += [taken(0.9e-6, 3e-7)]
    assert "try another carrier" in advice(ear, combined(ear))
    apart = [taken(1e-6, 1e-8), taken(5e-6, 1e-8), taken(-3e-6, 1e-8)]
    assert "scatter more than they should" in advice(apart, combined(apart))
    good = [taken(1e-6 + one * 1e-9, 1e-9) for one in range(5)]
    found = combined(good)
    assert found is not None
    assert "this will do" == advice(good, found)
    assert verdict(found).startswith("good: within 0.2 Hz at 10 MHz")
