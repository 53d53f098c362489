"""The frequency of a steady tone in noise, with its uncertainty.

Three steps: a windowed transform of short pieces says roughly where the tone is; the record is
mixed down by that and summed in blocks, so that little is left to look at; and the maximum of its
windowed transform is found between the bins. That maximum is the most likely frequency under a
flat window (Rife and Boorstyn, IEEE Transactions on Information Theory 20, 1974); the cosine
window used here keeps other tones away and costs half as much again in variance.
"""

from cmath import exp, pi
from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, log, log10, sin, sqrt
from operator import mul
from statistics import median

from vfod.survey.transform import transform

#: Samples of a piece of the first step: 2 Hz apart at 8 kHz, well inside what the blocks let pass.
PIECE = 4096

#: Pieces looked at, spread over the record; more do not find a fainter tone in a good record.
PIECES = 16

#: Samples of a block of the second step.
BLOCK = 64

#: Fewest samples worth a look.
SHORTEST = 1024

#: Bins on either side of the tone where the noise is measured, outside the window's main lobe.
NOISE_BINS = range(4, 64)

#: A maximum so many times the mean power of the noise is no accident. Known exactly, 20 would be
#: exceeded in one record of ten thousand; but a short one knows its noise from two dozen bins.
SURE = 30.0

#: Variance of the frequency by the cosine window, over that of the best possible measurement.
WINDOW_COST = 1.497


@dataclass(frozen=True, kw_only=True, slots=True)
class Tone:
    """A tone: `frequency` and its standard deviation in hertz, `amplitude` in units of the samples.

    `signal_to_noise` is its power over that of the noise in the whole record, decibels.
    """

    frequency: float
    deviation: float
    amplitude: float
    signal_to_noise: float


def find_tone(
    samples: Sequence[float], rate: float, *, low: float = 50.0, high: float | None = None
) -> Tone | None:
    """The strongest tone between `low` and `high` hertz; None where none stands out of the noise.

    `samples` are real, `rate` of them a second; `high` is nine tenths of half the rate if not
    given. A constant part is taken out.
    """
    count = len(samples)
    if count < SHORTEST:
        return None
    mean = sum(samples) / count
    high = 0.45 * rate if high is None else min(high, rate / 2)
    about = _roughly(samples, mean, rate, low, high)
    if about is None:
        return None
    blocks, weights = _mixed_down(samples, mean, about / rate)
    size = 4 << (len(blocks) - 1).bit_length()
    powers = _powers(blocks, size)
    # The piece's bin, and one more on either side, in bins of this transform.
    reach = min(round(2 * size * BLOCK / min(PIECE, _power_of_two(count))), size // 4)
    peak = max(range(-reach, reach + 1), key=powers.__getitem__)
    about += _maximum(blocks, peak / size)[0] * rate / BLOCK
    # Once more, because a block is only summed truly at the very frequency it is mixed down by.
    blocks, weights = _mixed_down(samples, mean, about / rate)
    shift, power = _maximum(blocks, 0.0)
    noise = _noise(_powers(_without(blocks, weights, shift), size), len(blocks))
    if power <= 0 or power < SURE * noise:
        return None
    amplitude = 2 * sqrt(power) / sum(weights)
    # The windowed transform of white noise has the power: variance of a sample × Σ window², and
    # the squares of a half-wave of the sine have the mean 1/2.
    variance = noise / (count / 2)
    bound = 24 * variance / (amplitude**2 * count**3)
    return Tone(
        frequency=about + shift * rate / BLOCK,
        deviation=sqrt(WINDOW_COST * bound) * rate / (2 * pi),
        amplitude=amplitude,
        signal_to_noise=10 * log10(amplitude**2 / 2 / variance) if variance > 0 else float("inf"),
    )


def _power_of_two(count: int) -> int:
    return 1 << (count.bit_length() - 1)


def _roughly(
    samples: Sequence[float], mean: float, rate: float, low: float, high: float
) -> float | None:
    """Where the mean power of the pieces is greatest, to a fraction of a bin."""
    size = min(PIECE, _power_of_two(len(samples)))
    window = [0.5 - 0.5 * cos(2 * pi * n / size) for n in range(size)]
    room = len(samples) - size
    pieces = min(PIECES, 1 + 2 * room // size)
    total = [0.0] * (size // 2)
    for piece in range(pieces):
        start = room * piece // max(pieces - 1, 1)
        part = samples[start : start + size]
        spectrum = transform([(x - mean) * w + 0j for x, w in zip(part, window, strict=True)])
        total = [sum_ + abs(z) ** 2 for sum_, z in zip(total, spectrum, strict=False)]
    first, last = max(1, round(low * size / rate)), min(len(total) - 2, round(high * size / rate))
    if first > last:
        return None
    peak = max(range(first, last + 1), key=total.__getitem__)
    return (peak + _vertex(total[peak - 1], total[peak], total[peak + 1])) * rate / size


def _mixed_down(
    samples: Sequence[float], mean: float, turns: float
) -> tuple[list[complex], list[float]]:
    """Sums of blocks of the windowed record, mixed down by `turns` a sample; and their weights.

    Blocks overlap by half and are tapered, else whatever else is in the record (the tone's own
    image at minus its frequency to begin with) would fold back beside the tone.
    """
    count = len(samples) // BLOCK * BLOCK
    taper = [sin(pi * (n + 0.5) / (2 * BLOCK)) ** 2 for n in range(2 * BLOCK)]
    back = [w * exp(-2j * pi * turns * n) for n, w in enumerate(taper)]
    window = [sin(pi * (n + 0.5) / count) for n in range(count)]
    record = [(x - mean) * w for x, w in zip(samples, window, strict=False)]
    blocks, weights = [], []
    for start in range(0, count - BLOCK, BLOCK):
        end = start + 2 * BLOCK
        blocks.append(sum(map(mul, record[start:end], back)) * exp(-2j * pi * turns * start))
        weights.append(sum(map(mul, window[start:end], taper)))
    return blocks, weights


def _powers(blocks: Sequence[complex], size: int) -> list[float]:
    return [abs(z) ** 2 for z in transform([*blocks, *[0j] * (size - len(blocks))])]


def _without(blocks: Sequence[complex], weights: Sequence[float], turns: float) -> list[complex]:
    """The blocks less the tone, whose sidelobes would pass for noise where there is little."""
    share = _at(blocks, turns) / sum(weights)
    return [
        block - share * weight * exp(2j * pi * turns * n)
        for n, (block, weight) in enumerate(zip(blocks, weights, strict=True))
    ]


def _noise(powers: Sequence[float], blocks: int) -> float:
    """Mean power of the noise near bin 0; the median, because other tones may be there."""
    size = len(powers)
    bins = NOISE_BINS[: max(blocks // 2 - NOISE_BINS.start, 1)]
    near = [
        powers[round(side * n * size / blocks)] / _passed(n / blocks)
        for n in bins
        for side in (-1, 1)
    ]
    # The power of noise in a bin is distributed exponentially: its median is ln 2 of its mean.
    return median(near) / log(2)


def _passed(offset: float) -> float:
    """Power of noise that the tapered blocks let pass at an offset in turns a block, up to 1/2.

    The taper's own transform, sin(πv) / πv / (1 - v²) with v = 2 × offset, and what folds back.
    """

    def response(v: float) -> float:
        return 0.5 if abs(abs(v) - 1) < 1e-9 else sin(pi * v) / (pi * v * (1 - v * v))

    return response(2 * offset) ** 2 + response(2 * offset - 2) ** 2


def _maximum(blocks: Sequence[complex], turns: float) -> tuple[float, float]:
    """Where the transform of the blocks is greatest near `turns` a block, and its power there."""
    step = 1 / (4 * len(blocks))
    for _ in range(4):
        around = [_power_at(blocks, turns + side * step) for side in (-1, 0, 1)]
        turns += step * _vertex(*around)
        step /= 4
    return turns, _power_at(blocks, turns)


def _power_at(blocks: Sequence[complex], turns: float) -> float:
    return abs(_at(blocks, turns)) ** 2


def _at(blocks: Sequence[complex], turns: float) -> complex:
    turn, phasor, total = exp(-2j * pi * turns), 1 + 0j, 0j
    for block in blocks:
        total += block * phasor
        phasor *= turn
    return total


def _vertex(left: float, middle: float, right: float) -> float:
    """Vertex of the parabola through the logarithms of three powers one step apart, in steps."""
    if min(left, middle, right) <= 0:
        return 0.0
    a, b, c = log(left), log(middle), log(right)
    bend = a - 2 * b + c
    return 0.0 if bend >= 0 else max(-1.0, min(1.0, (a - c) / (2 * bend)))
