"""Chance that can be asked in any order: right numbers, right distributions."""

from math import erf, sqrt

from vfod.sim.noise import gaussian, mix, trembling, uniform, wandering

#: SplitMix64 from seed 1234567: the values that implementations in many languages are checked
#: against (from memory; first outputs of the generator in Steele, Lea and Flood, OOPSLA 2014).
SEED = 1234567
STEP = 0x9E3779B97F4A7C15
OUTPUTS = [
    6457827717110365317,
    3203168211198807973,
    9817491932198370423,
    4593380528125082431,
    16408922859458223821,
]


def test_the_mixing_step_is_splitmix64() -> None:
    """One key is one step of the generator, so its published outputs come out."""
    assert OUTPUTS == [mix((SEED + number * STEP) % 2**64) for number in range(5)]


def test_every_key_and_the_order_count() -> None:
    """No two of these questions have the same answer."""
    keys = [(a, b) for a in range(-20, 20) for b in range(-20, 20)]
    assert len(keys) == len({mix(*pair) for pair in keys})


def test_uniform_and_gaussian_are_distributed_as_named() -> None:
    """Largest distance from the distribution function: Kolmogorov and Smirnov's test, 0.1 %."""
    count = 5000
    limit = 1.95 / sqrt(count)
    for values, law in (
        (sorted(uniform(7, k) for k in range(count)), lambda x: x),
        (sorted(gaussian(7, k) for k in range(count)), lambda x: (1 + erf(x / sqrt(2))) / 2),
        (
            sorted(trembling(k * 7.3, 1.0, 7) for k in range(count)),
            lambda x: (1 + erf(x / sqrt(2))) / 2,
        ),
    ):
        assert max(abs(law(x) - k / count) for k, x in enumerate(values)) < limit


def test_trembling_holds_for_a_moment_and_wandering_is_smooth() -> None:
    """Within a hundredth of the period hardly anything changes; wandering keeps to -1 to 1."""
    for moment in range(1000):
        time = moment * 0.37
        assert abs(trembling(time, 1.0, 3) - trembling(time + 0.001, 1.0, 3)) < 0.05
        assert -1.0 <= wandering(time, 10.0, 3) <= 1.0
        assert abs(wandering(time, 10.0, 3) - wandering(time + 0.1, 10.0, 3)) < 0.1
