"""What it costs to judge visits: ten a second over 500 channels, as a part of one core."""

import random
import time
from pathlib import Path

from tests.bench.figures import Figure
from vfod.survey.activity import Detector, Margin
from vfod.survey.floor import scatter_of
from vfod.survey.occupancy import Visit, occupancy

CHANNELS = 500
PER_SECOND = 10
READINGS = 8
PASSES = 6
#: Part of a core, per cent.
BOUND = 5.0


def measure(_: Path) -> list[Figure]:
    """Half of the channels empty, all in one band, which is the dearest for the floor."""
    rng = random.Random(1)
    heights = [rng.choice((0.0, rng.uniform(6, 50))) for _ in range(CHANNELS)]
    drawn = [
        [rng.gauss(-100 + height, 0.4) for _ in range(READINGS)]
        for height in heights
        for _ in range(PASSES)
    ]
    detector = Detector(Margin())
    began = time.process_time()
    now = 0.0
    for number in range(PASSES):
        for channel in range(CHANNELS):
            now += 1 / PER_SECOND
            readings = drawn[channel * PASSES + number]
            detector.judge(
                "own", channel, sorted(readings)[READINGS // 2], now, scatter=scatter_of(readings)
            )
    spent = time.process_time() - began
    nights = [[Visit(107.1 * k, rng.random() < 0.5) for k in range(268)] for _ in range(CHANNELS)]
    began = time.process_time()
    for visits in nights:
        occupancy(visits, 0.0, 28_800.0)
    summed = time.process_time() - began
    return [
        Figure(
            what=f"judging {PER_SECOND} visits a second of {CHANNELS} channels",
            value=100 * spent / now,
            unit="%",
            most=BOUND,
            note="of a core, floor and activity",
        ),
        Figure(
            what=f"occupancy of {CHANNELS} channels after a night", value=summed, unit="s", most=1.0
        ),
    ]
