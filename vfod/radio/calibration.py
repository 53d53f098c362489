"""From a beat with a standard-frequency carrier to the error of the VFO's crystal.

The receiver is tuned beside a carrier of known frequency; the beat between the two is heard as a
tone. What hangs on the crystal decides the formula: the VFO alone, or every oscillator of the
receiver. The error y is a fraction, positive when the crystal runs fast. Exact arithmetic.
"""

import enum
from dataclasses import dataclass
from fractions import Fraction

from vfod.errors import UsageError
from vfod.radio.receiver import Crystal, Injection, Range

#: What a person's ear can do at zero beat, as a standard deviation in hertz: the middle of the 1
#: to 5 Hz that are published for direct comparison by ear.
ZERO_BEAT = 3.0


class Sideband(enum.StrEnum):
    """Where the carrier lies, seen from where the receiver is tuned: above it, or below."""

    UPPER = "upper"
    LOWER = "lower"


@dataclass(frozen=True, slots=True, kw_only=True)
class Beat:
    """A carrier of `carrier` hertz heard as a `tone` of hertz, with an `oscillator` of hertz.

    `oscillator` is what the VFO says it makes, without any correction; `deviation` the standard
    deviation of the tone in hertz; `limit` the best that this carrier allows, as a fraction.
    """

    carrier: int
    oscillator: Fraction
    tone: Fraction
    sideband: Sideband
    deviation: float
    limit: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """An error of the crystal as a fraction, and its standard deviation."""

    error: float
    deviation: float
    limit: float


def tuned(receiver: Range, oscillator: Fraction) -> Fraction:
    """Where a receiver is tuned with an oscillator, by its nominal frequencies, hertz."""
    mixer = oscillator / receiver.ratio
    if receiver.injection is Injection.HIGH:
        return mixer - receiver.intermediate_frequency
    return mixer + receiver.intermediate_frequency


def crystal_error(receiver: Range, beat: Beat, crystal: Crystal) -> Measured:
    """The error of the crystal by one beat.

    Where only the VFO hangs on it, the intermediate frequency is taken to be true, and the error
    is referred to the oscillator's frequency and not to the dial's. Raises UsageError where the
    receiver is not tuned above 0 Hz.
    """
    nominal = tuned(receiver, beat.oscillator)
    if nominal <= 0:
        raise UsageError(
            "the receiver is not tuned anywhere with this oscillator",
            remedy="compare the range of the receiver with the VFO's frequency",
        )
    away = -beat.tone if beat.sideband is Sideband.UPPER else beat.tone
    truly = beat.carrier + away
    if crystal is Crystal.ALL:
        base, error = nominal, truly / nominal - 1
    else:
        base = beat.oscillator / receiver.ratio
        error = (truly - nominal) / base
    return Measured(
        error=float(error),
        deviation=float(beat.deviation / base),
        limit=float(beat.limit * beat.carrier / base),
    )
