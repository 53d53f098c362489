"""The clock generator's arithmetic against published and exactly computed plans.

The register formulas and the worked example (25 MHz crystal) are those of the public application
note on such parts' register maps, as quoted in the example text of a public driver. The exact
plans, errors and steps were computed with rational arithmetic independent of this code.
"""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vfod.errors import OutOfRangeError, UsageError
from vfod.radio.synthesiser import (
    ClockGenerator,
    Registers,
    dividers,
    reach,
    registers,
    registers_of,
)

MHZ = 1_000_000


@pytest.mark.parametrize(
    ("ratio", "expected"),
    [
        (Fraction(36), (4096, 0, 1)),
        (Fraction(8), (512, 0, 1)),
        (24 + Fraction(2, 3), (2645, 1, 3)),
        (Fraction(91, 2), (5312, 0, 2)),
        (Fraction(900), (114688, 0, 1)),
    ],
)
def test_registers_of_the_worked_example(ratio: Fraction, expected: tuple[int, int, int]) -> None:
    """The published example's multipliers and dividers have its register values."""
    p1, p2, p3 = expected
    assert Registers(p1=p1, p2=p2, p3=p3) == registers(ratio)


def test_frequencies_of_the_worked_example() -> None:
    """The published example's chain gives its frequencies."""
    loop_b = 25 * MHZ * (24 + Fraction(2, 3))
    assert round(loop_b) == 616_666_667
    assert float(loop_b / Fraction(91, 2)) == pytest.approx(13_553_114, abs=1)
    assert float(loop_b / 900) == pytest.approx(685_185.185, abs=0.001)
    assert float(loop_b / 900 / 64) == pytest.approx(10_706.019, abs=0.001)


@pytest.mark.parametrize(
    ("b", "c", "floor_", "p2"),
    [
        (934400, 1_000_000, 119, 603200),
        (979788, 1_048_575, 119, 632439),
        # In single precision these two come out one too high.
        (1_032_191, 1_048_575, 125, None),
        (617_177, 999_983, 78, None),
    ],
)
def test_registers_are_exact(b: int, c: int, floor_: int, p2: int | None) -> None:
    """floor(128 b/c) is the whole number's, not a float's."""
    made = registers_of(0, b, c)
    assert floor_ == made.p1 + 512
    if p2 is not None:
        assert p2 == made.p2


@pytest.mark.parametrize(
    ("output", "crystal", "divider", "a", "b", "c", "p1", "p2", "output_p1"),
    [
        (4_996_000, 25, 180, 35, 607, 625, 4092, 196, 22528),
        (6_070_000, 25, 148, 35, 584, 625, 4087, 377, 18432),
        (9_420_000, 25, 94, 35, 262, 625, 4021, 411, 11520),
        (10_000_000, 25, 90, 36, 0, 1, 4096, 0, 11008),
        (15_000_000, 25, 60, 36, 0, 1, 4096, 0, 7168),
        (4_996_000, 27, 180, 33, 23, 75, 3751, 19, 22528),
        (6_070_000, 27, 148, 33, 184, 675, 3746, 602, 18432),
        (9_420_000, 27, 94, 32, 179, 225, 3685, 187, 11520),
        (10_000_000, 27, 90, 33, 1, 3, 3754, 2, 11008),
        (15_000_000, 27, 60, 33, 1, 3, 3754, 2, 7168),
    ],
)
def test_exact_plans(
    output: int,
    crystal: int,
    divider: int,
    a: int,
    b: int,
    c: int,
    p1: int,
    p2: int,
    output_p1: int,
) -> None:
    """An even divider and the highest loop frequency up to 900 MHz make these without error."""
    plan = dividers(ClockGenerator(crystal=crystal * MHZ), output)
    assert (Fraction(0), 1) == (plan.error, plan.extra)
    assert (divider, a, b, c) == (plan.divider, plan.a, plan.b, plan.c)
    assert (p1, p2, c) == (plan.loop_registers.p1, plan.loop_registers.p2, plan.loop_registers.p3)
    assert output_p1 == plan.output_registers.p1


@pytest.mark.parametrize(
    ("output", "crystal", "c", "b", "error"),
    [
        (6_070_000, 25, 1_048_575, 979788, -0.077325),
        (6_070_000, 25, 1_000_000, 934400, 0),
        (9_420_000, 25, 1_048_575, 439563, 0.091309),
        (9_420_000, 25, 1_000_000, 419200, 0),
        (7_055_000, 25, 1_048_575, 584266, 0.001892),
        (7_055_000, 25, 1_000_000, 557200, 0),
        (15_000_000, 27, 1_048_575, 349525, 0),
        (15_000_000, 27, 1_000_000, 333333, -0.15),
        (9_420_000, 27, 1_048_575, 834200, 0.091309),
        (9_420_000, 27, 1_000_000, 795556, 0.127660),
        (6_070_000, 27, 1_048_575, 285834, 0.038663),
        (6_070_000, 27, 1_000_000, 272593, 0.074324),
    ],
)
def test_a_fixed_denominator_errs(output: int, crystal: int, c: int, b: int, error: float) -> None:
    """With the highest even divider alone, a fixed denominator leaves the tabled error."""
    exact = dividers(ClockGenerator(crystal=crystal * MHZ), output)
    plan = dividers(
        ClockGenerator(
            crystal=crystal * MHZ,
            denominator=c,
            fixed=True,
            divider_low=exact.divider,
            divider_high=exact.divider,
        ),
        output,
    )
    assert (b, c) == (plan.b, plan.c)
    assert error == pytest.approx(float(plan.error), abs=1e-6)


@pytest.mark.parametrize(
    ("crystal", "divider", "step"),
    [(25, 60, 0.397365), (25, 90, 0.264910), (25, 150, 0.158946), (27, 60, 0.429154)],
)
def test_step(crystal: int, divider: int, step: float) -> None:
    """The step is the crystal over denominator and divider."""
    generator = ClockGenerator(crystal=crystal * MHZ, divider_low=divider, divider_high=divider)
    assert step == pytest.approx(float(dividers(generator, 880 * MHZ // divider).step), abs=1e-6)


def test_a_fixed_denominator_picks_the_divider_with_the_least_error() -> None:
    """Where several dividers would do, the one that comes nearest is chosen."""
    fixed = ClockGenerator(crystal=27 * MHZ, denominator=1_000_000, fixed=True)
    plan = dividers(fixed, 9_420_000)
    assert abs(plan.error) < 0.127660
    for divider in range(64, 95, 2):
        only = ClockGenerator(
            crystal=27 * MHZ,
            denominator=1_000_000,
            fixed=True,
            divider_low=divider,
            divider_high=divider,
        )
        assert abs(plan.error) <= abs(dividers(only, 9_420_000).error)


GENERATORS = st.builds(
    ClockGenerator,
    crystal=st.sampled_from([25 * MHZ, 27 * MHZ, 26 * MHZ]),
    fixed=st.booleans(),
    denominator=st.sampled_from([1_048_575, 1_000_000, 999_983]),
)


@given(generator=GENERATORS, millihertz=st.integers(6_000_000, 160_000_000_000))
def test_every_frequency_in_reach_is_made_within_a_step(
    generator: ClockGenerator, millihertz: int
) -> None:
    """All registers are within their widths, and the error is at most half a step."""
    wanted = Fraction(millihertz, 1000)
    plan = dividers(generator, wanted)
    assert 600 * MHZ <= plan.loop <= 900 * MHZ
    assert 2 * abs(plan.error) <= plan.step
    assert 0 <= plan.b < plan.c <= 1_048_575
    assert plan.loop_registers.ratio * generator.crystal == plan.loop
    assert plan.loop_registers.p1 < 1 << 18


def test_out_of_reach_says_what_is_in_reach() -> None:
    """The error names both ends."""
    generator = ClockGenerator(crystal=25 * MHZ)
    assert (Fraction(600 * MHZ, 900 * 128), Fraction(225 * MHZ)) == reach(generator)
    with pytest.raises(OutOfRangeError, match="300000 kHz cannot be made") as caught:
        dividers(generator, 300 * MHZ)
    assert "225000 kHz" in str(caught.value)


def test_a_description_that_cannot_be() -> None:
    """An empty range, no crystal and an odd extra divider are refused in words."""
    with pytest.raises(UsageError, match="loop's oscillator"):
        ClockGenerator(crystal=25 * MHZ, loop_low=900 * MHZ, loop_high=600 * MHZ)
    with pytest.raises(UsageError, match="crystal"):
        ClockGenerator(crystal=0)
    with pytest.raises(UsageError, match="power of two"):
        ClockGenerator(crystal=25 * MHZ, extra_high=3)
