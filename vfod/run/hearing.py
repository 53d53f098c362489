"""Where a VFO's levels come from: the box's detector, the receiver's sound, both, or nowhere.

Of sound it depends on the detector what rises with a signal (vfod.survey.sound): behind an envelope
detector the noise drops and the modulation stands over it, behind the others a carrier is a line.
Such figures have a floor and a margin like any level. Where both are used, the box says how strong
it is, and either of the two that something is there.
"""

from collections.abc import Callable, Sequence
from statistics import median
from typing import NamedTuple, Protocol

from vfod import events as e
from vfod.plan.channels import skipped
from vfod.plan.sweep import Sweep, Visit
from vfod.radio.levels import RELATIVE, Level, Source
from vfod.radio.receiver import Detector as Demodulator
from vfod.radio.receiver import Receiver
from vfod.survey import sound
from vfod.survey.activity import Detector, Margin
from vfod.survey.floor import scatter_of
from vfod.survey.soundness import silent

#: A dial frequency and a reading's raw counts there → the level.
Levels = Callable[[int, int], Level]

#: A reading looks at so much sound, seconds, even where readings follow closer: a spectrum needs
#: sound.PIECE samples, and blocks come twenty a second.
LOOK = 0.15

#: Less than this is no reading, seconds of sound: half a block.
LEAST = 0.025


class Sound(Protocol):
    """What was heard, by the monotonic time at which it came in."""

    def part(self, since: float, until: float) -> sound.Samples:
        """The samples from `since` to `until`, as far as they are there."""
        ...


class Reading(NamedTuple):
    """What one look measured: the level, and where both are used what the sound says, dB."""

    level: Level | None
    beside: float | None = None


class Ears:
    """The levels of one VFO, as the configuration has them now.

    `known` are detectors of the sound by sweep, which outlive a reload.
    """

    def __init__(
        self,
        source: Source,
        box: Levels,
        receiver: Receiver,
        sound: Sound | None = None,
        known: dict[str, Detector] | None = None,
    ) -> None:
        self.source = source
        self._box = box
        self._receiver = receiver
        self._sound = sound
        self._known = {} if known is None else known

    def unit(self, dial: int) -> str:
        """The unit of what is told at a dial frequency."""
        by_box = self.source in (Source.BOX, Source.BOTH)
        return self._box(dial, 0).unit if by_box else RELATIVE

    def read(self, dial: int, counts: int | None, since: float, until: float) -> Reading:
        """What the box counts and what was heard in that time come to.

        Raises OutOfRangeError for a dial frequency that the receiver does not have.
        """
        box = heard = None
        if self.source in (Source.BOX, Source.BOTH) and counts is not None:
            box = self._box(dial, counts)
        if self.source in (Source.AUDIO, Source.BOTH):
            heard = self._listened(dial, since, until)
        if self.source is Source.AUDIO:
            return Reading(None if heard is None else Level(heard, RELATIVE))
        return Reading(box, heard)

    def _listened(self, dial: int, since: float, until: float) -> float | None:
        if self._sound is None:
            return None
        samples = self._sound.part(since, until)
        if len(samples) < LEAST * sound.RATE or silent(samples):
            # No receiver is silent: this is a mute or a plug, and no quiet channel.
            return None
        if self._receiver.range_at(dial).detector is Demodulator.ENVELOPE:
            return sound.quieting(samples)
        return sound.line(samples)

    def judge(
        self, visit: Visit, beside: Sequence[float], time: float, *, learn: bool = True
    ) -> bool | None:
        """Whether the sound says that something is there; None where it cannot tell."""
        sweep = visit.sweep
        own = visit.dial in dict(sweep.own_levels) or skipped(visit.dial, sweep.own_signals)
        if not beside or own:
            return None
        values = list(beside)
        scatter = scatter_of(values)
        return (
            self._detector(sweep)
            .judge(visit.band, visit.dial, median(values), time, scatter=scatter, learn=learn)
            .active
        )

    def _detector(self, sweep: Sweep) -> Detector:
        detector = self._known.setdefault(sweep.name, Detector(Margin()))
        detector.describe(
            Margin(active=sweep.margin, stay=sweep.margin_stay),
            quiet=frozenset(sweep.known_quiet),
        )
        return detector


def observation(
    visit: Visit,
    readings: Sequence[Reading],
    ears: Ears,
    detector: Detector,
    *,
    wall: float,
    lateness: float,
) -> e.ChannelObserved:
    """What a visit measured, judged."""
    values = [one.level.value for one in readings if one.level is not None]
    verdict = middle = None
    if values:
        # Rounded only to be told: a tenth of a decibel is more than the median scatters.
        exact = median(values)
        middle = round(exact, 1)
        verdict = detector.judge(visit.band, visit.dial, exact, wall, scatter=scatter_of(values))
    active = verdict.active if verdict else None
    beside = ears.judge(visit, [one.beside for one in readings if one.beside is not None], wall)
    if beside is not None:
        active = beside or bool(active)
    return e.ChannelObserved(
        sweep=visit.sweep.name,
        dial=visit.dial,
        band=visit.band,
        readings=len(values),
        level=middle,
        highest=round(max(values), 1) if values else None,
        unit=ears.unit(visit.dial),
        floor=round(verdict.floor, 1) if verdict and verdict.floor is not None else None,
        active=active,
        lateness=round(lateness, 6),
    )


def still_active(
    visit: Visit, reading: Reading, ears: Ears, detector: Detector, wall: float
) -> bool:
    """Whether a look during a hold finds the channel active; the floor learns nothing by it."""
    active = False
    if reading.level is not None:
        verdict = detector.judge(visit.band, visit.dial, reading.level.value, wall, learn=False)
        active = bool(verdict.active)
    if reading.beside is not None:
        active = bool(ears.judge(visit, [reading.beside], wall, learn=False)) or active
    return active
