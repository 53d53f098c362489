"""Visits as the daemon makes them, without the daemon: plan, receiver, table, detector.

A night of eight hours takes about two seconds so; tests/score/test_daemon.py shows on whole
nights of the daemon that it judges the same.
"""

import statistics
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from tests.score.receivers import CHANNELS, READINGS, Kind
from vfod.plan.channels import skipped
from vfod.sim.air import Air
from vfod.sim.receiver import SimReceiver
from vfod.survey.activity import Detector
from vfod.survey.floor import scatter_of


class Judged(NamedTuple):
    """One visit: the middle of its dwell, what was measured and what it was taken for."""

    time: float
    dial: int
    level: float
    floor: float | None
    active: bool | None


def walk(
    kind: Kind,
    air: Air,
    start: float,
    until: float,
    seed: int = 0,
    channels: Sequence[int] = CHANNELS,
) -> Iterator[Judged]:
    """The visits of one sweep from `start` to `until`."""
    plan = kind.plan(channels)
    receiver = SimReceiver(air, kind.setup, seed)
    table = kind.table(receiver)
    own = frozenset(c.dial for c in plan.channels if skipped(c.dial, plan.sweep.own_signals))
    detector = Detector(kind.margin, own=own)
    law = kind.receiver
    oscillators = {c.dial: float(law.oscillator_for(c.dial)) for c in plan.channels}
    time, before = start, None
    for visit in plan.walk():
        length = visit.settle + visit.dwell
        if time + length > until:
            return
        oscillator = oscillators[visit.dial]
        receiver.tune(before, oscillator, time)
        before = oscillator
        settled = time + visit.settle
        moments = [settled + (k + 0.5) * visit.dwell / READINGS for k in range(READINGS)]
        levels = [
            table.level(kind.reading(receiver.counts(oscillator, moment))).value
            for moment in moments
        ]
        level = statistics.median(levels)
        verdict = detector.judge(
            visit.band, visit.dial, level, moments[-1], scatter=scatter_of(levels)
        )
        yield Judged(settled + visit.dwell / 2, visit.dial, level, verdict.floor, verdict.active)
        time += length
