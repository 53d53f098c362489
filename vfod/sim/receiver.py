"""A simple receiver behind the simulated box: from the air to the raw counts of its detector.

Passband (flat, with straight skirts), noise of its own, a logarithmic detector that needs time,
the uncertainty of a power measured for a short time, and the jitter of a converter.
A signal of ratio g to the noise, measured for a time T in a bandwidth B, has the relative variance
(1 + 2g) / (1 + g)^2 / TB: that of the energy detector of textbooks (Urkowitz, "Energy detection of
unknown deterministic signals", Proc. IEEE 55, 1967).
It is deterministic: the same air, oscillator and times give the same counts.
"""

from math import exp, log, log10, pi, sin, sqrt

from vfod.radio.levels import LevelTable
from vfod.sim.air import Air
from vfod.sim.noise import gaussian, trembling
from vfod.sim.scenario import ReceiverSetup

_NEPER_POWER = 10.0 / log(10.0)
#: A logarithmic detector keeps to its law within about 1 dB over its range; this one sways by
#: this part of its range, which is 1 dB of 120.
_SWAY = 1.0 / 120.0
#: The table that undoes the detector has a point every so many decibels.
_POINTS = 5.0
_MICROSECONDS = 1e6


class SimReceiver:
    """One receiver, tuned by an oscillator; times are wall clock seconds."""

    def __init__(self, air: Air, setup: ReceiverSetup, seed: int = 0) -> None:
        self._air = air
        self._setup = setup
        self._seed = seed
        shift = setup.intermediate_frequency
        self._shift = -shift if setup.injection == "high" else shift
        self._half = setup.bandwidth / 2
        self._reach = self._half + setup.rejection / setup.skirt * 1000.0
        #: The skirts let as much noise through as this much more bandwidth would.
        self._noise_bandwidth = setup.bandwidth + 2 * _NEPER_POWER / setup.skirt * 1000.0
        self._own_noise = 10.0 ** (setup.noise / 10.0)
        #: Time and bandwidth of one reading: a filter of one pole averages over two time constants.
        self._span = 2.0 * setup.time_constant
        self._samples = self._span * setup.bandwidth
        #: What the detector showed when it was last tuned, and when that was.
        self._before = setup.noise
        self._since = -1e9

    def centre(self, oscillator: float) -> float:
        """The frequency received with an oscillator (hertz as truly produced), hertz."""
        return oscillator / self._setup.oscillator_per_mixer + self._shift

    def tune(self, old: float | None, new: float | None, time: float) -> None:
        """The oscillator went from `old` to `new` (hertz, None while its output is off)."""
        if old != new:
            self._before = self.shown(old, time)
            self._since = time

    def counts(self, oscillator: float | None, time: float) -> int:
        """What the converter reads behind the detector now."""
        raw = self._curve(self.shown(oscillator, time))
        raw += self._setup.jitter * gaussian(self._seed, int(time * _MICROSECONDS))
        return max(0, min(self._setup.full_scale, round(raw)))

    def shown(self, oscillator: float | None, time: float) -> float:
        """What the detector shows, dBm: it goes from the old level to the new one."""
        level = self._level(oscillator, time)
        elapsed = time - self._since
        if elapsed < 0:  # the wall clock was set back: nothing to tell how long ago that was
            return level
        past = exp(-elapsed / self._setup.time_constant)
        return level + (self._before - level) * past

    def level_table(self) -> LevelTable:
        """The table that turns counts back into dBm, as a configuration has it."""
        setup = self._setup
        steps = int((setup.highest - setup.lowest) / _POINTS)
        levels = [setup.lowest + step * _POINTS for step in range(steps)] + [setup.highest]
        return LevelTable(tuple((round(self._curve(level)), level) for level in levels))

    def _curve(self, level: float) -> float:
        setup = self._setup
        part = (level - setup.lowest) / (setup.highest - setup.lowest)
        return setup.full_scale * (part + _SWAY * sin(2.0 * pi * part))

    def _level(self, oscillator: float | None, time: float) -> float:
        """Steady level in the passband, with the uncertainty of a short measurement, dBm."""
        noise, signals = self._own_noise, 0.0
        key = 0
        if oscillator is not None:
            centre = self.centre(oscillator)
            key = round(centre)
            noise += self._air.noise(centre, time) * self._noise_bandwidth
            for one in self._air.between(centre - self._reach, centre + self._reach, time):
                away = abs(one.station.frequency - centre) - self._half
                loss = away / 1000.0 * self._setup.skirt if away > 0 else 0.0
                signals += 10.0 ** ((one.level - loss) / 10.0)
        ratio = signals / noise
        spread = sqrt((1.0 + 2.0 * ratio) / self._samples) / (1.0 + ratio)
        power = (noise + signals) * max(
            0.01, 1.0 + spread * trembling(time, self._span, self._seed, key)
        )
        return 10.0 * log10(power)
