"""Whether sound is fit to be measured: silence and clipping, told once and once when over.

A receiver is never silent: samples of nothing but zeros come from a muted or unplugged input, and
a level taken from them would be booked as a quiet band.
"""

from enum import StrEnum
from typing import NamedTuple

from vfod.survey.sound import Samples

#: From the least to the greatest sample: the last bits of a converter's zero.
_NOTHING = 2

#: Samples at full scale that make a block one that was clipped: a lone peak is no harm.
_AT_FULL_SCALE = 3
_FULL_SCALE = 32_767

#: Seconds of silence before it is told: longer than a muted change of range.
SILENT_FOR = 3.0

#: Of the time so much may be clipped; static crashes take less.
CLIPPED_SHARE = 0.05

#: Over so many seconds that share is taken, and so long after the last of it all is well again.
OVER = 10.0


class Soundness(StrEnum):
    """How the sound is."""

    GOOD = "good"
    SILENT = "silent"
    CLIPPED = "clipped"


class _Kind(NamedTuple):
    silent: bool
    clipped: bool


class Ear:
    """Listens to blocks of `seconds` each, for one thing only: whether they can be believed."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._silent = 0.0
        self._clipped = 0.0
        self.now = Soundness.GOOD

    def hear(self, samples: Samples) -> Soundness | None:
        """How the sound is from now on, if that changed."""
        kind = _kind(samples)
        self._silent = self._silent + self._seconds if kind.silent else 0.0
        # A share that fades: each block is forgotten over OVER.
        weight = self._seconds / OVER
        self._clipped += weight * (kind.clipped - self._clipped)
        was, self.now = self.now, self._judged()
        return self.now if self.now is not was else None

    def _judged(self) -> Soundness:
        if self._silent >= SILENT_FOR:
            return Soundness.SILENT
        # Not to and fro at the limit: it must fall well below before it is over.
        limit = CLIPPED_SHARE / 4 if self.now is Soundness.CLIPPED else CLIPPED_SHARE
        return Soundness.CLIPPED if self._clipped >= limit else Soundness.GOOD


def silent(samples: Samples) -> bool:
    """Whether there is nothing in them but a converter's zero; `samples` is not empty."""
    return max(samples) - min(samples) <= _NOTHING


def _kind(samples: Samples) -> _Kind:
    high, low = max(samples), min(samples)
    clipped = False
    if high >= _FULL_SCALE or low <= -_FULL_SCALE:
        at = sum(1 for x in samples if x >= _FULL_SCALE or x <= -_FULL_SCALE)
        clipped = at >= _AT_FULL_SCALE
    return _Kind(silent=high - low <= _NOTHING, clipped=clipped)
