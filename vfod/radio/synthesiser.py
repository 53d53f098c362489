"""What a clock generator really produces: dividers, residual error and step, exactly.

A loop multiplies the crystal by a + b/c into the range of its oscillator; an output divider and,
for low frequencies, a divider by a power of two bring that down to the output:

    output = crystal * (a + b/c) / (divider * extra)

The numerator b and the denominator c are bounded, so not every frequency can be had. All is
rational arithmetic: in single precision 128 * b/c already rounds up to the wrong register.
Frequencies are hertz, also as fractions of one.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from vfod.errors import OutOfRangeError, UsageError
from vfod.units import format_frequency

#: Registers hold 128 times a ratio less this.
_REGISTER_OFFSET = 512

#: Extra dividers are powers of two: 1, 2, 4, … 128.
_EXTRA_BITS = range(8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Registers:
    """A ratio a + b/c as the three numbers that such parts are programmed with."""

    p1: int
    p2: int
    p3: int

    @property
    def ratio(self) -> Fraction:
        """The ratio they stand for."""
        return Fraction(self.p1 * self.p3 + self.p2 + _REGISTER_OFFSET * self.p3, 128 * self.p3)


def registers(ratio: Fraction) -> Registers:
    """The registers of a ratio: p1 = 128a + floor(128b/c) - 512, p2 = the rest, p3 = c."""
    whole, b, c = int(ratio), (ratio % 1).numerator, ratio.denominator
    return registers_of(whole, b, c)


def registers_of(a: int, b: int, c: int) -> Registers:
    """As `registers`, with a denominator that need not be in lowest terms."""
    part = 128 * b // c
    return Registers(p1=128 * a + part - _REGISTER_OFFSET, p2=128 * b - c * part, p3=c)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockGenerator:
    """A clock generator as its data sheet describes it, frequencies in hertz.

    `denominator` is the largest that the loop takes, or the only one its driver uses where
    `fixed`. `divider_low` and `divider_high` bound the output divider, which is an even whole
    number here: that is the choice with the least jitter. `extra_high` is the largest power of two
    that follows.
    """

    crystal: int
    loop_low: int = 600_000_000
    loop_high: int = 900_000_000
    feedback_low: int = 15
    feedback_high: int = 90
    denominator: int = 1_048_575
    fixed: bool = False
    divider_low: int = 4
    divider_high: int = 900
    extra_high: int = 128

    def __post_init__(self) -> None:
        for low, high, what in (
            (self.loop_low, self.loop_high, "range of the loop's oscillator"),
            (self.divider_low, self.divider_high, "range of the output divider"),
            (self.feedback_low, self.feedback_high, "range of the loop's multiplier"),
        ):
            if not 0 < low <= high:
                raise UsageError(f"the {what} is empty", remedy="write the lower end first")
        if self.crystal <= 0 or self.denominator < 1:
            raise UsageError("a clock generator needs a crystal and a denominator above zero")
        if self.extra_high not in {1 << bit for bit in _EXTRA_BITS}:
            raise UsageError("the extra divider is a power of two", remedy="write 1, 2, 4 … 128")


@dataclass(frozen=True, slots=True, kw_only=True)
class Dividers:
    """One way to make a frequency: (a + b/c) in the loop, then `divider` and `extra`."""

    generator: ClockGenerator
    wanted: Fraction
    a: int
    b: int
    c: int
    divider: int
    extra: int

    @property
    def loop(self) -> Fraction:
        """Frequency of the loop's oscillator."""
        return self.generator.crystal * (self.a + Fraction(self.b, self.c))

    @property
    def produced(self) -> Fraction:
        """Frequency at the output."""
        return self.loop / (self.divider * self.extra)

    @property
    def error(self) -> Fraction:
        """What is produced less what was wanted."""
        return self.produced - self.wanted

    @property
    def step(self) -> Fraction:
        """The step to the next frequency with these dividers and the generator's denominator."""
        finest = self.c if self.generator.fixed else self.generator.denominator
        return Fraction(self.generator.crystal, finest * self.divider * self.extra)

    @property
    def loop_registers(self) -> Registers:
        """The registers of the loop."""
        return registers_of(self.a, self.b, self.c)

    @property
    def output_registers(self) -> Registers:
        """The registers of the output divider."""
        return registers_of(self.divider, 0, 1)


def dividers(generator: ClockGenerator, wanted: Fraction | int) -> Dividers:
    """The best dividers for a frequency: the least error, then the highest loop frequency.

    The smallest extra divider that can be used is used: it has to make up for what the output
    divider cannot, and only halves what is there. Raises OutOfRangeError where no divider brings
    the loop into its range.
    """
    target = Fraction(wanted)
    if target <= 0:
        raise OutOfRangeError("a frequency of zero or less cannot be made", remedy="ask for more")
    best = min(
        _choices(generator, target),
        key=lambda way: (abs(way.error), -way.loop),
        default=None,
    )
    if best is None:
        low, high = reach(generator)
        raise OutOfRangeError(
            f"{format_frequency(round(target))} cannot be made by this clock generator",
            remedy=f"it reaches {format_frequency(ceil(low))} to {format_frequency(floor(high))}",
        )
    return best


def is_possible(generator: ClockGenerator) -> bool:
    """Whether the loop's oscillator can run anywhere in its range from this crystal."""
    low, high = _loop_range(generator)
    return low <= high


def reach(generator: ClockGenerator) -> tuple[Fraction, Fraction]:
    """The lowest and the highest frequency that can be made; what lies between them can too.

    Between them, because the loop spans far more than the ratio of neighbouring dividers.
    """
    low, high = _loop_range(generator)
    smallest = generator.divider_low + generator.divider_low % 2
    largest = generator.divider_high - generator.divider_high % 2
    return Fraction(low, largest * generator.extra_high), Fraction(high, smallest)


def _loop_range(generator: ClockGenerator) -> tuple[int, int]:
    return (
        max(generator.loop_low, generator.feedback_low * generator.crystal),
        min(generator.loop_high, generator.feedback_high * generator.crystal),
    )


def _choices(generator: ClockGenerator, target: Fraction) -> Iterator[Dividers]:
    low, high = _loop_range(generator)
    for bit in _EXTRA_BITS:
        extra = 1 << bit
        if extra > generator.extra_high:
            return
        first = max(ceil(low / (target * extra)), generator.divider_low)
        last = min(floor(high / (target * extra)), generator.divider_high)
        found = False
        for divider in range(first + first % 2, last + 1, 2):
            way = _loop_for(generator, target, divider, extra)
            if low <= way.loop <= high:
                found = True
                yield way
        if found:
            return


def _loop_for(generator: ClockGenerator, target: Fraction, divider: int, extra: int) -> Dividers:
    ratio = target * divider * extra / generator.crystal
    a = int(ratio)
    if generator.fixed:
        c = generator.denominator
        b = round((ratio - a) * c)
    else:
        near = (ratio - a).limit_denominator(generator.denominator)
        b, c = near.numerator, near.denominator
    if b == c:
        a, b = a + 1, 0
    return Dividers(generator=generator, wanted=target, a=a, b=b, c=c, divider=divider, extra=extra)
