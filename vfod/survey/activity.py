"""Whether a level counts as activity: the floor of the band and a margin with hysteresis.

The floor is a low quantile of the levels last seen in the band (dynamic threshold of Report
ITU-R SM.2256 section 3.4.2): most channels of a broadcast band are empty or weak at any hour, so
the lower part of the levels is noise. Until enough channels were seen the floor is unknown, and
so is the answer. The floor is a property of the band, activity one of the channel.
"""

import bisect
import collections
from dataclasses import dataclass

#: Levels needed before a floor is believed: fewer than eight channels say little about a band.
LEAST = 8

#: Levels of a band remembered: about two passes of the widest broadcast band (19 m, 141 channels).
MEMORY = 256

#: Share of levels taken to be at or below the noise.
QUANTILE = 0.25


@dataclass(frozen=True, kw_only=True, slots=True)
class Margin:
    """Decibels above the floor: `active` to become active, `stay` to remain so."""

    active: float = 6.0
    stay: float = 3.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """What a level means: the floor (None: unknown) and whether the channel is active."""

    floor: float | None
    active: bool | None


class Floor:
    """A running low quantile of the levels of one band, decibels."""

    def __init__(self, memory: int = MEMORY) -> None:
        self._recent: collections.deque[float] = collections.deque(maxlen=memory)
        self._sorted: list[float] = []

    def add(self, level: float) -> None:
        """Take one more level into account."""
        if len(self._recent) == self._recent.maxlen:
            del self._sorted[bisect.bisect_left(self._sorted, self._recent[0])]
        self._recent.append(level)
        bisect.insort(self._sorted, level)

    @property
    def value(self) -> float | None:
        """The floor, or None while too little is known."""
        if len(self._sorted) < LEAST:
            return None
        return self._sorted[int(QUANTILE * (len(self._sorted) - 1))]


class Detector:
    """Judges levels channel by channel; remembers floors per band and which channels are active."""

    def __init__(self, margin: Margin) -> None:
        self._margin = margin
        self._floors: dict[str | None, Floor] = {}
        self._active: set[int] = set()

    def judge(self, band: str | None, dial: int, level: float, *, learn: bool = True) -> Verdict:
        """The verdict on a level at `dial`; with `learn` it also moves the floor of the band.

        A hold looks at the same channel again and again and must not teach the floor its level.
        """
        floor = self._floors.setdefault(band, Floor())
        if learn:
            floor.add(level)
        value = floor.value
        if value is None:
            return Verdict(floor=None, active=None)
        above = level - value
        needed = self._margin.stay if dial in self._active else self._margin.active
        active = above >= needed
        if active:
            self._active.add(dial)
        else:
            self._active.discard(dial)
        return Verdict(floor=value, active=active)
