"""The receiver: which oscillator frequency a dial frequency needs, and back.

One law, written once, in exact rational arithmetic (frequencies in hertz):

    oscillator = |dial + offset ± intermediate frequency| * ratio / (1 + y * 10^-6)

with + for high injection and - for low, `ratio` the oscillator per mixer frequency, and y the
measured error of the VFO's crystal in parts per million, positive when it runs fast. Where the
receiver's other oscillators hang on that crystal too, the dial and not the oscillator is divided:

    oscillator = |(dial + offset) / (1 + y * 10^-6) ± intermediate frequency| * ratio

The receiver is described in ranges that cover its tuning range; where two ranges meet, the
frequency between them belongs to the upper one.
"""

import enum
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import ceil, floor

from vfod.errors import OutOfRangeError, UsageError
from vfod.units import MILLI, format_frequency

#: A carrier tuned in exactly would be at 0 Hz with these detectors, where nothing is heard;
#: 1 kHz below it, it is a tone in the middle of what a speaker and an ear do well.
PITCH = -1000

#: An envelope detector without gain control has calmed down after a few time constants of its
#: filter; a level that comes out of the audio path takes longer.
SETTLE_ENVELOPE = 0.3
SETTLE_AUDIO = 1.0

#: The wire's `select` is one hexadecimal digit.
SELECTS = range(16)

#: Any oscillator but none at all, in millihertz; far above what a receiver could use.
_NO_LIMITS = (1, 10**15)

_MILLION = 1_000_000


class Detector(enum.StrEnum):
    """What turns the intermediate frequency into sound; direct has no intermediate frequency."""

    ENVELOPE = "envelope"
    PRODUCT = "product"
    DIRECT = "direct"


class Injection(enum.StrEnum):
    """Whether the oscillator lies above or below the frequency received."""

    HIGH = "high"
    LOW = "low"


class Crystal(enum.StrEnum):
    """What hangs on the crystal: the VFO, or all oscillators of the receiver."""

    VFO = "vfo"
    ALL = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A part of the tuning range in which the receiver works in one way.

    `low`, `high` (dial), `intermediate_frequency` and `offset` in hertz; `settle` in seconds.
    `delay` is by how much later what is received can be measured, seconds, where that is by sound.
    None means: the detector's default for offset and settle, no switch for select, levels not
    calibrated for level_table.
    """

    low: int
    high: int
    detector: Detector
    intermediate_frequency: int = 0
    injection: Injection = Injection.HIGH
    ratio: Fraction = Fraction(1)
    offset: int | None = None
    select: int | None = None
    settle: float | None = None
    level_table: str | None = None
    delay: float = 0.0

    @property
    def pitch(self) -> int:
        """The offset in force, hertz."""
        if self.offset is not None:
            return self.offset
        return 0 if self.detector is Detector.ENVELOPE else PITCH

    @property
    def settling(self) -> float:
        """The settle time in force, seconds."""
        if self.settle is not None:
            return self.settle
        return SETTLE_ENVELOPE if self.detector is Detector.ENVELOPE else SETTLE_AUDIO

    @property
    def shift(self) -> int:
        """What is added to the dial before the magnitude is taken, hertz."""
        return self.pitch + self.mixed

    @property
    def mixed(self) -> int:
        """How far the oscillator lies above the frequency received, hertz; below when negative."""
        intermediate = self.intermediate_frequency
        return intermediate if self.injection is Injection.HIGH else -intermediate

    def __str__(self) -> str:
        return f"{format_frequency(self.low)} to {format_frequency(self.high)}"


def complaints(ranges: Sequence[Range]) -> list[tuple[int, str]]:
    """Everything wrong with a receiver's ranges: the index of the range and what to change."""
    if not ranges:
        return [(0, "no range: describe at least one")]
    found = [(index, text) for index, item in enumerate(ranges) for text in _faults(item)]
    ascending = sorted(range(len(ranges)), key=lambda index: (ranges[index].low, index))
    lower = ranges[ascending[0]]
    for index in ascending[1:]:
        upper = ranges[index]
        if upper.low > lower.high:
            found.append(
                (
                    index,
                    f"gap from {format_frequency(lower.high)} to {format_frequency(upper.low)}: "
                    "let the range below end where this one begins",
                )
            )
        elif upper.low < lower.high:
            end = min(lower.high, upper.high)
            found.append(
                (
                    index,
                    f"overlap with the range {lower} from {format_frequency(upper.low)} "
                    f"to {format_frequency(end)}: let one end where the other begins",
                )
            )
        lower = max(lower, upper, key=lambda item: item.high)
    return sorted(found)


def _faults(item: Range) -> list[str]:
    faults = []
    if not 0 < item.low < item.high:
        faults.append(f"{item} is no range: write the lower end first, both above 0")
    if item.ratio <= 0:
        faults.append(f"ratio {item.ratio} is not above 0: write 1, 4 or 1/2")
    if item.intermediate_frequency < 0:
        faults.append("the intermediate frequency is below 0: say low or high by the injection")
    if item.detector is Detector.DIRECT and item.intermediate_frequency:
        faults.append("a direct detector has no intermediate frequency: leave it out or write 0Hz")
    if item.detector is not Detector.DIRECT and not item.intermediate_frequency:
        faults.append(f"detector {item.detector} needs an intermediate frequency, or is it direct?")
    if item.select is not None and item.select not in SELECTS:
        faults.append(f"select {item.select} is not one of 0 to {SELECTS[-1]}")
    if item.settle is not None and not 0 <= item.settle < float("inf"):
        faults.append(f"settle {item.settle} is no time: write 0.3s")
    return faults


@dataclass(frozen=True, slots=True, kw_only=True)
class Receiver:
    """Ranges, the crystal's error and what the VFO can do.

    `correction` is y in ppm (see above), `crystal` what hangs on it; `limits` the lowest and
    highest oscillator frequency in millihertz, None while nobody has said.
    Raises UsageError when the ranges do not fit together.
    """

    ranges: tuple[Range, ...]
    correction: Fraction = Fraction(0)
    crystal: Crystal = Crystal.VFO
    limits: tuple[int, int] | None = None
    _scale: Fraction = field(init=False, repr=False, compare=False)
    #: What was worked out already: exact arithmetic takes its time, and a sweep asks for the same
    #: channels all night.
    _known: dict[int, int] = field(
        init=False, repr=False, compare=False, hash=False, default_factory=dict
    )

    def __post_init__(self) -> None:
        wrong = complaints(self.ranges)
        if wrong:
            raise UsageError("; ".join(f"range {index + 1}: {text}" for index, text in wrong))
        ascending = tuple(sorted(self.ranges, key=lambda item: item.low))
        object.__setattr__(self, "ranges", ascending)
        object.__setattr__(self, "_scale", 1 + Fraction(self.correction) / _MILLION)

    @property
    def low(self) -> int:
        """Lowest dial frequency, hertz."""
        return self.ranges[0].low

    @property
    def high(self) -> int:
        """Highest dial frequency, hertz."""
        return self.ranges[-1].high

    def limited(self, low: int, high: int) -> "Receiver":
        """The same receiver, with the oscillator kept inside these millihertz as well.

        What the configuration and the box's greeting say is narrowed one after the other.
        """
        if self.limits is not None:
            low, high = max(low, self.limits[0]), min(high, self.limits[1])
        return replace(self, limits=(low, high))

    def later(self, delay: float) -> "Receiver":
        """The same receiver, measured so many seconds later."""
        ranges = tuple(replace(item, delay=delay) for item in self.ranges)
        return replace(self, ranges=ranges)

    def range_at(self, dial: int) -> Range:
        """The range that holds `dial`; OutOfRangeError outside the tuning range."""
        for item in reversed(self.ranges):
            if item.low <= dial <= item.high:
                return item
        raise OutOfRangeError(
            f"{format_frequency(dial)} is outside the receiver's range",
            remedy=f"it tunes {format_frequency(self.low)} to {format_frequency(self.high)}",
        )

    def oscillator_for(self, dial: int) -> Fraction:
        """The oscillator frequency for a dial frequency: hertz, exact.

        Raises OutOfRangeError outside the tuning range, at an oscillator of zero, and outside the
        VFO's limits, saying what the dial can reach.
        """
        item = self.range_at(dial)
        if self.crystal is Crystal.VFO:
            wanted = abs(dial + item.shift) * item.ratio / self._scale
        else:
            wanted = abs((dial + item.pitch) / self._scale + item.mixed) * item.ratio
        low, high = self.limits or _NO_LIMITS
        if wanted * MILLI < 1:
            raise OutOfRangeError(
                f"{format_frequency(dial)} would need an oscillator of 0 Hz", remedy=self._reach()
            )
        if not low <= wanted * MILLI <= high:
            raise OutOfRangeError(
                f"{format_frequency(dial)} needs an oscillator of {_kilohertz(wanted)}, "
                f"outside the VFO's {_kilohertz(Fraction(low, MILLI))} "
                f"to {_kilohertz(Fraction(high, MILLI))}",
                remedy=self._reach(),
            )
        return wanted

    def millihertz_for(self, dial: int) -> int:
        """The oscillator frequency in whole millihertz, nearest to the exact one."""
        if (known := self._known.get(dial)) is None:
            known = self._known[dial] = round(self.oscillator_for(dial) * MILLI)
        return known

    def dial_for(self, millihertz: int, *, near: int | None = None) -> int:
        """The dial frequency, whole hertz, that an oscillator frequency in millihertz stands for.

        Sum and difference can both fit, in one range or in two: then the one in the range of
        `near` (the last known dial frequency) wins, and of several there the nearest to it;
        without `near`, the lowest.
        Raises OutOfRangeError when no range gives this oscillator frequency.
        """
        mixer = Fraction(millihertz, MILLI)
        fitting = {
            dial
            for item in self.ranges
            for side in (1, -1)
            if self.low <= (dial := round(self._received(item, side * mixer))) <= self.high
            and self.range_at(dial) is item
        }
        if not fitting:
            raise OutOfRangeError(
                f"no dial frequency of the receiver has an oscillator of "
                f"{_kilohertz(Fraction(millihertz, MILLI))}",
                remedy=self._reach(),
            )
        if near is None:
            return min(fitting)
        home = self.range_at(min(max(near, self.low), self.high))
        return min(fitting, key=lambda dial: (self.range_at(dial) is not home, abs(dial - near)))

    def reachable(self) -> tuple[tuple[int, int], ...]:
        """The dial frequencies the VFO's limits leave, hertz, both ends included, ascending."""
        low, high = self.limits or _NO_LIMITS
        parts: list[tuple[int, int]] = []
        for item in self.ranges:
            least, most = Fraction(max(low, 1), MILLI), Fraction(high, MILLI)
            # Where two ranges meet, the frequency belongs to the upper one.
            end = item.high if item is self.ranges[-1] else item.high - 1
            # |dial + shift| between least and most: a stretch on either side of -shift.
            for start, stop in ((-most, -least), (least, most)):
                first = max(item.low, ceil(self._received(item, start)))
                last = min(end, floor(self._received(item, stop)))
                if first > last:
                    continue
                if parts and first <= parts[-1][1] + 1:
                    first, _ = parts.pop()
                parts.append((first, last))
        return tuple(parts)

    def _received(self, item: Range, oscillator: Fraction) -> Fraction:
        """The dial frequency for an oscillator in hertz, on one side of zero or the other."""
        if self.crystal is Crystal.VFO:
            return oscillator * self._scale / item.ratio - item.shift
        return (oscillator / item.ratio - item.mixed) * self._scale - item.pitch

    def _reach(self) -> str:
        parts = self.reachable()
        if not parts:
            return "with these limits of the VFO no dial frequency can be reached"
        texts = (f"{format_frequency(low)} to {format_frequency(high)}" for low, high in parts)
        return f"the dial reaches {' and '.join(texts)}"


def _kilohertz(hertz: Fraction) -> str:
    text = f"{float(hertz) / 1000:.6f}".rstrip("0").rstrip(".")
    return f"{text} kHz"
