"""The kinds of value a field can have: how it is read, how it is written, how far it may go.

Numbers have at most nine digits (frequencies nine before the point), so that a microcontroller
reads every one of them into 32 bits without a check for overflow.
Reading decides only whether a text is a value of its kind; whether the value is within its limits
is asked afterwards, because the protocol answers the two with different codes.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import Any

from vfod.errors import QuantityError
from vfod.units import format_millihertz, parse_millihertz

#: Most digits of a whole number, and of a frequency before the point.
DIGITS = 9
#: Numbers remembered as read or as written, as many as the channels of most sweeps: a night says
#: the same frequencies and the same few settings in every line.
_REMEMBERED = 2048
#: Highest frequency that can be written, in millihertz: just below 1 GHz.
HIGHEST = 10**12 - 1


class Ability(StrEnum):
    """What a box may or may not be able to do."""

    KNOB = "knob"
    TOUCH = "touch"
    LEVEL = "level"
    BATTERY = "battery"
    TEMPERATURE = "temperature"
    OUTPUT = "output"
    SELECT = "select"
    MUTE = "mute"


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One kind of value.

    `read` raises ValueError for a text that is not of the kind. `low` and `high` bound the value
    read (a count of characters for words). `widest` is the longest text the protocol allows.
    """

    read: Callable[[str], Any]
    write: Callable[[Any], str]
    widest: str
    low: int | None = None
    high: int | None = None

    def within(self, value: Any) -> bool:
        """Whether a value keeps to the limits."""
        low, high = self.low, self.high
        if low is None or high is None:
            return True
        # Most are numbers: these lines are run ten times for every line of a night.
        return bool(low <= (len(value) if isinstance(value, str) else value) <= high)


@lru_cache(_REMEMBERED)
def _read_whole(text: str) -> int:
    if len(text) > DIGITS or not (text.isascii() and text.isdigit()):
        raise ValueError(text)
    return int(text)


def _read_signed(text: str) -> int:
    return -_read_whole(text[1:]) if text.startswith("-") else _read_whole(text)


@lru_cache(_REMEMBERED)
def _read_hertz(text: str) -> int:
    if len(text.partition(".")[0]) > DIGITS:
        raise ValueError(text)
    try:
        return parse_millihertz(text)
    except QuantityError as error:
        raise ValueError(text) from error


def _read_hex(text: str) -> int:
    if len(text) > 8 or not text.isascii() or not text.isalnum():
        raise ValueError(text)
    return int(text, 16)


def _read_abilities(text: str) -> frozenset[Ability]:
    """Words this reader does not know are left out: a newer box may be able to do more."""
    return frozenset(Ability(word) for word in text.split(",") if word in _ABILITY_WORDS)


def _write_abilities(value: frozenset[Ability]) -> str:
    return ",".join(word for word in Ability if word in value) or "none"


_ABILITY_WORDS = frozenset(str(word) for word in Ability)


def whole(low: int, high: int) -> Value:
    """A whole number from `low` to `high`, not negative."""
    return Value(read=_read_whole, write=str, widest=str(high), low=low, high=high)


def word(longest: int) -> Value:
    """A word of at most `longest` printable characters without space, `#`, `!`, `*` and `=`."""
    return Value(read=str, write=str, widest="w" * longest, low=1, high=longest)


#: Hertz with three decimals on the wire, whole millihertz here.
HERTZ = Value(
    read=_read_hertz,
    write=lru_cache(_REMEMBERED)(format_millihertz),
    widest="999999999.999",
    low=0,
    high=HIGHEST,
)
#: 0 or 1 on the wire, bool here.
FLAG = Value(read=_read_whole, write=lambda on: "1" if on else "0", widest="1", low=0, high=1)
#: Up to eight hexadecimal digits.
HEX = Value(read=_read_hex, write="{:X}".format, widest="FFFFFFFF", low=0, high=0xFFFFFFFF)
#: Milliseconds on the wire, seconds here; a minute is longer than any output settles.
MILLISECONDS = Value(
    read=lambda text: _read_whole(text) / 1000,
    write=lambda seconds: str(round(seconds * 1000)),
    widest="60000",
    low=0,
    high=60,
)
#: Tenths of a degree on the wire, degrees Celsius here.
TENTHS = Value(
    read=lambda text: _read_signed(text) / 10,
    write=lambda degrees: str(round(degrees * 10)),
    widest="-1000",
    low=-100,
    high=200,
)
ABILITIES = Value(
    read=_read_abilities, write=_write_abilities, widest=_write_abilities(frozenset(Ability))
)
