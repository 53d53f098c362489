"""Hertz, seconds and decibels: read them from text and print them.

Dial frequencies are whole hertz (`int`); oscillator frequencies are whole millihertz (`int`),
which is what three decimals of hertz on the wire are; durations are seconds (`float`).
A bare number is kilohertz where a person types and an error where a file is read.

Only string and integer arithmetic is used: no rounding can creep in, and the quick verbs of the
command line may import this file without paying for `re` or `decimal`.
"""

from vfod.errors import QuantityError

#: Speed of light in vacuum, metres per second; exact by definition of the metre (SI).
SPEED_OF_LIGHT = 299_792_458

MILLI = 1000

#: Where a frequency on the wrong scale is guessed to be meant, hertz: long wave to the 2 m band.
USUAL = (100_000, 150_000_000)

#: Power of ten of each unit a frequency may carry. Lower-case `m` is not mega and is refused.
_FREQUENCY_UNITS = {"Hz": 0, "k": 3, "kHz": 3, "M": 6, "MHz": 6}
_UNITS_IN_SMALL = ("", "hz", "k", "khz", "m", "mhz")
#: The minus sign of typographers, which arrives by copy and paste.
_TRUE_MINUS = "\u2212"

_DURATION_UNITS = {"ms": 0.001, "s": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
_FREQUENCY_REMEDY = "write it like 9420 (kHz), 9.42M, 7200.5k or 9420000Hz"
_DURATION_REMEDY = "write it like 2s, 500ms, 30m or 1h30m"

#: Beyond light, in millihertz too, and still a number that every door of the daemon takes.
_TOO_LARGE = 10**18


def _split_number(text: str) -> tuple[str, str, str, str] | None:
    """Cut `-7200.5k` into sign, whole digits, decimals and unit; None when it is no number."""
    sign = ""
    if text[:1] in ("+", "-", _TRUE_MINUS):
        sign = "+" if text[0] == "+" else "-"
        text = text[1:]
    end = 0
    while end < len(text) and (text[end] in "0123456789._"):
        end += 1
    number, unit = text[:end], text[end:].strip()
    whole, point, decimals = number.partition(".")
    whole = whole.replace("_", "")
    if not whole and not decimals:
        return None
    if point and not decimals:
        return None
    if (whole and not whole.isdigit()) or (decimals and not decimals.isdigit()):
        return None
    return sign, whole or "0", decimals, unit


def _scaled(text: str, what: str, bare: str | None, finest: int) -> int:
    """The number in units of 10**finest hertz, exactly, or a QuantityError."""
    if len(text) > 40:
        raise QuantityError(f"{text[:40]!r}... is too long for {what}", remedy=_FREQUENCY_REMEDY)
    parts = _split_number(text.strip())
    if parts is None or parts[3][:1] == ",":
        remedy = "write a point for the comma" if "," in text else _FREQUENCY_REMEDY
        raise QuantityError(f"{text!r} is not {what}", remedy=remedy)
    sign, whole, decimals, unit = parts
    if not unit:
        if bare is None:
            raise QuantityError(
                f"{text!r} has no unit",
                remedy=f"write {text}k for kilohertz or {text}M for megahertz",
            )
        unit = bare
    if unit not in _FREQUENCY_UNITS:
        meant = other_scales(text, *USUAL) if what == "a frequency" else []
        raise QuantityError(
            f"{text!r}: {unit!r} is not a unit of frequency",
            remedy=f"did you mean {' or '.join(meant)}?" if meant else _FREQUENCY_REMEDY,
        )
    shift = _FREQUENCY_UNITS[unit] - finest
    decimals = decimals.rstrip("0")
    if len(decimals) > shift:
        raise QuantityError(
            f"{text!r} is finer than {'a hertz' if finest == 0 else 'a millihertz'}",
            remedy="leave out the last digits",
        )
    value = int(whole + decimals + "0" * (shift - len(decimals)))
    if value >= _TOO_LARGE:
        raise QuantityError(f"{text!r} is too large for {what}", remedy=_FREQUENCY_REMEDY)
    return -value if sign == "-" else value


def parse_frequency(text: str, *, bare: str | None = "kHz") -> int:
    """A dial frequency in whole hertz.

    `bare` is the unit of a number without one; None makes that an error (configuration files).
    Raises QuantityError for anything that is not a positive, whole number of hertz.
    """
    value = _scaled(text, "a frequency", bare, 0)
    if value <= 0 or text.strip()[:1] == "+":
        raise QuantityError(f"{text!r} is not a positive frequency", remedy=_FREQUENCY_REMEDY)
    return value


def other_scales(text: str, low: int, high: int) -> list[str]:
    """The digits of a frequency with the units that bring it between `low` and `high` hertz.

    Of a stretch like `9500M-9510M` its first part; nothing for what is no frequency.
    """
    parts = _split_number(text.strip()) if len(text) <= 40 else None
    if parts is None:
        return []
    _, whole, decimals, unit = parts
    if unit[:1] == "-" or unit.partition("-")[0].strip().lower() not in _UNITS_IN_SMALL:
        return []
    digits = f"{whole}.{decimals}" if decimals else whole
    fitting = []
    for other in (f"{digits}M", f"{digits}k", f"{digits}Hz"):
        try:
            hertz = parse_frequency(other)
        except QuantityError:
            # Finer than a hertz.
            continue
        if low <= hertz <= high:
            fitting.append(other)
    return fitting


def parse_shift(text: str, *, bare: str | None = "kHz") -> int:
    """A signed difference of frequency in whole hertz: `-5k`, `+2.5`, `0`."""
    return _scaled(text, "a frequency difference", bare, 0)


def parse_millihertz(text: str) -> int:
    """An oscillator frequency as the line protocol writes it: hertz with up to three decimals.

    Returns whole millihertz. Raises QuantityError for signs, units, exponents or more decimals.
    """
    whole, point, decimals = text.partition(".")
    if (
        not whole.isdigit()
        or not whole.isascii()
        or len(whole) > 12
        or (point and not (decimals.isdigit() and decimals.isascii() and len(decimals) <= 3))
    ):
        raise QuantityError(f"{text!r} is not hertz with at most three decimals")
    return int(whole) * MILLI + int((decimals + "000")[:3])


def format_millihertz(value: int) -> str:
    """Whole millihertz as hertz with three decimals: 9420000000 → `9420000.000`."""
    whole, rest = divmod(value, MILLI)
    return f"{whole}.{rest:03d}"


def format_frequency(hertz: int) -> str:
    """A frequency as a listener reads it, in kilohertz without needless digits: `9420 kHz`."""
    sign = "-" if hertz < 0 else ""
    whole, rest = divmod(abs(hertz), 1000)
    decimals = f".{rest:03d}".rstrip("0").rstrip(".")
    return f"{sign}{whole}{decimals} kHz"


def format_shift(hertz: int) -> str:
    """A difference of frequency with its sign: `+5 kHz`."""
    return ("+" if hertz >= 0 else "") + format_frequency(hertz)


def parse_duration(text: str) -> float:
    """Seconds from `2s`, `500ms`, `30m`, `1h30m`. A unit is required; QuantityError otherwise."""
    rest = text.strip()
    total = 0.0
    if not rest or len(rest) > 40:
        raise QuantityError(f"{text[:40]!r} is not a duration", remedy=_DURATION_REMEDY)
    while rest:
        end = 0
        while end < len(rest) and rest[end] in "0123456789.":
            end += 1
        start = end
        while end < len(rest) and rest[end] not in "0123456789.":
            end += 1
        number, unit = rest[:start], rest[start:end].strip()
        whole, point, decimals = number.partition(".")
        if not whole.isdigit() or (point and not decimals.isdigit()):
            raise QuantityError(f"{text!r} is not a duration", remedy=_DURATION_REMEDY)
        if unit not in _DURATION_UNITS:
            remedy = (
                _DURATION_REMEDY if unit else f"write {text}s for seconds or {text}m for minutes"
            )
            raise QuantityError(
                f"{text!r}: {unit!r} is not a unit of time" if unit else f"{text!r} has no unit",
                remedy=remedy,
            )
        total += float(number) * _DURATION_UNITS[unit]
        rest = rest[end:]
    return total


def format_duration(seconds: float) -> str:
    """A duration as a person reads it: `1 h 30 min`, `2 s`, `107.1 s`, `0.3 s`."""
    sign = "-" if seconds < 0 else ""
    seconds = abs(seconds)
    if seconds < 120:
        return f"{sign}{seconds:.1f}".removesuffix(".0") + " s"
    minutes = round(seconds / 60)
    hours, minutes = divmod(minutes, 60)
    if not hours:
        return f"{sign}{minutes} min"
    return f"{sign}{hours} h" + (f" {minutes} min" if minutes else "")


def wavelength(hertz: int) -> float:
    """Wavelength in metres of a frequency in hertz: c / f."""
    return SPEED_OF_LIGHT / hertz
