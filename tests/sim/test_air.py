"""The air tells what is truly there: hours, levels, noise, disturbances."""

import itertools
import random
from math import exp, log10

import pytest
from scipy import stats

from vfod.sim.air import Air
from vfod.sim.scenario import (
    Cycle,
    Disturbance,
    Fading,
    Floor,
    FloorBand,
    Scenario,
    Station,
    load,
    parse,
)

MIDNIGHT = 1_795_564_800.0  # 2026-11-25 00:00 UTC
MINUTE, HOUR, DAY = 60.0, 3600.0, 86_400.0
FLOOR = Floor(bandwidth=5000, bands=(FloorBand(low=7_200_000, high=7_450_000, hours={0: -100.0}),))


def _air(*stations: Station, seed: int = 1, disturbances: tuple[Disturbance, ...] = ()) -> Air:
    return Air(Scenario(floor=FLOOR, stations=stations, disturbances=disturbances), seed)


def _on(air: Air, frequency: int, time: float) -> list[str]:
    return [one.station.name for one in air.present(frequency, time)]


def test_the_air_is_the_same_in_whatever_order_it_is_asked() -> None:
    """Two airs of one seed agree although one is asked backwards; another seed differs."""
    scenario = load()
    questions = [
        (frequency, MIDNIGHT + second)
        for frequency in range(5_900_000, 9_900_000, 95_000)
        for second in range(0, 86_400, 7001)
    ]
    shuffled = random.Random(4).sample(questions, len(questions))
    one, other, third = Air(scenario, 5), Air(scenario, 5), Air(scenario, 6)
    forth = {q: one.level_at(q[0], 5000, q[1]) for q in questions}
    assert forth == {q: other.level_at(q[0], 5000, q[1]) for q in shuffled}
    assert forth != {q: third.level_at(q[0], 5000, q[1]) for q in questions}


def test_powers_are_added() -> None:
    """Arithmetic of decibels: two equal powers are 3.01 dB more, and noise grows with bandwidth."""
    air = _air(
        Station(name="A", frequency=7_300_000, power=-60.0),
        Station(name="B", frequency=7_300_500, power=-60.0),
    )
    assert -60 + 10 * log10(2) == pytest.approx(air.level_at(7_300_000, 5000, 0.0), abs=0.001)
    assert -100.0 == pytest.approx(air.level_at(7_400_000, 5000, 0.0))
    assert -90.0 == pytest.approx(air.level_at(7_400_000, 50_000, 0.0))
    # -100 and -100 dBm, and a neighbour that lies outside.
    weak = _air(
        Station(name="A", frequency=7_400_000, power=-100.0),
        Station(name="B", frequency=7_405_000, power=-20.0),
    )
    assert -96.99 == pytest.approx(weak.level_at(7_400_000, 5000, 0.0), abs=0.01)
    assert -100.0 == pytest.approx(weak.floor_at(7_400_000, 5000, 0.0))


def test_a_station_keeps_its_hours() -> None:
    """Begin included, end excluded; over midnight; several spans; until 24:00."""
    air = Air(
        parse("""
            stations:
              - {name: late, frequency: 7250k, power: -60, hours: ["22:30-01:15"]}
              - {name: twice, frequency: 7300k, power: -60, hours: ["04:00-05:00", "20:00-24:00"]}
        """)
    )
    at = {
        "01:14": ["late"], "01:15": [], "04:00": ["twice"], "05:00": [], "19:59": [],
        "20:00": ["twice"], "22:29": ["twice"], "22:30": ["late", "twice"],
        "23:59": ["late", "twice"], "00:00": ["late"],
    }  # fmt: skip
    for text, names in at.items():
        hours, minutes = text.split(":")
        time = MIDNIGHT + int(hours) * HOUR + int(minutes) * MINUTE
        assert names == _on(air, 7_250_000, time) + _on(air, 7_300_000, time), text


def test_a_cycle_is_on_for_its_share_and_in_one_piece() -> None:
    """Three minutes on and four off: 3/7 of the time, in stretches of three minutes."""
    air = _air(Station(name="A", frequency=7_300_000, power=-60.0, cycle=Cycle(on=180, off=240)))
    heard = [bool(_on(air, 7_300_000, second)) for second in range(42_000)]
    assert 18_000 == sum(heard)
    switched = [second for second in range(1, 42_000) if heard[second] != heard[second - 1]]
    assert {180, 240} == {b - a for a, b in itertools.pairwise(switched)}


def test_a_slow_fade_keeps_within_its_depth_and_around_the_power() -> None:
    """Ten decibels in all: five to either side, and the mean is the stated power."""
    fading = Fading(kind="slow", depth=10.0, period=30.0)
    air = _air(Station(name="A", frequency=7_300_000, power=-60.0, fading=fading))
    levels = [air.present(7_300_000, second)[0].level for second in range(20_000)]
    assert max(levels) <= -55.0
    assert min(levels) >= -65.0
    assert -60.0 == pytest.approx(sum(levels) / len(levels), abs=0.3)
    assert max(levels) - min(levels) > 8.0


def test_a_fast_fade_is_rayleighs() -> None:
    """The share of time below x times the mean power is 1 - exp(-x) (textbooks of propagation,
    such as ITU-R P.1057, on the distribution of Rayleigh).
    """
    fading = Fading(kind="fast", depth=40.0, period=1.0)
    levels: list[float] = []
    for seed in range(40):
        air = _air(Station(name="A", frequency=7_300_000, power=0.0, fading=fading), seed=seed)
        levels += [air.present(7_300_000, second * 1.7)[0].level for second in range(500)]
    for part in (0.1, 0.5, 1.0, 2.0):
        share = sum(level < 10 * log10(part) for level in levels) / len(levels)
        assert 1 - exp(-part) == pytest.approx(share, abs=0.03), part
    assert min(levels) >= -40.0


def test_the_floor_follows_the_hours_and_the_nearest_band() -> None:
    """Straight lines between the hours that are given, over midnight too; outside: the nearest."""
    bands = (
        FloorBand(low=5_900_000, high=6_200_000, hours={6: -110.0, 18: -98.0}),
        FloorBand(low=7_200_000, high=7_450_000, hours={0: -90.0}),
    )
    air = Air(Scenario(floor=Floor(bandwidth=5000, bands=bands)))
    for hour, level in ((6, -110.0), (12, -104.0), (18, -98.0), (0, -104.0), (3, -107.0)):
        time = MIDNIGHT + hour * HOUR
        assert level == pytest.approx(air.floor_at(6_000_000, 5000, time)), hour
    assert -90.0 == pytest.approx(air.floor_at(6_800_000, 5000, MIDNIGHT))
    assert -104.0 == pytest.approx(air.floor_at(6_600_000, 5000, MIDNIGHT))
    assert -90.0 == pytest.approx(air.floor_at(30_000_000, 5000, MIDNIGHT))


def test_a_disturbance_comes_at_its_time_and_on_its_stretch() -> None:
    """Every day at 20:15 for 20 s, between two frequencies; over midnight as well."""
    one = Disturbance(low=7_300_000, high=7_350_000, level=-80.0, duration=20.0, at=20 * 60 + 15)
    two = Disturbance(low=7_400_000, high=7_450_000, level=-80.0, duration=120.0, at=23 * 60 + 59)
    air = _air(disturbances=(one, two))
    start = MIDNIGHT + 20.25 * HOUR
    loud = 10 * log10(1e-8 + 1e-10)
    for time, level in ((start - 1, -100), (start, loud), (start + 19, loud), (start + 20, -100)):
        assert level == pytest.approx(air.level_at(7_325_000, 5000, time))
        assert -100 == pytest.approx(air.level_at(7_250_000, 5000, time))
        assert -100 == pytest.approx(air.floor_at(7_325_000, 5000, time))
    assert loud == pytest.approx(air.level_at(7_425_000, 5000, MIDNIGHT + DAY + 30))


def test_a_random_disturbance_has_its_rate() -> None:
    """Eight seconds every ten minutes: 144 a day, none of them cut or doubled."""
    one = Disturbance(low=7_200_000, high=7_450_000, level=-80.0, duration=8.0, every=600.0)
    air = _air(disturbances=(one,))
    loud = [air.level_at(7_300_000, 5000, MIDNIGHT + second) > -90 for second in range(86_400)]
    assert 144 * 8 == pytest.approx(sum(loud), abs=144)
    begun = sum(b and not a for a, b in itertools.pairwise(loud))
    assert 144 == pytest.approx(begun, abs=2)


def test_an_irregular_station_comes_and_goes_without_memory() -> None:
    """Its times on and off the air are exponential (scipy: Kolmogorov and Smirnov's test, 0.1 %)
    with the means that were asked for, and two that look at it in other orders agree.
    """
    cycle = Cycle(on=300.0, off=900.0, irregular=True)
    station = Station(name="A", frequency=7_300_000, power=-60.0, cycle=cycle)
    air, other = _air(station), _air(station)
    noon = MIDNIGHT + DAY / 2
    seconds = [noon + 2.0 * k for k in range(int(10 * DAY / 2))]
    states = [bool(_on(air, 7_300_000, time)) for time in seconds]
    lengths: dict[bool, list[float]] = {True: [], False: []}
    for state, run in itertools.groupby(states):
        lengths[state].append(2.0 * sum(1 for _ in run))
    for state, expected in ((True, 300.0), (False, 900.0)):
        found = stats.kstest(lengths[state], stats.expon(scale=expected).cdf)
        assert found.pvalue > 0.001, state
    backwards = [bool(_on(other, 7_300_000, time)) for time in reversed(seconds[::97])]
    assert states[::97] == backwards[::-1]
