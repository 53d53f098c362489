"""What is on the air, and how strong, at any instant.

Everything is a function of (scenario, seed, frequency, time), so it can be asked in any order and
as often as one likes: the receiver asks what it would hear, a test asks what was truly there.
Frequencies are hertz, times seconds since 1970-01-01 00:00 UTC, levels dBm at the antenna.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable
from math import cos, floor, inf, log, log10, pi, sin
from typing import NamedTuple
from zlib import crc32

from vfod.sim.noise import mix, uniform, wandering
from vfod.sim.scenario import DAY, Cycle, Disturbance, Fading, FloorBand, Scenario, Station

_MINUTE = 60.0
_HOUR = 3600.0
#: Paths that make up a fast fade: from about six on, their sum is hard to tell from Rayleigh's.
_PATHS = 6
#: Half of the usual raster of 5 kHz: what a listener would call the same channel.
_CHANNEL = 2500

# So that chances of different kinds with the same keys are different.
_CYCLE, _FADE, _BURST, _COMING = range(4)

#: Comings and goings are drawn day by day, from noon to noon, so that no night is cut.
_NOON = DAY / 2
#: Days of them kept in mind.
_DAYS = 4


class Present(NamedTuple):
    """A station that is on the air, and its level now."""

    station: Station
    level: float


class _Carrier(NamedTuple):
    station: Station
    fade: Callable[[float], float]
    #: Seconds into its cycle at time 0.
    phase: float
    comings: "_Comings | None"


class Air:
    """The air of a scenario; two with the same scenario and seed are the same."""

    def __init__(self, scenario: Scenario, seed: int = 0) -> None:
        self._carriers = [
            _carrier(station, seed)
            for station in sorted(scenario.stations, key=lambda one: (one.frequency, one.name))
        ]
        self._frequencies = [one.station.frequency for one in self._carriers]
        self._bandwidth = scenario.floor.bandwidth
        self._floor = [_Floor(band) for band in scenario.floor.bands]
        self._disturbances = [
            (one, mix(seed, _BURST, index)) for index, one in enumerate(scenario.disturbances)
        ]

    @property
    def stations(self) -> tuple[Station, ...]:
        """All stations, on the air or not, by frequency."""
        return tuple(one.station for one in self._carriers)

    def present(self, frequency: float, time: float, within: float = _CHANNEL) -> list[Present]:
        """The stations on the air nearer than `within`, with their levels; faded ones too."""
        return self.between(frequency - within, frequency + within, time)

    def between(self, low: float, high: float, time: float) -> list[Present]:
        """The stations on the air from `low` to `high` (excluded both), by frequency."""
        first, last = bisect_right(self._frequencies, low), bisect_left(self._frequencies, high)
        return [
            Present(carrier.station, carrier.station.power + carrier.fade(time))
            for carrier in self._carriers[first:last]
            if _is_on(carrier, time)
        ]

    def noise(self, frequency: float, time: float, *, calm: bool = False) -> float:
        """Density of noise and disturbances in mW/Hz; `calm` leaves the disturbances out."""
        floors = self._floor
        nearest = min(floors, key=lambda one: one.distance(frequency)) if floors[1:] else floors[0]
        level = nearest.level(time)
        power = _milliwatts(level)
        if not calm:
            for one, key in self._disturbances:
                if one.low <= frequency <= one.high and _is_bursting(one, key, time):
                    power += _milliwatts(one.level)
        return power / self._bandwidth

    def level_at(self, frequency: float, bandwidth: float, time: float) -> float:
        """Everything in `bandwidth` around `frequency` together, dBm: the truth at the antenna."""
        power = self.noise(frequency, time) * bandwidth
        for one in self.between(frequency - bandwidth / 2, frequency + bandwidth / 2, time):
            power += _milliwatts(one.level)
        return 10.0 * log10(power)

    def floor_at(self, frequency: float, bandwidth: float, time: float) -> float:
        """The noise alone in `bandwidth`, without stations and disturbances, dBm."""
        return 10.0 * log10(self.noise(frequency, time, calm=True) * bandwidth)


def _milliwatts(level: float) -> float:
    return float(10.0 ** (level / 10.0))


class _Floor:
    """One band's noise through the day."""

    def __init__(self, band: FloorBand) -> None:
        self._low, self._high = band.low, band.high
        points = sorted(band.hours.items())
        # The day is a circle: the last point again before midnight, the first one after it.
        points = [(points[-1][0] - 24, points[-1][1]), *points, (points[0][0] + 24, points[0][1])]
        self._hours = [hour for hour, _ in points]
        self._levels = [level for _, level in points]

    def distance(self, frequency: float) -> float:
        return max(self._low - frequency, frequency - self._high, 0.0)

    def level(self, time: float) -> float:
        hour = time % DAY / _HOUR
        right = bisect_left(self._hours, hour)
        left = right - 1
        start, end = self._hours[left], self._hours[right]
        low, high = self._levels[left], self._levels[right]
        return low + (high - low) * (hour - start) / (end - start)


def _carrier(station: Station, seed: int) -> _Carrier:
    keys = (seed, station.frequency, crc32(station.name.encode()))
    cycle = station.cycle
    phase = uniform(*keys, _CYCLE) * (cycle.on + cycle.off) if cycle else 0.0
    comings = _Comings(cycle, mix(*keys, _COMING)) if cycle and cycle.irregular else None
    return _Carrier(station, _fade(station.fading, mix(*keys, _FADE)), phase, comings)


class _Comings:
    """When a station of an irregular cycle comes and goes."""

    def __init__(self, cycle: Cycle, key: int) -> None:
        self._cycle = cycle
        self._key = key
        #: Per day: whether it begins on the air, and the times of its changes.
        self._days: dict[int, tuple[bool, list[float]]] = {}

    def on(self, time: float) -> bool:
        day = floor((time - _NOON) / DAY)
        if day not in self._days:
            while len(self._days) >= _DAYS:
                del self._days[next(iter(self._days))]
            self._days[day] = self._drawn(day)
        first, changes = self._days[day]
        return first is (bisect_right(changes, time) % 2 == 0)

    def _drawn(self, day: int) -> tuple[bool, list[float]]:
        cycle = self._cycle
        first = state = uniform(self._key, day, 0) < cycle.on / (cycle.on + cycle.off)
        time, changes = _NOON + day * DAY, list[float]()
        end = time + DAY
        while time < end:
            chance = 1.0 - uniform(self._key, day, len(changes) + 1)
            time -= (cycle.on if state else cycle.off) * log(chance)
            changes.append(time)
            state = not state
        return first, changes


def _fade(fading: Fading | None, key: int) -> Callable[[float], float]:
    """What fading adds to a level at a time, dB."""
    if fading is None:
        return lambda time: 0.0
    depth, period = fading.depth, fading.period
    if fading.kind == "slow":
        return lambda time: depth / 2.0 * wandering(time, period, key)
    turn = 2.0 * pi / period
    paths = [
        ((2.0 * uniform(key, path, 0) - 1.0) * turn, uniform(key, path, 1) * 2.0 * pi)
        for path in range(_PATHS)
    ]

    def fast(time: float) -> float:
        real = imaginary = 0.0
        for speed, phase in paths:
            angle = speed * time + phase
            real += cos(angle)
            imaginary += sin(angle)
        power = (real * real + imaginary * imaginary) / _PATHS
        return max(-depth, 10.0 * log10(power)) if power > 0.0 else -depth

    return fast


def _is_on(carrier: _Carrier, time: float) -> bool:
    station = carrier.station
    if station.hours:
        minute = time % DAY / _MINUTE
        if not any(
            start <= minute < end if start < end else minute >= start or minute < end
            for start, end in station.hours
        ):
            return False
    if carrier.comings is not None:
        return carrier.comings.on(time)
    cycle = station.cycle
    return cycle is None or (time + carrier.phase) % (cycle.on + cycle.off) < cycle.on


def _is_bursting(one: Disturbance, key: int, time: float) -> bool:
    if one.at is not None:
        return (time - one.at * _MINUTE) % DAY < one.duration
    every = one.every or inf
    part, into = divmod(time, every)
    # The moment is chosen so that the whole of it lies within its stretch of time.
    start = uniform(key, int(part)) * (every - one.duration)
    return start <= into < start + one.duration
