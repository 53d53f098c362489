"""What the receiver's sound says of a channel, in decibels that rise with what is received.

- The level: of an envelope detector without gain control it rises with the modulation.
- Quieting, for an envelope detector with gain control: a carrier turns the gain down, and the noise
  with it. It is how far the noise lies below full scale, plus how far the whole lies above the
  noise, so that a carrier, its modulation and both together raise it, and noise that only becomes
  louder lowers it.
- The line, for a product or direct detector, behind which a carrier is a tone: how far the
  narrowest line stands out of its neighbourhood.

Samples are signed 16-bit integers, RATE of them a second; pure, and in plain Python: a second of
sound costs some milliseconds (`make bench` has the figure).
"""

from array import array
from collections import deque
from functools import cache
from heapq import nlargest
from itertools import islice
from math import cos, log, log10, pi
from operator import mul, sub
from statistics import median
from typing import TYPE_CHECKING

from vfod.survey.transform import transform

if TYPE_CHECKING:
    Samples = array[int]
else:  # an array says what is in it to type checkers only, before Python 3.12
    Samples = array

#: Samples a second: what a receiver's speaker passes lies below 4 kHz.
RATE = 8000

#: Samples of a spectrum's piece: lines 16 Hz apart; a carrier is narrower, speech is not.
PIECE = 512

#: Where a line is looked for, hertz: above the hum of the mains, below the edge of the sound.
LINES = 150.0, 3600.0

#: Bins on either side of a line that are its neighbourhood, outside the window's main lobe.
NEAR = range(3, 12)

#: Local maxima that are looked at: the strongest is nearly always the one.
_CANDIDATES = 8

#: Of a full-scale sine the mean square, the reference of the level.
_FULL_SCALE = 32767.0**2 / 2

#: Quieter than one step of the converter nothing is known.
_LEAST = 0.5

#: Mean square of the second difference of white noise, per mean square: 1 + 4 + 1.
_SECOND_DIFFERENCE = 6.0

#: Seconds of sound that are kept: as long as any dwell is worth measuring at once.
KEPT = 10.0

#: By so much per second the start of the sound may come to lie later: crystals of sound cards and
#: of computers differ by 100 ppm at most, and twice that is soon found.
_DRIFT = 2e-4


def level_of(samples: Samples) -> float:
    """Level of the sound over that of a full-scale sine, decibels; `samples` is not empty."""
    return _decibels(sum(map(mul, samples, samples)) / len(samples))


def noise_of(samples: Samples) -> float:
    """Level of the noise in it, taken from its upper part, decibels as in level_of.

    The second difference passes the upper part: speech at 500 Hz is 22 dB down there, and of white
    noise it has six times the power.
    """
    first = list(map(sub, islice(samples, 1, None), samples))
    second = list(map(sub, islice(first, 1, None), first))
    square = sum(map(mul, second, second)) / max(len(second), 1)
    return _decibels(square / _SECOND_DIFFERENCE)


def quieting(samples: Samples) -> float:
    """How far the noise is down and the rest above it, decibels."""
    noise = noise_of(samples)
    return -noise + (level_of(samples) - noise)


def line(samples: Samples) -> float | None:
    """How far the narrowest line stands above its neighbourhood, decibels; None if too short."""
    powers = _spectrum(samples)
    if powers is None:
        return None
    low, high = (round(edge * PIECE / RATE) for edge in LINES)
    peaks = [
        k for k in range(low, high) if powers[k] >= powers[k - 1] and powers[k] > powers[k + 1]
    ]
    strongest = nlargest(_CANDIDATES, peaks, powers.__getitem__)
    ratios = [powers[k] / _around(powers, k) for k in strongest]
    return 10 * log10(max(ratios, default=1.0))


def _around(powers: list[float], k: int) -> float:
    near = [powers[k + side * n] for n in NEAR for side in (-1, 1) if 0 < k + side * n < PIECE // 2]
    # Of exponentially distributed powers the median is ln 2 of the mean; a step squared is the
    # least noise that a converter has.
    return max(median(near) / log(2), _LEAST)


def _spectrum(samples: Samples) -> list[float] | None:
    """Mean power spectrum of the pieces, bins 0 to PIECE / 2; None if there is not one piece."""
    count = len(samples) // PIECE
    if not count:
        return None
    window, total = _window(), [0.0] * (PIECE // 2 + 1)
    for number in range(0, count, 2):
        start = number * PIECE
        # Two real pieces as one complex: |Z(k)|² + |Z(-k)|² is twice the sum of their powers.
        real = map(mul, samples[start : start + PIECE], window)
        if number + 1 < count:
            other = map(mul, samples[start + PIECE : start + 2 * PIECE], window)
            z = transform(list(map(complex, real, other)))
        else:
            z = transform([complex(x) for x in real])
        for k in range(1, PIECE // 2):
            a, b = z[k], z[PIECE - k]
            total[k] += a.real**2 + a.imag**2 + b.real**2 + b.imag**2
    return [power / (2 * count * PIECE) for power in total]


@cache
def _window() -> list[float]:
    """Hann's, with a mean square of 1."""
    return [(1 - cos(2 * pi * n / PIECE)) * (2 / 3) ** 0.5 for n in range(PIECE)]


def _decibels(square: float) -> float:
    return 10 * log10(max(square, _LEAST) / _FULL_SCALE)


class Recording:
    """The last seconds of sound, and when each sample of it was heard.

    Blocks come late by a few milliseconds, now more, now less; the samples themselves were taken
    evenly. So the earliest blocks say when the sound began, and the others are late.
    """

    def __init__(self, rate: int = RATE) -> None:
        self._rate = rate
        self._blocks: deque[Samples] = deque()
        self._held = 0
        #: Samples that came so far, and the time of the first one as far as known.
        self._count = 0
        self._began: float | None = None
        self._heard = 0.0

    def add(self, samples: Samples, time: float) -> None:
        """A block that ended at `time`, as far as its arrival tells."""
        self._count += len(samples)
        self._held += len(samples)
        self._blocks.append(samples)
        while self._held - len(self._blocks[0]) >= KEPT * self._rate:
            self._held -= len(self._blocks.popleft())
        began = time - self._count / self._rate
        if self._began is not None:
            began = min(began, self._began + _DRIFT * (time - self._heard))
        self._began, self._heard = began, time

    def part(self, since: float, until: float) -> Samples:
        """What was heard from `since` to `until`, as far as it is there yet and still."""
        found: Samples = array("h")
        if self._began is None:
            return found
        first = self._count - self._held
        start = max(round((since - self._began) * self._rate), first) - first
        end = round((until - self._began) * self._rate) - first
        at = 0
        for block in self._blocks:
            if at + len(block) > start and at < end:
                found.extend(block[max(start - at, 0) : end - at])
            at += len(block)
        return found
