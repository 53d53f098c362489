"""What stands out of a pass without the antenna, and what fades as its image frequency does.

The figures of the correlation are those of Student's distribution for values that have nothing to
do with each other: of 200 pairs of such stations hardly one may be taken for an image.
"""

import random

from vfod.survey.own import FEWEST, Reading, is_image, own_signals


def test_what_stands_out() -> None:
    """At least the margin above the middle of all; the rest is the noise of the receiver."""
    levels = {7_200_000 + 5000 * index: -120.0 + index % 3 for index in range(20)}
    levels |= {7_210_000: -95.0, 7_235_000: -113.0, 7_240_000: -113.5}
    assert {7_210_000: -95.0, 7_235_000: -113.0} == own_signals(levels, 6.0)


def test_too_few_channels_say_nothing() -> None:
    """Of two nobody knows which is the noise."""
    assert {} == own_signals({7_210_000: -60.0, 7_215_000: -120.0})


def fading(rng: random.Random, count: int, trend: float = 0.0) -> list[Reading]:
    """A reading a minute: a level that wanders by some 3 dB a minute, and rises besides."""
    levels, level = [], -60.0
    for n in range(count):
        level = 0.8 * level - 12.0 + rng.gauss(0, 3)
        levels.append((60.0 * n, level + trend * n))
    return levels


def heard(rng: random.Random, levels: list[Reading], below: float) -> list[Reading]:
    """The same, so many decibels below, ten seconds later, by a receiver that reads to 0.7 dB."""
    return [(time + 10, level - below + rng.gauss(0, 0.7)) for time, level in levels]


def test_an_image_is_known_by_its_fading() -> None:
    """Of a hundred stations each image is found, with thirty visits."""
    rng = random.Random(1)
    stations = [fading(rng, 31) for _ in range(100)]
    assert all(is_image(heard(rng, one, 30.0), one) for one in stations)


def test_a_station_of_its_own_is_none() -> None:
    """However much weaker, and although both grow stronger towards the night."""
    rng = random.Random(2)
    found = [
        is_image(heard(rng, fading(rng, 31, 0.5), 30.0), fading(rng, 31, 0.5)) for _ in range(200)
    ]
    assert not any(found)
    assert None not in found


def test_where_it_cannot_be_told() -> None:
    """Too few visits, visits that are not near each other, levels that do not change."""
    rng = random.Random(3)
    station = fading(rng, FEWEST)
    assert is_image(heard(rng, station, 30.0), station) is None
    station = fading(rng, 100)
    assert is_image([(time + 3600 * 24, level) for time, level in station], station) is None
    steady = [(60.0 * n, -60.0) for n in range(100)]
    assert is_image(heard(rng, steady, 30.0), steady) is None
    assert is_image([], station) is None
    assert is_image(station, heard(rng, station, 30.0)) is False
