"""What it costs to survey: ten visits a second of 500 channels, as a part of one core.

By level source, each from what was read to the verdict and what follows from it: the box's counts,
the receiver's sound behind each kind of detector, both together, and nothing. The child process
that records sound costs what it costs; that is not in it.
"""

import random
import time
from array import array
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from types import MappingProxyType

from tests.bench.figures import Bench, Figure, Promise
from vfod import events as e
from vfod.device.audio import BLOCK
from vfod.plan.sweep import Sweep, plan_sweep
from vfod.radio.levels import LevelTable, Source
from vfod.radio.receiver import Detector as Demodulator
from vfod.radio.receiver import Range, Receiver
from vfod.run.derive import activity
from vfod.run.hearing import Ears, observation
from vfod.state import State, VfoState, apply
from vfod.survey.activity import Detector, Margin
from vfod.survey.occupancy import Visit, occupancy
from vfod.survey.sound import RATE, Recording
from vfod.survey.soundness import Ear

CHANNELS = 500
PER_SECOND = 10
PASSES = 3
#: Of a visit of a tenth of a second; of sound no more fit.
READINGS = {Source.BOX: 8, Source.AUDIO: 2, Source.BOTH: 2, Source.NONE: 0}

_TABLE = LevelTable(((0, -130.0), (4095, -10.0)))


@dataclass(frozen=True, kw_only=True, slots=True)
class _Kind:
    source: Source
    demodulator: Demodulator
    promise: Promise


def _kind(source: Source, demodulator: Demodulator, what: str, means: str) -> _Kind:
    promise = Promise(
        what=f"survey of {PER_SECOND} visits a second, {what}", unit="%", most=5.0, means=means
    )
    return _Kind(source=source, demodulator=demodulator, promise=promise)


KINDS = (
    _kind(Source.BOX, Demodulator.ENVELOPE, "levels from the box", "of a core, on 500 channels"),
    _kind(
        Source.AUDIO,
        Demodulator.ENVELOPE,
        "sound of an envelope detector",
        "of a core: the noise drops, and modulation stands over it",
    ),
    _kind(
        Source.AUDIO,
        Demodulator.DIRECT,
        "sound of a direct or product detector",
        "of a core: a carrier is a line of the spectrum",
    ),
    _kind(
        Source.BOTH, Demodulator.ENVELOPE, "box and sound, envelope", "of a core, judged by both"
    ),
    _kind(Source.BOTH, Demodulator.DIRECT, "box and sound, direct", "of a core, judged by both"),
    _kind(Source.NONE, Demodulator.ENVELOPE, "nothing measured", "of a core: the sweep runs"),
)
OCCUPANCY = Promise(
    what=f"occupancy of {CHANNELS} channels after a night",
    unit="s",
    most=1.0,
    means="268 visits each, with intervals: part of the report in the morning",
)


def measure(_: Path) -> list[Figure]:
    return [*(_cost(kind) for kind in KINDS), _occupancy()]


def _cost(kind: _Kind) -> Figure:
    """Half of the channels are empty, all in no band, which is the dearest for the floor."""
    rng = random.Random(1)
    frequency = 455_000 if kind.demodulator is Demodulator.ENVELOPE else 0
    span = Range(
        low=1, high=10**8, detector=kind.demodulator, intermediate_frequency=frequency, settle=0.02
    )
    receiver, recording = Receiver(ranges=(span,)), Recording()
    ears = Ears(kind.source, lambda _, counts: _TABLE.level(counts), receiver, recording)
    dials = tuple(5_000_000 + 5000 * k for k in range(CHANNELS))
    readings = READINGS[kind.source]
    sweep = Sweep(
        name="all",
        vfo="main",
        channels=dials,
        settle=0.02,
        dwell=0.08,
        readings=max(1, readings),
        hold=None,
    )
    visits = list(islice(plan_sweep(sweep, receiver).walk(), CHANNELS * PASSES))
    counts = {dial: rng.choice((900, rng.randrange(1100, 3000))) for dial in dials}
    read = {
        dial: [counts[dial] + rng.randrange(-14, 15) for _ in range(readings)] for dial in dials
    }
    size = round(BLOCK * RATE)
    blocks = [array("h", [round(rng.gauss(0, 1000)) for _ in range(size)]) for _ in range(20)]
    detector, ear = Detector(Margin()), Ear(BLOCK)
    state = State(vfos=MappingProxyType({"main": VfoState()}))
    sound = kind.source in (Source.AUDIO, Source.BOTH)
    measured = 0
    began = time.process_time()
    now = 0.0
    for number, visit in enumerate(visits):
        if sound:
            for part in range(round(1 / PER_SECOND / BLOCK)):
                block = blocks[(number + part) % len(blocks)]
                recording.add(block, now + (part + 1) * BLOCK)
                ear.hear(block)
        now = (number + 1) / PER_SECOND
        looks = [ears.read(visit.dial, one, now - 0.15, now) for one in read[visit.dial]]
        seen = observation(visit, looks, ears, detector, wall=now, lateness=0.0)
        measured += seen.level is not None
        told = partial(e.Stamped, sequence=number, time=now, vfo="main", cause=None)
        for event in (seen, *activity(state, told(event=seen))):
            state = apply(state, told(event=event))
    spent = time.process_time() - began
    expected = 0 if kind.source is Source.NONE else len(visits)
    if measured < 0.99 * expected:
        raise RuntimeError("what was not measured costs nothing")
    return kind.promise.measured(
        100 * spent / now, f"{spent / len(visits) * 1e3:.2f} ms a visit of {readings} readings"
    )


def _occupancy() -> Figure:
    rng = random.Random(2)
    nights = [[Visit(107.1 * k, rng.random() < 0.5) for k in range(268)] for _ in range(CHANNELS)]
    began = time.process_time()
    for visits in nights:
        occupancy(visits, 0.0, 28_800.0)
    return OCCUPANCY.measured(time.process_time() - began)


BENCH = Bench(
    name="surveying",
    promises=(*(kind.promise for kind in KINDS), OCCUPANCY),
    measure=measure,
    takes="1 min",
)
