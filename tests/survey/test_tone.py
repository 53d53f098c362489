"""A tone's frequency against the Cramér-Rao bound and a transform that is not ours.

The bound for a real tone of unknown frequency, phase and amplitude in white noise is that of
Rife and Boorstyn (IEEE Transactions on Information Theory 20, 1974): a variance of
12 / (SNR N (N² - 1)) in radians² a sample², SNR the power of the tone over that of the noise.
"""

from math import pi, sqrt

import numpy as np
import pytest

from vfod.survey.tone import SHORTEST, find_tone
from vfod.survey.transform import transform

RATE = 8000.0


def record(rng: np.random.Generator, frequency: float, decibels: float, count: int) -> list[float]:
    """A tone of amplitude 1000 with a random phase, in white noise."""
    amplitude = 1000.0
    deviation = amplitude / sqrt(2) / 10 ** (decibels / 20)
    phase = rng.uniform(0, 2 * pi)
    n = np.arange(count)
    made = amplitude * np.cos(2 * pi * frequency / RATE * n + phase)
    return list((made + rng.normal(0, deviation, count)).tolist())


def bound(decibels: float, count: int) -> float:
    """The least standard deviation that any unbiased measurement can have, hertz."""
    snr = 10 ** (decibels / 10)
    return sqrt(12 / (snr * count * (count**2 - 1))) * RATE / (2 * pi)


@pytest.mark.parametrize("decibels", [10.0, 20.0, 40.0])
def test_within_twice_the_bound(decibels: float) -> None:
    """The errors of 120 measurements scatter by less than twice the bound, and are stated so."""
    rng = np.random.default_rng(round(decibels))
    count, errors, stated = 4096, [], []
    for _ in range(120):
        true = rng.uniform(300, 3000)
        tone = find_tone(record(rng, true, decibels, count), RATE)
        assert tone is not None
        errors.append(tone.frequency - true)
        stated.append(tone.deviation)
        assert tone.amplitude == pytest.approx(1000, rel=0.2)
        assert tone.signal_to_noise == pytest.approx(decibels, abs=4)
    scatter = float(np.sqrt(np.mean(np.square(errors))))
    assert scatter < 2 * bound(decibels, count)
    # The window costs a factor of 1.22; 120 values know a deviation to one part in fifteen.
    assert scatter == pytest.approx(float(np.median(stated)), rel=0.2)
    covered = np.mean(np.abs(errors) < 1.96 * np.array(stated))
    assert 0.90 <= covered <= 0.99


def test_a_longer_record_knows_it_better() -> None:
    """Half a minute of a tone at 10 dB is known to better than a tenth of a millihertz."""
    rng = np.random.default_rng(1)
    tone = find_tone(record(rng, 997.1234, 10.0, 240_000), RATE)
    assert tone is not None
    assert tone.deviation < 1e-4
    assert abs(tone.frequency - 997.1234) < 4 * tone.deviation


def test_noise_alone_is_no_tone() -> None:
    """In 100 records of nothing but noise no tone is found."""
    rng = np.random.default_rng(2)
    found = [
        tone
        for _ in range(100)
        if (tone := find_tone(list(rng.normal(0, 100, 2048).tolist()), RATE)) is not None
    ]
    assert [] == found


def test_another_tone_far_away_does_not_pull() -> None:
    """A tone as strong, 400 Hz away and outside the limits, moves it by less than a millihertz."""
    rng = np.random.default_rng(3)
    one, other = record(rng, 1000.3, 40, 16384), record(rng, 1400.7, 40, 16384)
    tone = find_tone([a + b for a, b in zip(one, other, strict=True)], RATE, low=800, high=1200)
    assert tone is not None
    assert abs(tone.frequency - 1000.3) < 1e-3


def test_silence_and_too_little() -> None:
    """A record of zeros, or one that is too short, has no tone and is no error."""
    assert find_tone([0.0] * 4096, RATE) is None
    assert find_tone([1.0] * 4096, RATE) is None
    assert find_tone([0.0] * (SHORTEST - 1), RATE) is None


def test_a_constant_part_is_taken_out() -> None:
    """A sound card's offset is no tone and does no harm."""
    rng = np.random.default_rng(4)
    plain = record(rng, 700.25, 30, 8192)
    with_offset = find_tone([x + 5000 for x in plain], RATE)
    without = find_tone(plain, RATE)
    assert with_offset is not None
    assert without is not None
    assert abs(with_offset.frequency - without.frequency) < without.deviation


def test_thetransform() -> None:
    """The same as numpy's."""
    rng = np.random.default_rng(5)
    values = rng.normal(size=256) + 1j * rng.normal(size=256)
    assert np.allclose(np.fft.fft(values), transform(list(values.tolist())))
