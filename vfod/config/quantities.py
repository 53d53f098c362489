"""Frequencies, durations, levels and times as a configuration writes them.

Every quantity carries its unit, so that nobody has to remember which one was meant; counts and
coordinates are plain numbers.
Each function takes what the YAML reader made of a value and raises UnfitError with a text that says
what is wrong and what to write instead.
"""

import re
from collections.abc import Callable
from datetime import date, time
from fractions import Fraction
from typing import Any, TypeVar

from vfod.config.complaints import shown
from vfod.config.words import UnfitError, text_of
from vfod.errors import QuantityError, UsageError
from vfod.plan.channels import Skip
from vfod.plan.dates import Season, Span, parse_season, parse_span
from vfod.plan.moments import Moment, UtcTime, parse_appointment, parse_moment
from vfod.radio.levels import CALIBRATED, RELATIVE, LevelTable
from vfod.units import USUAL, other_scales, parse_duration, parse_frequency, parse_shift

#: The upper end of UHF (ITU Radio Regulations No. 2.1): no dial of a home-built receiver is above.
HIGHEST = 3_000_000_000
_UNITS = {"M": 1_000_000, "k": 1000, "Hz": 1}

#: No time in a configuration is longer than a week.
_LONGEST = 7 * 86400.0

#: Least time for which a journal is kept: reports look a month back, by days of 24 hours.
_LEAST_KEPT = 31 * 86400.0

_NUMBER = re.compile(r"[-+]?[0-9]{1,15}(\.[0-9]{1,15})?")
_DECIBELS = re.compile(r"([-+]?[0-9]{1,4}(?:\.[0-9]{1,3})?) ?(dBm|dB)")
_CORRECTION = re.compile(r"([-+]?[0-9]{1,4}(?:\.[0-9]{1,9})?) ?ppm")
_RATIO = re.compile(r"[1-9][0-9]{0,3}(/[1-9][0-9]{0,3})?")
_SHARE = re.compile(r"([0-9]{1,4}(?:\.[0-9]{1,3})?) ?%")
_COUNTS = re.compile(r"0|[1-9][0-9]{0,8}")

_Read = TypeVar("_Read")


def spelled(hertz: Fraction) -> str:
    """A frequency in the two ways a listener would write it: `9.42M or 9420k`."""
    mega, kilo = (f"{float(hertz / unit):.9g}" for unit in (1_000_000, 1000))
    return f"{mega}M or {kilo}k" if abs(hertz) >= 1_000_000 else f"{kilo}k"


def other_scale(text: str, low: int, high: int) -> str:
    """The remedy for a frequency on the wrong scale: the same digits where they make sense.

    Empty where no other unit brings them between `low` and `high` hertz.
    """
    fitting = other_scales(text, low, high)
    return f"did you mean {' or '.join(fitting)}?" if fitting else ""


def frequency(value: Any) -> int:
    """A dial frequency in hertz."""
    example = "9420k, 9.42M or 9420000Hz"
    text = text_of(value, "a frequency", example)
    if _NUMBER.fullmatch(text):
        number = Fraction(text)
        if number <= 0:
            raise UnfitError(f"{shown(text)} is not a positive frequency; write it like {example}")
        low, high = USUAL
        guesses = [number * size for size in _UNITS.values() if low <= number * size <= high]
        example = " or ".join(spelled(guess) for guess in guesses) or example
        raise UnfitError(f"{shown(text)} has no unit; write {example}")
    try:
        hertz = parse_frequency(text, bare=None)
    except QuantityError as error:
        # Other remedies of vfod.units speak of bare numbers too, which are for the command line.
        meant = error.remedy if error.remedy.startswith("did you mean") else ""
        raise UnfitError(f"{error.message}; {meant or f'write it like {example}'}") from None
    if hertz > HIGHEST:
        remedy = other_scale(text, *USUAL) or f"write it like {example}"
        raise UnfitError(f"{shown(text)} is above 3 GHz, where no such receiver goes; {remedy}")
    return hertz


def spacing(value: Any) -> int:
    """A distance between frequencies in hertz, above 0: a raster, an intermediate frequency."""
    hertz = _distance(value, "a distance between frequencies", "5k or 455k")
    if hertz <= 0:
        raise UnfitError(f"{shown(value)} is not above 0; write it like 5k or 455k")
    return hertz


def shift(value: Any) -> int:
    """A signed difference of frequency in hertz."""
    return _distance(value, "a frequency difference", "5k or -1k")


def _distance(value: Any, what: str, example: str) -> int:
    text = text_of(value, what, example)
    if _NUMBER.fullmatch(text):
        remedy = f"write {text}k for kilohertz, {text}Hz for hertz"
        raise UnfitError(f"{shown(text)} has no unit; {remedy}")
    try:
        hertz = parse_shift(text, bare=None)
    except QuantityError as error:
        reason = error.message.replace("a frequency difference", what)
        raise UnfitError(f"{reason}; write it like {example}") from None
    if abs(hertz) > HIGHEST:
        raise UnfitError(f"{shown(text)} is more than 3 GHz; write it like {example}")
    return hertz


def duration(value: Any) -> float:
    """Seconds, 0 or more."""
    example = "2s, 500ms, 30m or 1h30m"
    text = text_of(value, "a duration", example)
    if _NUMBER.fullmatch(text):
        raise UnfitError(
            f"{shown(text)} has no unit; write {text}s for seconds, {text}m for minutes"
        )
    try:
        seconds = parse_duration(text)
    except QuantityError as error:
        raise UnfitError(f"{error.message}; write it like {example}") from None
    if not seconds <= _LONGEST:
        raise UnfitError(f"{shown(text)} is more than a week; write it like {example}")
    return seconds


def keep(value: Any) -> float | str:
    """For how many seconds observations are kept, or `for-ever`."""
    if value == "for-ever":
        return str(value)
    example = "400d, or for-ever"
    text = text_of(value, "a time", example)
    if _NUMBER.fullmatch(text):
        raise UnfitError(f"{shown(text)} has no unit; write {text}d for days, or for-ever")
    try:
        seconds = parse_duration(text)
    except QuantityError as error:
        raise UnfitError(f"{error.message}; write it like {example}") from None
    if seconds < _LEAST_KEPT:
        raise UnfitError(
            f"{shown(text)} is less than a month, which reports look back; write 31d or more"
        )
    return seconds


def some_time(value: Any) -> float:
    """Seconds, above 0."""
    seconds = duration(value)
    if seconds == 0:
        raise UnfitError(f"{shown(value)} is no time at all; write it like 2s")
    return seconds


def _decibels(value: Any, units: tuple[str, ...], example: str) -> tuple[float, str]:
    text = text_of(value, "a level", example)
    if _NUMBER.fullmatch(text):
        raise UnfitError(f"{shown(text)} has no unit; write {text}{units[0]}")
    found = _DECIBELS.fullmatch(text)
    if found is None or found[2] not in units:
        raise UnfitError(
            f"{shown(text)} is not a level in {' or '.join(units)}; write it like {example}"
        )
    return float(found[1]), found[2]


def margin(value: Any) -> float:
    """A distance above the floor in decibels, 0 or more."""
    decibels, _ = _decibels(value, (RELATIVE,), "6dB")
    if decibels < 0:
        raise UnfitError(f"{shown(value)} is below the floor; write it like 6dB")
    return decibels


def correction(value: Any) -> Fraction | None:
    """The error of a crystal in parts per million, exact; None for what was measured."""
    text = text_of(value, "a correction", "measured or -1.5ppm")
    if text == "measured":
        return None
    found = _CORRECTION.fullmatch(text)
    if found is None:
        raise UnfitError(f"{shown(text)} is not a correction; write measured, or -1.5ppm")
    ppm = Fraction(found[1])
    if abs(ppm) > 1000:
        raise UnfitError(f"{shown(text)} is more than any crystal is off; write it like -1.5ppm")
    return ppm


def ratio(value: Any) -> Fraction:
    """Oscillator per mixer frequency, exact."""
    text = text_of(value, "a ratio", "4 or 1/2")
    if not _RATIO.fullmatch(text):
        raise UnfitError(f"{shown(text)} is not a ratio; write it like 4 or 1/2")
    return Fraction(text)


def moment(value: Any) -> Moment:
    """When a window opens or closes: a local time of day, one of UTC, an event of the sun."""
    text = text_of(value, "a time", "22:00")
    if re.fullmatch("[0-9]*", text):
        raise UnfitError(f"{shown(text)} is not a clock time; write hours and minutes, like 22:00")
    return _understood(parse_moment, text)


def span(value: Any) -> Span:
    """A date, or a stretch of dates."""
    return _understood(parse_span, text_of(value, "a date", "2026-06-01/2026-08-31"))


def season(value: Any) -> Season:
    """A broadcast season."""
    return _understood(parse_season, text_of(value, "a broadcast season", "A"))


def appointment(value: Any) -> tuple[date, time | UtcTime]:
    """A date with a clock time, local or of UTC."""
    example = "2026-11-25 19:58 UTC"
    return _understood(parse_appointment, text_of(value, "a date with a clock time", example))


def share(value: Any) -> float:
    """A part of the time, above 0 and at most 1."""
    text = text_of(value, "a share", "30%")
    found = _SHARE.fullmatch(text)
    if found is None:
        raise UnfitError(f"{shown(text)} is not a share of the time; write it like 30%")
    part = float(found[1]) / 100
    if not 0 < part <= 1:
        raise UnfitError(f"{shown(text)} is not above 0% and at most 100%; write it like 30%")
    return part


def _understood(parse: Callable[[str], _Read], text: str) -> _Read:
    try:
        return parse(text)
    except UsageError as error:
        raise UnfitError(str(error)) from None


def skip(value: Any) -> Skip:
    """A dial frequency or a stretch of them, hertz."""
    if isinstance(value, str) and "-" in value.strip()[1:]:
        low, high = (frequency(part) for part in value.split("-", 1))
        if low > high:
            raise UnfitError(f"{shown(value)} runs downwards; write the lower end first")
        return low, high
    return frequency(value)


def level(value: Any) -> tuple[float, str]:
    """A level and its unit: -73dBm, or 20dB where it is only known relatively."""
    return _decibels(value, (CALIBRATED, RELATIVE), "-73dBm")


def level_table(value: Any) -> LevelTable:
    """Counts to decibels, all of them in dBm or all in dB."""
    if not isinstance(value, dict):
        raise UnfitError(
            f"{shown(value)} is not a level table; write {{200: -110dBm, 900: -20dBm}}"
        )
    points, units = [], set()
    for counts, level in value.items():
        if not _COUNTS.fullmatch(counts):
            raise UnfitError(f"{shown(counts)} is no number of counts; write 200: -110dBm")
        decibels, unit = _decibels(level, (CALIBRATED, RELATIVE), "-110dBm")
        points.append((int(counts), decibels))
        units.add(unit)
    if len(units) > 1:
        raise UnfitError("dBm and dB in one level table; write all of it in one of them")
    try:
        return LevelTable(points=tuple(sorted(points)), unit=units.pop() if units else CALIBRATED)
    except UsageError as error:
        raise UnfitError(str(error)) from None


def afterwards(value: Any) -> str | int:
    """Where the dial goes at the end of a window: `return`, `leave`, or a frequency in hertz."""
    if value in ("return", "leave"):
        return str(value)
    if isinstance(value, str) and not value[:1].isdigit():
        raise UnfitError(f"{shown(value)} does not fit here; write return, leave or 9420k")
    return frequency(value)
