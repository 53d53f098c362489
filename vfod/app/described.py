"""A VFO's receiver as the configuration describes it, for the far end of a rehearsed line."""

from itertools import pairwise

from vfod.app.listening import Recorder, Told
from vfod.clock import Clock
from vfod.config.model import VfoConfig
from vfod.errors import OutOfRangeError
from vfod.radio.levels import UNCALIBRATED, LevelTable
from vfod.run.soundlag import ASSUMED
from vfod.sim.receiver import SimReceiver
from vfod.sim.sound import SimRecorder, SimSound
from vfod.units import MILLI

#: Distinct oscillator frequencies whose dial is remembered: more than a sweep has channels.
_REMEMBERED = 100_000

#: Level that the invented air's floor is about, dBm: the zero of a receiver without a level table.
_RELATIVE_ZERO = -130.0


class Described:
    """From what the box does to what is heard, and the other way round.

    With `has_law` the simulated receiver goes by it; else it has a law of its own.
    """

    def __init__(self, settings: VfoConfig, *, has_law: bool) -> None:
        self._settings = settings
        self._has_law = has_law
        self._receiver = settings.receiver
        self._tables = settings.level_tables
        self._dial: int | None = None
        self._heard: dict[int, int | None] = {}

    def law(self, oscillator: float) -> float:
        """From the oscillator back to what is heard, hertz; 0 where that is nothing."""
        self._dial = self._dial_at(oscillator)
        return float(self._dial or 0)

    def _dial_at(self, oscillator: float) -> int | None:
        millihertz = round(oscillator * MILLI)
        if millihertz not in self._heard:
            try:
                found = self._receiver.dial_for(millihertz, near=self._dial)
            except OutOfRangeError:
                found = None
            if len(self._heard) > _REMEMBERED:
                self._heard.clear()
            self._heard[millihertz] = found
        return self._heard[millihertz]

    def curve(self, level: float) -> float:
        """What the detector counts at a level in dBm: the level table in force, backwards."""
        name = None if self._dial is None else self._receiver.range_at(self._dial).level_table
        if name is None:
            return _counts(UNCALIBRATED, level - _RELATIVE_ZERO)
        return _counts(self._tables[name], level)

    def recorder(self, receiver: SimReceiver, clock: Clock, told: Told) -> Recorder:
        """What brings the sound of that receiver, as late as the configuration says."""
        audio = self._settings.audio
        delay = None if audio is None else audio.delay
        sound = SimSound(
            receiver,
            clock,
            detector=lambda oscillator: self._receiver.range_at(self._near(oscillator)).detector,
            pitch=self._pitch if self._has_law else lambda _: 0.0,
            delay=ASSUMED if delay is None else delay,
            # Where the delay is written down, nobody finds out that the mute silences it.
            mute_silences=delay is None,
        )
        return SimRecorder(sound, told.up)

    def _near(self, oscillator: float) -> int:
        """The dial there; where it is none of the receiver's, its lowest."""
        return self._dial_at(oscillator) or self._receiver.ranges[0].low

    def _pitch(self, oscillator: float) -> float:
        return float(self._receiver.range_at(self._near(oscillator)).pitch)


def _counts(table: LevelTable, level: float) -> float:
    points = table.points
    if points[0][1] > points[-1][1]:
        points = points[::-1]
    level = min(max(level, points[0][1]), points[-1][1])
    (left, low), (right, high) = next(pair for pair in pairwise(points) if level <= pair[1][1])
    return left + (right - left) * (level - low) / (high - low)
