"""Levels, quieting and lines of sound against arithmetic that is not ours (numpy, scipy)."""

from array import array
from collections.abc import Sequence
from math import log10

import numpy as np
import pytest
from scipy import signal

from vfod.survey.sound import PIECE, RATE, Recording, level_of, line, noise_of, quieting
from vfod.survey.soundness import CLIPPED_SHARE, OVER, SILENT_FOR, Ear, Soundness
from vfod.survey.steps import LEAST, step_in
from vfod.survey.transform import transform

BLOCK = 400


def samples(values: Sequence[float] | np.ndarray) -> "array[int]":
    return array("h", np.clip(np.rint(values), -32767, 32767).astype(int).tolist())


def white(rng: np.random.Generator, rms: float, seconds: float = 1.0) -> np.ndarray:
    return np.array(rng.normal(0, rms, round(seconds * RATE)))


def tone(amplitude: float, hertz: float, seconds: float = 1.0) -> np.ndarray:
    return np.array(amplitude * np.sin(2 * np.pi * hertz / RATE * np.arange(round(seconds * RATE))))


def test_the_transform_is_the_discrete_fourier_transform() -> None:
    """Against numpy's."""
    rng = np.random.default_rng(1)
    values = rng.normal(size=PIECE) + 1j * rng.normal(size=PIECE)
    assert np.allclose(np.fft.fft(values), transform(values.tolist()))


def test_levels_of_noise_and_tone() -> None:
    """0 dB is a full-scale sine (AES17); the noise beside a tone at 500 Hz is still the noise's."""
    rng = np.random.default_rng(2)
    noise = white(rng, 300.0)
    wanted = 10 * log10(2 * 300.0**2 / 32767**2)
    assert wanted == pytest.approx(level_of(samples(noise)), abs=0.3)
    assert wanted == pytest.approx(noise_of(samples(noise)), abs=0.3)
    both = samples(noise + tone(600.0, 500.0))
    assert wanted + 10 * log10(3) == pytest.approx(level_of(both), abs=0.3)
    # By the second difference 16 sin⁴(π f / rate) / 6 of the tone's power passes: 0.4 % at 500 Hz.
    assert wanted == pytest.approx(noise_of(both), abs=0.5)


def test_quieting_rises_with_carrier_and_modulation_only() -> None:
    """The noise down by 20 dB is 20 dB; louder noise without a station is less than nothing."""
    rng = np.random.default_rng(3)
    before = quieting(samples(white(rng, 1000.0)))
    carrier = quieting(samples(white(rng, 100.0)))
    spoken = quieting(samples(white(rng, 100.0) + tone(1000.0, 400.0)))
    louder = quieting(samples(white(rng, 3000.0)))
    assert 20 == pytest.approx(carrier - before, abs=0.7)
    assert spoken - carrier > 14
    assert louder < before


@pytest.mark.parametrize("above", [6.0, 12.0, 20.0, 40.0])
def test_a_line_is_as_prominent_as_in_a_reference_spectrum(above: float) -> None:
    """Against scipy's averaged periodogram with the same window, pieces and neighbourhood."""
    rng = np.random.default_rng(4)
    noise = white(rng, 200.0, 2.0)
    per_bin = 200.0**2 / (PIECE / 2)
    made = samples(noise + tone(np.sqrt(2 * per_bin * 10 ** (above / 10)), 1000.0, 2.0))
    _, spectrum = signal.welch(
        np.array(made, float), RATE, "hann", PIECE, noverlap=0, detrend=False, scaling="spectrum"
    )
    peak = round(1000 * PIECE / RATE)
    near = [spectrum[peak + side * n] for n in range(3, 12) for side in (-1, 1)]
    wanted = 10 * log10(spectrum[peak] / (np.median(near) / np.log(2)))
    found = line(made)
    assert found is not None
    # The strongest line may be another one, by chance, where ours is hardly there.
    assert wanted - 0.2 <= found <= max(wanted + 0.2, 9.0)


def test_a_hump_is_no_line() -> None:
    """Noise through a filter 600 Hz wide, 30 dB over the rest, is no line, nor is a short one."""
    rng = np.random.default_rng(5)
    sections = signal.butter(4, [900, 1500], "bandpass", fs=RATE, output="sos")
    hump = 3000 * signal.sosfilt(sections, rng.normal(size=4 * RATE))
    found = line(samples(hump + white(rng, 30.0, 4.0)))
    assert found is not None
    assert found < 6
    assert line(samples(hump[: PIECE - 1])) is None


def test_a_recording_knows_when_each_sample_was() -> None:
    """Blocks come up to 40 ms late; what was then is found to 2 ms all the same."""
    rng = np.random.default_rng(6)
    recording = Recording()
    began = 100.0
    for number in range(400):
        block = array("h", [number] * BLOCK)
        end = began + (number + 1) * BLOCK / RATE
        recording.add(block, end + (rng.uniform(0, 0.04) if number % 7 else 0.0))
    part = recording.part(began + 15.0, began + 15.05)
    assert BLOCK == pytest.approx(len(part), abs=1)
    assert 300 == part[BLOCK // 2]
    assert sum(1 for value in part if value != 300) <= 0.002 * RATE
    # What is gone, and what is still to come, is not there.
    assert 0 == len(recording.part(began, began + 5))
    assert 0 == len(recording.part(began + 30, began + 31))


def test_a_recording_follows_a_slow_sound_card() -> None:
    """A crystal 100 ppm slow is 0.36 s behind after an hour, which would be another channel."""
    recording = Recording()
    blocks = 3600 * 20
    for number in range(blocks):
        recording.add(array("h", [number % 30_000] * BLOCK), (number + 1) * 0.05 * 1.0001)
    end = blocks * 0.05 * 1.0001
    part = recording.part(end - 0.05, end)
    assert (blocks - 1) % 30_000 == part[BLOCK // 2]


@pytest.mark.parametrize("at", [0.1, 0.5, 1.9])
@pytest.mark.parametrize("height", [-20.0, 12.0])
def test_a_step_is_found(at: float, height: float) -> None:
    """To 10 ms, up or down, in noise."""
    rng = np.random.default_rng(7)
    noise = white(rng, 300.0, 2.5)
    noise[round(at * RATE) :] *= 10 ** (height / 20)
    assert at == pytest.approx(step_in(samples(noise)), abs=0.011)


def test_no_step_is_found_where_there_is_none() -> None:
    """In noise, in noise with speech-like bursts, in silence, and below the least height."""
    rng = np.random.default_rng(8)
    noise = white(rng, 300.0, 2.5)
    assert step_in(samples(noise)) is None
    bursts = noise * np.repeat(10 ** (rng.uniform(-15, 15, 25) / 20), RATE // 10)
    assert step_in(samples(bursts)) is None
    assert step_in(samples(noise * 0)) is None
    noise[RATE:] *= 10 ** ((LEAST - 2) / 20)
    assert step_in(samples(noise)) is None
    assert step_in(samples(noise[:600])) is None


def heard(ear: Ear, block: "array[int]", seconds: float) -> list[Soundness]:
    said = [ear.hear(block) for _ in range(round(seconds * RATE / BLOCK))]
    return [one for one in said if one is not None]


def test_silence_is_said_once_and_so_is_its_end() -> None:
    """After so many seconds of zeros, or of a converter's last bit; noise ends it."""
    rng = np.random.default_rng(9)
    noise = samples(white(rng, 20.0, BLOCK / RATE))
    ear = Ear(BLOCK / RATE)
    assert [] == heard(ear, noise, 5)
    assert [] == heard(ear, array("h", [0] * BLOCK), SILENT_FOR - 0.1)
    assert [Soundness.SILENT] == heard(ear, array("h", [0, 1] * (BLOCK // 2)), 60)
    assert [Soundness.GOOD] == heard(ear, noise, 5)


def test_clipping_is_said_once_and_not_for_a_crash_of_static() -> None:
    """A share of the time that is clipped is told, a rare peak is not."""
    rng = np.random.default_rng(10)
    noise = samples(white(rng, 2000.0, BLOCK / RATE))
    clipped = samples(np.sign(tone(1.0, 440.0, BLOCK / RATE)) * 40_000)
    ear = Ear(BLOCK / RATE)
    for _ in range(10):
        assert [] == heard(ear, clipped, BLOCK / RATE) + heard(ear, noise, 5)
    assert [Soundness.CLIPPED] == heard(ear, clipped, OVER * CLIPPED_SHARE * 2)
    assert [Soundness.GOOD] == heard(ear, noise, 3 * OVER)
