"""The level sources and detectors that are scored, and the sweep they are scored in."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from vfod.plan.sweep import Sweep, SweepPlan, plan_sweep
from vfod.radio.levels import LevelTable
from vfod.radio.receiver import Detector, Range, Receiver
from vfod.sim.receiver import SimReceiver
from vfod.sim.scenario import ReceiverSetup
from vfod.survey.activity import Margin

#: Twenty-four channels of 4.46 s: as many visits of each as the 51 channels of 2.1 s that
#: docs/standards.md works out (section 1.4, 107.1 s), at half the cost.
CHANNELS = range(7_200_000, 7_320_000, 5_000)
READINGS = 8
VISIT = 107.1 / 24
NIGHT = 28_800.0

#: What a receiver at home is like: leakage, image, an unsteady detector, a signal of its own.
LIFELIKE: dict[str, Any] = {
    "unsteadiness": "0.5dB",
    "leakage": {"loss": "60dB", "reach": "20kHz"},
    "image_rejection": "50dB",
    "own_signals": [{"frequency": "7255kHz", "level": "-95dBm"}],
}


MARGIN = Margin()


@dataclass(frozen=True, kw_only=True)
class Kind:
    """A level source with its detector."""

    name: str
    setup: ReceiverSetup
    settle: float
    margin: Margin = MARGIN
    falling: bool = False

    @property
    def receiver(self) -> Receiver:
        """The receiver as a configuration describes it."""
        return Receiver(
            ranges=(
                Range(
                    low=150_000,
                    high=30_000_000,
                    detector=Detector.ENVELOPE,
                    intermediate_frequency=self.setup.intermediate_frequency,
                ),
            )
        )

    def plan(self, channels: Sequence[int] = CHANNELS) -> SweepPlan:
        """The sweep; settle and dwell make up a visit of the same length for all."""
        sweep = Sweep(
            name="score",
            vfo="main",
            channels=tuple(channels),
            settle=self.settle,
            dwell=VISIT - self.settle,
            readings=READINGS,
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
    """All that are scored."""
    return [
        Kind(name="ideal", setup=ReceiverSetup(), settle=0.3),
        Kind(name="lifelike", setup=ReceiverSetup.model_validate(LIFELIKE), settle=0.3),
        Kind(
            name="gain control",
            setup=ReceiverSetup.model_validate(
                {**LIFELIKE, "gain_control": {"attack": "10ms", "release": "300ms"}}
            ),
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
        ),
    ]
