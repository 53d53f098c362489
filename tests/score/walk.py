"""Visits as the daemon makes them, without the daemon: plan, receiver, ears, detector.

A night of eight hours takes about two seconds so, and one of sound some minutes;
tests/score/test_daemon.py shows on hours of the daemon that it judges the same.
"""

import statistics
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from tests.score.receivers import CHANNELS, READINGS, Kind
from vfod.plan.channels import skipped
from vfod.radio.levels import Source
from vfod.run.hearing import LOOK, Ears
from vfod.sim.air import Air
from vfod.sim.receiver import SimReceiver
from vfod.sim.sound import SimSound
from vfod.survey.activity import Detector
from vfod.survey.floor import scatter_of


class Judged(NamedTuple):
    """One visit: the middle of its dwell, what was measured and what it was taken for.

    `switched` says whether the relay moved before it, `before` is the dial it came from.
    """

    time: float
    dial: int
    level: float
    floor: float | None
    active: bool | None
    switched: bool
    before: int | None


class Put:
    """A clock that stands where it was put."""

    def __init__(self, time: float) -> None:
        self.time = time

    def monotonic(self) -> float:
        """See vfod.clock.Clock; the same as the wall's."""
        return self.time

    def wall(self) -> float:
        """See vfod.clock.Clock."""
        return self.time

    def boottime(self) -> float:
        """See vfod.clock.Clock."""
        return self.time

    async def sleep_until(self, deadline: float) -> None:
        """See vfod.clock.Clock: it is then."""
        self.time = max(self.time, deadline)


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
    law = kind.receiver
    receiver = SimReceiver(air, kind.setup, seed)
    table = kind.table(receiver)
    clock = Put(start)
    sound = SimSound(
        receiver,
        clock,
        detector=lambda _: kind.detector,
        delay=kind.delay,
        gain_control=kind.gain_control,
        seed=seed,
    )
    ears = Ears(kind.source, lambda _, counts: table.level(kind.reading(counts)), law, sound)
    own = frozenset(c.dial for c in plan.channels if skipped(c.dial, plan.sweep.own_signals))
    detector = Detector(kind.margin, own=own)
    oscillators = {c.dial: float(law.oscillator_for(c.dial)) for c in plan.channels}
    listens = kind.source is not Source.BOX
    time, before, select = start, None, None
    for visit in plan.walk():
        if time + visit.duration > until:
            return
        oscillator = oscillators[visit.dial]
        if switched := visit.select != select:
            receiver.switch(time)
        receiver.tune(None if before is None else oscillators[before], oscillator, time)
        settled = time + visit.settle
        levels, beside = list[float](), list[float]()
        for k in range(READINGS):
            clock.time = settled + (k + 0.5) * visit.dwell / READINGS
            counts = None
            if not kind.hears:
                counts = receiver.counts(oscillator, clock.time)
            since = max(settled, clock.time - max(LOOK, visit.dwell / READINGS)) if listens else 0.0
            reading = ears.read(visit.dial, counts, since, clock.time)
            if reading.level is not None:
                levels.append(reading.level.value)
            if reading.beside is not None:
                beside.append(reading.beside)
        level = statistics.median(levels)
        verdict = detector.judge(
            visit.band, visit.dial, level, clock.time, scatter=scatter_of(levels)
        )
        active = verdict.active
        if (heard := ears.judge(visit, beside, clock.time)) is not None:
            active = heard or bool(active)
        yield Judged(
            settled + visit.dwell / 2, visit.dial, level, verdict.floor, active, switched, before
        )
        before, select = visit.dial, visit.select
        time += visit.duration
