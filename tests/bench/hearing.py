"""What it costs to take levels from sound: ten visits a second, each measured whole, of one core.

The child process that records costs what it costs; that is not in it.
"""

import random
import time
from array import array
from pathlib import Path

from tests.bench.figures import Figure
from vfod.device.audio import BLOCK
from vfod.radio.levels import UNCALIBRATED, Source
from vfod.radio.receiver import Detector, Range, Receiver
from vfod.run.hearing import Ears
from vfod.survey.sound import RATE, Recording
from vfod.survey.soundness import Ear

SECONDS = 60
PER_SECOND = 10
#: Readings of a visit of a tenth of a second: no more fit.
READINGS = 2
#: Part of a core, per cent: what all that judging costs may be together.
BOUND = 5.0


def measure(_: Path) -> list[Figure]:
    return [_cost(detector) for detector in (Detector.ENVELOPE, Detector.DIRECT)]


def _cost(detector: Detector) -> Figure:
    chance = random.Random(1)
    size = round(BLOCK * RATE)
    blocks = [array("h", [round(chance.gauss(0, 1000)) for _ in range(size)]) for _ in range(20)]
    frequency = 455_000 if detector is Detector.ENVELOPE else 0
    span = Range(low=1, high=10**8, detector=detector, intermediate_frequency=frequency)
    recording, ear = Recording(), Ear(BLOCK)
    ears = Ears(
        Source.AUDIO, lambda _, n: UNCALIBRATED.level(n), Receiver(ranges=(span,)), recording
    )
    measured = 0
    began = time.process_time()
    now = 0.0
    for number in range(round(SECONDS / BLOCK)):
        now = (number + 1) * BLOCK
        recording.add(blocks[number % len(blocks)], now)
        ear.hear(blocks[number % len(blocks)])
        # A look at each block is PER_SECOND visits of READINGS readings.
        measured += ears.read(7_200_000, None, now - 0.15, now).level is not None
    spent = time.process_time() - began
    assert measured >= 0.99 * SECONDS * PER_SECOND * READINGS, "what was not measured costs nothing"
    return Figure(
        what=f"sound of {PER_SECOND} visits a second, {detector.value} detector",
        value=100 * spent / now,
        unit="%",
        most=BOUND,
        note="of a core; with all else of judging within the same bound",
    )
