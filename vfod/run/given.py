"""What a keeper is given: what to do by the configuration, and where it left off.

The orders are handed in anew at a reload.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from vfod.plan.channels import skipped
from vfod.plan.sweep import Sweep, SweepPlan
from vfod.plan.windows import Window
from vfod.radio.bands import Band
from vfod.run.hearing import Ears
from vfod.survey.activity import Detector, Margin


@dataclass(frozen=True, kw_only=True, slots=True)
class LeftOff:
    """Where a sweep stood when the daemon last stopped: read from the journal, handed in.

    `time` is the wall clock of its last visit, `by_person` whether a person had started it outside
    the agenda, so that it goes on after a restart until a person stops it.
    """

    sweep: str
    dial: int
    time: float
    by_person: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Afterwards:
    """What becomes of the dial when a window ends: back where it was, parked, or left."""

    park: int | None = None
    go_back: bool = True


@dataclass(frozen=True, kw_only=True, slots=True)
class Orders:
    """Sweeps by name and windows in order, all of this VFO, and how they are treated."""

    sweeps: Mapping[str, Sweep]
    windows: Sequence[Window]
    bands: tuple[Band, ...]
    ears: Ears
    afterwards: Afterwards
    mute_in_sweeps: bool = True
    output_in_windows: bool = False


def brief(detector: Detector, plan: SweepPlan) -> Detector:
    """Let a detector go by what a sweep says of its channels."""
    sweep = plan.sweep
    detector.describe(
        Margin(active=sweep.margin, stay=sweep.margin_stay),
        quiet=frozenset(sweep.known_quiet),
        own=frozenset(c.dial for c in plan.channels if skipped(c.dial, sweep.own_signals)),
        listed=dict(sweep.own_levels),
    )
    return detector
