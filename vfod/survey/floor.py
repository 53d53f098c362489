"""The floor of a band: what a visit shows where nothing but noise is.

Noise levels scatter about the floor, stations lie above it.
The lowest levels of a band are therefore below the floor when the band is empty and above it when
the band is full; how far depends on how much the levels scatter.
So the lower part is fitted as what it is: a normal distribution of noise and, above it, anything.
The fit counts only if its scatter is the scatter of noise, known from how the readings of a visit
and the visits of a channel differ: a full band's weakest stations scatter more than noise does.

In order: channels named as quiet; the fit; the band's own past, when the band is full; else None.
(Dynamic threshold of Report ITU-R SM.2256 section 3.4.2; the mixture is fitted by expectation and
maximisation, Dempster, Laird and Rubin, J. R. Stat. Soc. B 39, 1977.)
"""

import statistics
from collections import deque
from dataclasses import dataclass
from math import exp, pi, sqrt

#: Levels needed before a floor is believed: fewer than eight say little about a band.
LEAST = 8

#: Levels wanted of a band; one with fewer channels gives several of each.
WANTED = 16

#: A level older than this says nothing of the noise now, seconds: at dusk it moves 15 dB in hours.
STALE = 3600.0

#: The floor follows its estimates with this time constant, seconds: one of 51 channels is good to
#: some tenths of a decibel, and noise does not jump.
SMOOTHING = 300.0

#: The fit is made anew after this part of the band was visited again.
RENEWED = 1 / 16

#: Estimates in a row that must hold before one is believed against the band's past: a pass.
TRUSTED = 16

#: Noise below this share of a band cannot be told from its weakest stations.
LEAST_SHARE = 0.25

#: Levels of noise that a fit must stand on: two or three stations can be alike by chance.
LEAST_NOISE = 4

#: How much more than the noise does the fitted part may scatter (factor, decibels): a band's
#: channels differ a little by the receiver's own unevenness.
SCATTER = (1.3, 0.3)

#: Standard error of a median over that of a mean, normal distribution: sqrt(pi / 2).
_MEDIAN = 1.2533
#: Median of the absolute difference of two normal values, over their standard deviation.
_DIFFERENCE = 0.954
_ITERATIONS = 40
_TINY = 0.03
_HALF_HOURS = 48
_HALF_HOUR = 1800.0


def scatter_of(readings: list[float]) -> float | None:
    """How much the median of a visit's readings scatters, decibels; None for one reading."""
    if len(readings) < 2:
        return None
    count = len(readings)
    mean = sum(readings) / count
    variance = sum((reading - mean) ** 2 for reading in readings) / (count - 1)
    return _MEDIAN * sqrt(variance / count)


@dataclass(frozen=True, kw_only=True, slots=True)
class Fit:
    """A normal distribution at the lower end of some levels: centre, deviation, share."""

    centre: float
    deviation: float
    share: float


def fit(levels: list[float], scatter: float) -> Fit | None:
    """The noise among sorted `levels` that scatters about so much; None if there is none to see."""
    count = len(levels)
    centre = levels[count // 8]
    deviation = max(scatter, 2 * _TINY, (levels[count // 4] - levels[0]) / 2)
    share, top = 0.5, levels[-1]
    for _ in range(_ITERATIONS):
        height = share / deviation / sqrt(2 * pi)
        # Stations: anywhere between the noise and the strongest.
        flat = (1 - share) / max(top - centre, 6 * scatter, 1.0)
        total = first = second = 0.0
        for level in levels:
            away = (level - centre) / deviation
            if away > 6:
                break
            noise = height * exp(-away * away / 2)
            part = noise / (noise + (flat if away >= 0 else 0.0) + 1e-12)
            total += part
            first += part * level
            second += part * (level - centre) ** 2
        if total < 2:
            return None
        moved = first / total
        spread = sqrt(max(second / total - (moved - centre) ** 2, 0.0))
        settled = abs(moved - centre) < 0.001 and abs(spread - deviation) < 0.001
        centre, deviation = moved, max(spread, scatter / 2, _TINY)
        share = min(total / count, 0.999)
        if settled:
            break
    below = sum(level < centre - 2.5 * deviation for level in levels)
    factor, more = SCATTER
    if (
        share < max(LEAST_SHARE, LEAST_NOISE / count)
        or deviation > factor * scatter + more
        # The fit climbed into the stations and left noise beneath it.
        or below > 1 + 0.02 * count
    ):
        return None
    return Fit(centre=centre, deviation=deviation, share=share)


class Floor:
    """The floor of one band, from the levels of its visits as they come."""

    def __init__(self, quiet: frozenset[int] = frozenset()) -> None:
        self._quiet = quiet
        #: Per channel: when, which level, and how much it may scatter by its readings; newest last.
        self._seen: dict[int, deque[tuple[float, float, float | None]]] = {}
        self._since = 0
        #: A channel came that had not been seen: the estimate before knew too little.
        self._grown = False
        #: Estimates in a row that held, and whether so many ever did that the past is believed.
        self._held = 0
        self._trusted = False
        self._value: float | None = None
        self._known = float("-inf")
        #: The floor at each half hour of the day (UTC), from earlier days.
        self._days: dict[int, float] = {}
        #: Whether the last estimate held; else what is told is the band's past.
        self.full = False

    def add(self, dial: int, level: float, time: float, scatter: float | None = None) -> None:
        """One more visit; `time` is the wall clock's, `scatter` from `scatter_of`."""
        known = len(self._seen)
        seen = self._seen.setdefault(dial, deque(maxlen=WANTED))
        seen.append((time, level, scatter))
        self._since += 1
        self._grown |= len(self._seen) > known
        if self._since >= RENEWED * known or dial in self._quiet:
            self._estimate(time)
            self._since, self._grown = 0, False

    def recall(self, half_hour: int, floor: float) -> None:
        """An earlier day's floor at a half hour of the day, counted from midnight UTC."""
        self._days.setdefault(half_hour, floor)

    def value(self, time: float) -> float | None:
        """The floor, or None where neither the band nor its past tells it."""
        if self._value is not None and abs(time - self._known) <= STALE:
            return self._value
        return self._days.get(_half_hour(time))

    def _estimate(self, time: float) -> None:
        for dial in [d for d, seen in self._seen.items() if abs(time - seen[-1][0]) > STALE]:
            del self._seen[dial]
        found = self._from_quiet() if self._quiet & self._seen.keys() else self._from_all(time)
        self.full = found is None
        if found is None:
            self._held = 0
            if not self._trusted:
                self._value = None
            return
        self._held += 1
        if self._held >= TRUSTED:
            self._trusted = True
        elif self._trusted:
            # The band was full a moment ago; one fit that holds may be a chance.
            return
        past = time - self._known
        keep = 0.0 if self._grown or not 0 <= past <= STALE else exp(-past / SMOOTHING)
        self._value = found + (0.0 if self._value is None else self._value - found) * keep
        self._known = time
        if self._trusted:
            self._days[_half_hour(time)] = self._value

    def _from_quiet(self) -> float:
        """The median of the named channels: one of them may carry something for once."""
        named = [self._seen[dial] for dial in self._quiet & self._seen.keys()]
        each = max(1, WANTED // len(named))
        return statistics.median(level for seen in named for _, level, _ in list(seen)[-each:])

    def _from_all(self, time: float) -> float | None:
        each = -(-WANTED // len(self._seen))
        levels = sorted(
            level
            for seen in self._seen.values()
            for when, level, _ in list(seen)[-each:]
            if abs(time - when) <= STALE
        )
        if len(levels) < LEAST or (scatter := self._scatter()) is None:
            return None
        found = fit(levels, scatter)
        return None if found is None else found.centre

    def _scatter(self) -> float | None:
        """How much noise scatters from visit to visit, by the weaker half of the channels."""
        weak = sorted(self._seen.values(), key=lambda seen: seen[-1][1])
        weak = weak[: max(1, len(weak) // 2)]
        by_readings = [seen[-1][2] for seen in weak if seen[-1][2] is not None]
        by_visits = [abs(seen[-1][1] - seen[-2][1]) for seen in weak if len(seen) > 1]
        told = []
        if by_readings:
            told.append(statistics.median(by_readings))
        if len(by_visits) >= LEAST or len(by_visits) == len(weak):
            told.append(statistics.median(by_visits) / _DIFFERENCE)
        return max(told) if told else None


def _half_hour(time: float) -> int:
    return int(time // _HALF_HOUR) % _HALF_HOURS
