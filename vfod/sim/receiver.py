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


#: Before anything that matters, seconds.
_LONG_AGO = 1e9

#: Movements that are remembered: those of half a minute at ten visits a second.
_PAST = 300


class Then(NamedTuple):
    """What a receiver did from a moment on (wall clock): oscillator in hertz, None while off.

    It was tuned at `tuned` and showed `before` (dBm) until then; its relay moved at `switched`.
    """

    since: float
    oscillator: float | None
    muted: bool
    before: float
    tuned: float = -_LONG_AGO
    switched: float = -_LONG_AGO


class Heard(NamedTuple):
    """A signal behind the filter: hertz above the centre, milliwatts, whether it is modulated."""

    offset: float
    power: float
    spoken: bool


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
        #: Leaking ones count from as far.
        self._far = max(self._reach, setup.leakage.reach if setup.leakage else 0.0)
        self._image, self._image_passed = None, _milliwatts(-(setup.image_rejection or 0.0))
        if setup.image_rejection is not None and shift:
            # On the other side of the oscillator, as far from it as the signal.
            self._image = 2 * shift if setup.injection == "high" else -2 * shift
        #: Whether the antenna is on; what is the receiver's own is heard without it.
        self.antenna = True
        #: What it did in the last minutes, for its sound, which is late; the last is what it does.
        self.past: deque[Then] = deque([Then(-inf, None, False, setup.noise)], maxlen=_PAST)

    def centre(self, oscillator: float) -> float:
        """The frequency received with an oscillator (hertz as truly produced), hertz."""
        if self._law is not None:
            return self._law(oscillator)
        return oscillator / self._setup.oscillator_per_mixer + self._shift

    def tune(self, old: float | None, new: float | None, time: float) -> None:
        """The oscillator went from `old` to `new` (hertz, None while its output is off)."""
        now = self.past[-1]
        if old != new:
            now = now._replace(before=self.shown(old, time), tuned=time)
        self.past.append(now._replace(since=time, oscillator=new))

    def mute(self, muted: bool, time: float) -> None:
        """Its speaker was muted or released."""
        self.past.append(self.past[-1]._replace(since=time, muted=muted))

    def switch(self, time: float) -> None:
        """The relay of the band filter moved; its thump takes away gain as a signal does."""
        now = self.past[-1]._replace(since=time, switched=time)
        relay, control = self._setup.relay, self._setup.gain_control
        if relay is not None and control is not None:
            shown = self.shown(now.oscillator, time)
            now = now._replace(before=max(shown, relay.level), tuned=time)
        self.past.append(now)

    def heard(self, oscillator: float | None, time: float) -> tuple[float, list[Heard]]:
        """The noise behind the filter, milliwatts, and what is heard through it."""
        noise, found = self.own_noise, list[Heard]()
        if oscillator is None:
            return noise, found
        centre = self.centre(oscillator)
        if self.antenna:
            noise += self._air.noise(centre, time) * self._noise_bandwidth
            found += self._through(centre, time)
            if self._image is not None:
                # Mirrored, and weaker.
                found += [
                    Heard(-offset, power * self._image_passed, spoken)
                    for offset, power, spoken in self._through(centre + self._image, time)
                ]
        for own in self._setup.own_signals:
            offset = own.frequency - centre
            if (loss := self._loss(offset)) < inf:
                found.append(Heard(offset, _milliwatts(own.level - loss), False))
        return noise, found

    def thump(self, switched: float, time: float) -> float:
        """What is left of the relay's click, milliwatts."""
        relay = self._setup.relay
        if relay is None or time < switched:
            return 0.0
        return _milliwatts(relay.level - 2.0 * _NEPER_POWER * (time - switched) / relay.decay)

    def controlled(self, then: Then, level: float, time: float) -> float:
        """What the gain goes by where the level behind the filter is `level`, both dBm."""
        control = self._setup.gain_control
        return level if control is None else self._moving(then, level, time)

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
        return self._moving(self.past[-1], self._level(oscillator, time), time)

    def _moving(self, then: Then, level: float, time: float) -> float:
        elapsed = time - then.tuned
        if elapsed < 0:  # the wall clock was set back: nothing to tell how long ago that was
            return level
        constant = self._setup.time_constant
        if (control := self._setup.gain_control) is not None:
            constant = control.attack if level > then.before else control.release
        return level + (then.before - level) * exp(-elapsed / constant)

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
        noise, found = self.heard(oscillator, time)
        signals = sum(one.power for one in found)
        key = 0 if oscillator is None else round(self.centre(oscillator))
        ratio = signals / noise
        spread = sqrt((1.0 + 2.0 * ratio) / self._samples) / (1.0 + ratio)
        power = (noise + signals) * max(
            0.01, 1.0 + spread * trembling(time, self._span, self._seed, key)
        )
        return 10.0 * log10(power + self.thump(self.past[-1].switched, time))

    def _through(self, centre: float, time: float) -> list[Heard]:
        """The stations around a frequency, as they are behind the filter."""
        return [
            Heard(
                one.station.frequency - centre,
                _milliwatts(one.level - self._loss(one.station.frequency - centre)),
                True,
            )
            for one in self._air.between(centre - self._far, centre + self._far, time)
        ]

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
