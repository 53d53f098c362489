"""The level sources and detectors that are scored, and the sweep they are scored in."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from vfod.plan.sweep import Sweep, SweepPlan, plan_sweep
from vfod.radio.levels import LevelTable, Source
from vfod.radio.receiver import Detector, Range, Receiver
from vfod.run.hearing import LOOK
from vfod.sim.receiver import SimReceiver
from vfod.sim.scenario import ReceiverSetup
from vfod.survey.activity import Margin
from vfod.survey.seen import PERFECT, Scored

#: Twenty-four channels of 4.46 s: as many visits of each as the 51 channels of 2.1 s that
#: docs/standards.md works out (section 1.4, 107.1 s), at half the cost.
CHANNELS = range(7_200_000, 7_320_000, 5_000)
READINGS = 8
VISIT = 107.1 / 24
NIGHT = 28_800.0

#: Settle and delay of sound, seconds, and a visit with readings as short as they may be: sound is
#: costly to make. The same channels are visited every minute, in half a night.
SOUND_SETTLE, SOUND_DELAY = 1.0, 0.3
SOUND_VISIT = SOUND_SETTLE + SOUND_DELAY + READINGS * LOOK

#: Where the receiver switches its band filter, if it has a relay: twice in each pass.
SWITCHED = 7_257_500

#: What a receiver at home is like: leakage, image, an unsteady detector, a signal of its own.
LIFELIKE: dict[str, Any] = {
    "unsteadiness": "0.5dB",
    "leakage": {"loss": "60dB", "reach": "20kHz"},
    "image_rejection": "50dB",
    "own_signals": [{"frequency": "7255kHz", "level": "-95dBm"}],
}
CONTROLLED = {"gain_control": {"attack": "10ms", "release": "300ms"}}
#: As loud as a strong station; gone, with that gain control, when the doubled settle is over.
RELAY = {"relay": {"level": "-60dBm", "decay": "100ms"}}

MARGIN = Margin()


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A level source with its detector.

    `gain_control` says whether the sound is behind the gain control, `scored` how often it is right
    away from any change-over, by nights of its own.
    """

    name: str
    setup: ReceiverSetup
    settle: float
    margin: Margin = MARGIN
    falling: bool = False
    source: Source = Source.BOX
    detector: Detector = Detector.ENVELOPE
    gain_control: bool = True
    delay: float = 0.0
    visit: float = VISIT
    night: float = NIGHT
    scored: Scored = PERFECT

    @property
    def receiver(self) -> Receiver:
        """The receiver as a configuration describes it."""
        edges = [150_000, *([SWITCHED] if self.setup.relay else []), 30_000_000]
        return Receiver(
            ranges=tuple(
                Range(
                    low=low,
                    high=high,
                    detector=self.detector,
                    intermediate_frequency=self.setup.intermediate_frequency,
                    select=number if self.setup.relay else None,
                )
                for number, (low, high) in enumerate(pairwise(edges))
            )
        ).later(self.delay)

    @property
    def hears(self) -> bool:
        """Whether its level is the sound's."""
        return self.source is Source.AUDIO

    @property
    def dwell(self) -> float:
        """What is left of a visit, seconds."""
        return round(self.visit - self.settle - self.delay, 6)

    def plan(self, channels: Sequence[int] = CHANNELS) -> SweepPlan:
        """The sweep; settle and dwell make up a visit of the same length for all."""
        sweep = Sweep(
            name="score",
            vfo="main",
            channels=tuple(channels),
            settle=self.settle,
            dwell=self.dwell,
            readings=READINGS,
            margin=self.margin.active,
            margin_stay=self.margin.stay,
            hold=None,
            own_signals=tuple(own.frequency for own in self.setup.own_signals),
        )
        return plan_sweep(sweep, self.receiver)

    def table(self, receiver: SimReceiver) -> LevelTable:
        """The level table, falling where the gain-control voltage falls with the signal."""
        table = receiver.level_table()
        if not self.falling:
            return table
        top = self.setup.full_scale
        return LevelTable(tuple((top - counts, level) for counts, level in reversed(table.points)))

    def reading(self, counts: int) -> int:
        """What the box reads where the receiver gives `counts`."""
        return self.setup.full_scale - counts if self.falling else counts


def kinds() -> list[Kind]:
    """The box's readings."""
    return [
        Kind(name="ideal", setup=ReceiverSetup(), settle=0.3),
        Kind(name="lifelike", setup=ReceiverSetup.model_validate(LIFELIKE), settle=0.3),
        Kind(
            name="gain control",
            setup=ReceiverSetup.model_validate({**LIFELIKE, **CONTROLLED, **RELAY}),
            settle=1.0,
            falling=True,
        ),
        # A poor detector with a margin of less than three of its deviations: it is often wrong,
        # and the correction for that is put to the test.
        Kind(
            name="unsteady",
            setup=ReceiverSetup.model_validate({"unsteadiness": "2dB"}),
            settle=0.3,
            margin=Margin(active=2.5, stay=2.5),
            # Of ninety nights; the strongest neighbours raise some channels' false alarms tenfold.
            scored=Scored(detection=1.0, false_alarm=0.0053, uneven=0.0085),
        ),
    ]


def usual() -> list[Kind]:
    """Those of them that one would have."""
    return [kind for kind in kinds() if kind.margin.active == MARGIN.active]


def sounds() -> list[Kind]:
    """The receiver's sound behind each kind of detector, and with the box's readings."""
    lifelike = ReceiverSetup.model_validate({**LIFELIKE, **CONTROLLED, **RELAY})
    plain = ReceiverSetup.model_validate({**LIFELIKE, **RELAY})
    return [
        _sound("noise drop", lifelike),
        _sound("sound level", plain, gain_control=False),
        # Behind a direct detector the same is heard, but for the image.
        _sound("line", lifelike, detector=Detector.PRODUCT),
        _sound("both", lifelike, source=Source.BOTH),
    ]


def _sound(name: str, setup: ReceiverSetup, **more: Any) -> Kind:
    return Kind(
        name=name,
        setup=setup,
        settle=SOUND_SETTLE,
        delay=SOUND_DELAY,
        visit=SOUND_VISIT,
        night=NIGHT / 2,
        **{"source": Source.AUDIO, **more},
    )
