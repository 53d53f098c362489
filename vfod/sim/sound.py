"""The sound of the simulated receiver, late by some delay, behind each kind of detector.

Noise is there always; a station is modulated by a tone behind an envelope detector, and is a tone
itself behind a product or direct detector. A gain control turns noise and signal down together, so
that a carrier quietens the noise, and gives gain back as slowly as the receiver's does. Leakage,
image and the receiver's own signals are heard like stations, a relay as a burst of noise.
Samples are made only for the moments that are asked for, so a night costs what is measured in it;
the same moment sounds the same each time.
"""

import asyncio
from array import array
from bisect import bisect_right
from collections.abc import Callable
from functools import cache
from math import floor, log10, pi, sin, sqrt
from random import Random

from vfod.clock import Clock
from vfod.radio.receiver import Detector
from vfod.sim.noise import mix
from vfod.sim.receiver import SimReceiver
from vfod.survey.sound import RATE, Samples

#: Samples that are made at once: 10 ms, in which nothing changes.
_PIECE = RATE // 100
#: What a gain control keeps the whole at, and the receiver's own noise where there is none, both
#: as root mean square of the samples: a tenth and a hundredth of full scale.
_CONTROLLED, _NOISE = 3000.0, 300.0
#: The tone that every station plays behind an envelope detector, hertz, and its depth.
_PROGRAMME, _DEPTH = 400.0, 0.5
#: Nothing is heard above, hertz: the speaker's amplifier ends there, and the recorder's filter.
_HIGHEST = 3700.0
#: Of noise so many values are drawn once, and cut out from anywhere.
_DRAWN = 1 << 15
_FULL_SCALE = 32_767
#: A tone of less than this is lost in the steps of the converter.
_FAINT = 0.02


class SimSound:
    """What is heard of a receiver; see vfod.run.hearing.Sound and vfod.app.listening.Recorder.

    `detector` says what is behind an oscillator (hertz); `pitch` what is to be added to the tone of
    a station there, where the receiver's law leaves the dial's offset out. With `mute_silences` the
    sound is taken behind the mute of the speaker.
    """

    def __init__(
        self,
        receiver: SimReceiver,
        clock: Clock,
        *,
        detector: Callable[[float], Detector],
        delay: float,
        pitch: Callable[[float], float] = lambda _: 0.0,
        gain_control: bool = True,
        mute_silences: bool = True,
        seed: int = 0,
    ) -> None:
        self._receiver = receiver
        self._clock = clock
        self._detector = detector
        self._delay = delay
        self._pitch = pitch
        self._gain_control = gain_control
        self._mute_silences = mute_silences
        self._seed = seed

    def part(self, since: float, until: float) -> Samples:
        """See vfod.run.hearing.Sound; nothing is there that is still to come."""
        now = self._clock.monotonic()
        shift = self._clock.wall() - now - self._delay
        start, end = round((since + shift) * RATE), round((min(until, now) + shift) * RATE)
        found: Samples = array("h")
        for piece in range(start // _PIECE, -(-end // _PIECE)):
            at = piece * _PIECE
            found.extend(self._piece(piece)[max(start - at, 0) : max(end - at, 0)])
        return found

    def _piece(self, number: int) -> Samples:
        time = number * _PIECE / RATE
        past = self._receiver.past
        # The state that held then: the last one that had begun.
        place = bisect_right(past, time, key=lambda one: one.since)
        state = past[max(place - 1, 0)]
        if state.muted and self._mute_silences:
            return array("h", bytes(2 * _PIECE))
        receiver = self._receiver
        noise, signals = receiver.heard(state.oscillator, time)
        noise += receiver.thump(state.switched, time)
        gain = self._fixed
        if self._gain_control:
            level = 10.0 * log10(noise + sum(one.power for one in signals))
            gain = _CONTROLLED * 10.0 ** (receiver.controlled(state, level, time) / -20.0)
        start = mix(self._seed, number) % (_DRAWN - _PIECE)
        scale = gain * sqrt(noise)
        wave = [scale * value for value in _drawn()[start : start + _PIECE]]
        detector, pitch = Detector.ENVELOPE, 0.0
        if state.oscillator is not None:
            detector = self._detector(state.oscillator)
            pitch = self._pitch(state.oscillator)
        for offset, milliwatts, spoken in signals:
            tone, amplitude = abs(offset + pitch), gain * sqrt(2.0 * milliwatts)
            if detector is Detector.ENVELOPE:
                tone, amplitude = _PROGRAMME, amplitude * _DEPTH if spoken else 0.0
            if tone > _HIGHEST or amplitude < _FAINT:
                continue
            turn = 2.0 * pi * tone / RATE
            first = 2.0 * pi * (tone * time - floor(tone * time))
            wave = [y + amplitude * sin(first + turn * k) for k, y in enumerate(wave)]
        if max(wave) > _FULL_SCALE or min(wave) < -_FULL_SCALE:
            wave = [max(-_FULL_SCALE, min(_FULL_SCALE, y)) for y in wave]
        return array("h", map(round, wave))

    @property
    def _fixed(self) -> float:
        return _NOISE / sqrt(self._receiver.own_noise)


class SimRecorder:
    """Brings a simulated sound from its start for ever; see vfod.app.listening.Recorder."""

    def __init__(self, recording: SimSound, up: Callable[[], object]) -> None:
        self.recording = recording
        self._up = up

    async def run(self) -> None:
        """Record until cancelled."""
        self._up()
        await asyncio.get_running_loop().create_future()


@cache
def _drawn() -> list[float]:
    """Noise of mean square 1."""
    chance = Random(1)  # noqa: S311 - a simulation is to be the same each time
    return [chance.gauss(0.0, 1.0) for _ in range(_DRAWN)]
