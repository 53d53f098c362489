"""A simple receiver behind the simulated box: from the air to the raw counts of its detector.

Passband (flat, with straight skirts), noise of its own, a logarithmic detector that needs time,
the uncertainty of a power measured for a short time, and the jitter of a converter.
What plagues real receivers can be switched on: a gain control that gives gain back slowly (in
decibels, exponentially: 50 dB are within 1 dB after ln 50 = 3.9 time constants), leakage of strong
signals nearby, the image frequency, signals of its own, the click of a relay.
A signal of ratio g to the noise, measured for a time T in a bandwidth B, has the relative variance
(1 + 2g) / (1 + g)^2 / TB: that of the energy detector of textbooks (Urkowitz, "Energy detection of
unknown deterministic signals", Proc. IEEE 55, 1967).
It is deterministic: the same air, oscillator and times give the same counts.
"""

from collections import deque
from collections.abc import Callable
from math import exp, inf, log, log10, pi, sin, sqrt
from typing import NamedTuple

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
#: So that the detector's chance is another than the converter's.
_UNSTEADY = 1


#: Movements that are remembered: those of half a minute at ten visits a second.
_PAST = 300


class Then(NamedTuple):
    """What a receiver did from a moment on (wall clock): oscillator in hertz, None while off."""

    since: float
    oscillator: float | None
    muted: bool


#: What a receiver hears with an oscillator, hertz; what its detector counts at a level in dBm.
Law = Callable[[float], float]


class SimReceiver:
    """One receiver, tuned by an oscillator; times are wall clock seconds.

    `law` and `curve` are those of a receiver that is described elsewhere, in place of the setup's.
    """

    def __init__(
        self,
        air: Air,
        setup: ReceiverSetup,
        seed: int = 0,
        *,
        law: Law | None = None,
        curve: Law | None = None,
    ) -> None:
        self._air = air
        self._setup = setup
        self._seed = seed
        self._law = law
        self._described_curve = curve
        shift = setup.intermediate_frequency
        self._shift = -shift if setup.injection == "high" else shift
        self._half = setup.bandwidth / 2
        self._reach = self._half + setup.rejection / setup.skirt * 1000.0
        #: The skirts let as much noise through as this much more bandwidth would.
        self._noise_bandwidth = setup.bandwidth + 2 * _NEPER_POWER / setup.skirt * 1000.0
        self.own_noise = 10.0 ** (setup.noise / 10.0)
        #: Time and bandwidth of one reading: a filter of one pole averages over two time constants.
        self._span = 2.0 * setup.time_constant
        self._samples = self._span * setup.bandwidth
        self._image = None
        if setup.image_rejection is not None and shift:
            # On the other side of the oscillator, as far from it as the signal.
            self._image = 2 * shift if setup.injection == "high" else -2 * shift
        #: Whether the antenna is on; what is the receiver's own is heard without it.
        self.antenna = True
        self._switched = -1e9
        #: What the detector showed when it was last tuned, and when that was.
        self._before = setup.noise
        self._since = -1e9
        #: What it was tuned to and whether it was muted, and since when, for its sound, which is
        #: late: of the last minutes.
        self.past: deque[Then] = deque([Then(-inf, None, False)], maxlen=_PAST)

    def centre(self, oscillator: float) -> float:
        """The frequency received with an oscillator (hertz as truly produced), hertz."""
        if self._law is not None:
            return self._law(oscillator)
        return oscillator / self._setup.oscillator_per_mixer + self._shift

    def tune(self, old: float | None, new: float | None, time: float) -> None:
        """The oscillator went from `old` to `new` (hertz, None while its output is off)."""
        self.past.append(Then(time, new, self.past[-1].muted))
        if old != new:
            self._before = self.shown(old, time)
            self._since = time

    def mute(self, muted: bool, time: float) -> None:
        """Its speaker was muted or released."""
        self.past.append(Then(time, self.past[-1].oscillator, muted))

    def heard(
        self, oscillator: float | None, time: float
    ) -> tuple[float, list[tuple[float, float]]]:
        """The noise behind the filter, milliwatts, and what is heard through it.

        That is for each station how far above the centre it is, hertz, and its milliwatts.
        """
        if oscillator is None:
            return self.own_noise, []
        centre = self.centre(oscillator)
        noise = self.own_noise + self._air.noise(centre, time) * self._noise_bandwidth
        return noise, [
            (
                one.station.frequency - centre,
                _milliwatts(one.level - self._loss(one.station.frequency - centre)),
            )
            for one in self._air.between(centre - self._reach, centre + self._reach, time)
        ]

    def switch(self, time: float) -> None:
        """The relay of the band filter moved."""
        self._switched = time

    def counts(self, oscillator: float | None, time: float) -> int:
        """What the converter reads behind the detector now."""
        moment = int(time * _MICROSECONDS)
        level = self.shown(oscillator, time)
        if self._setup.unsteadiness:
            level += self._setup.unsteadiness * gaussian(self._seed, moment, _UNSTEADY)
        raw = self._curve(level)
        raw += self._setup.jitter * gaussian(self._seed, moment)
        return max(0, min(self._setup.full_scale, round(raw)))

    def shown(self, oscillator: float | None, time: float) -> float:
        """What the detector shows, dBm: it goes from the old level to the new one."""
        level = self._level(oscillator, time)
        elapsed = time - self._since
        if elapsed < 0:  # the wall clock was set back: nothing to tell how long ago that was
            return level
        constant = self._setup.time_constant
        if (control := self._setup.gain_control) is not None:
            constant = control.attack if level > self._before else control.release
        past = exp(-elapsed / constant)
        return level + (self._before - level) * past

    def level_table(self) -> LevelTable:
        """The table that turns counts back into dBm, as a configuration has it."""
        setup = self._setup
        steps = int((setup.highest - setup.lowest) / _POINTS)
        levels = [setup.lowest + step * _POINTS for step in range(steps)] + [setup.highest]
        return LevelTable(tuple((round(self._curve(level)), level) for level in levels))

    def _curve(self, level: float) -> float:
        if self._described_curve is not None:
            return self._described_curve(level)
        setup = self._setup
        part = (level - setup.lowest) / (setup.highest - setup.lowest)
        return setup.full_scale * (part + _SWAY * sin(2.0 * pi * part))

    def _level(self, oscillator: float | None, time: float) -> float:
        """Steady level in the passband, with the uncertainty of a short measurement, dBm."""
        noise, signals = self.own_noise, 0.0
        key = 0
        if oscillator is not None:
            centre = self.centre(oscillator)
            key = round(centre)
            if self.antenna:
                noise += self._air.noise(centre, time) * self._noise_bandwidth
                signals = self._signals(centre, time)
            if self._image is not None and self.antenna:
                rejected = 10.0 ** ((self._setup.image_rejection or 0.0) / -10.0)
                signals += rejected * self._signals(centre + self._image, time)
            for own in self._setup.own_signals:
                signals += _milliwatts(own.level - self._loss(own.frequency - centre))
        ratio = signals / noise
        spread = sqrt((1.0 + 2.0 * ratio) / self._samples) / (1.0 + ratio)
        power = (noise + signals) * max(
            0.01, 1.0 + spread * trembling(time, self._span, self._seed, key)
        )
        if (relay := self._setup.relay) is not None:
            since = max(0.0, time - self._switched)
            power += _milliwatts(relay.level - 2.0 * _NEPER_POWER * since / relay.decay)
        return 10.0 * log10(power)

    def _signals(self, centre: float, time: float) -> float:
        """What the stations around a frequency come to behind the filter, milliwatts."""
        leakage = self._setup.leakage
        reach = max(self._reach, leakage.reach if leakage else 0.0)
        return sum(
            _milliwatts(one.level - self._loss(one.station.frequency - centre))
            for one in self._air.between(centre - reach, centre + reach, time)
        )

    def _loss(self, away: float) -> float:
        """What the filter takes from a signal so many hertz from its centre, decibels."""
        outside = abs(away) - self._half
        if outside <= 0:
            return 0.0
        loss = outside / 1000.0 * self._setup.skirt
        leakage = self._setup.leakage
        if leakage is not None and abs(away) <= leakage.reach:
            return min(loss, leakage.loss)
        return loss if abs(away) < self._reach else inf


def _milliwatts(level: float) -> float:
    return float(10.0 ** (level / 10.0))
