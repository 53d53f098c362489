"""Which nights: dates and stretches of them, and the seasons of shortwave broadcasting.

Dates are written as ISO 8601 has them, a stretch as its interval: `2026-06-01/2026-08-31`.
Without a year it comes every year: `12-24/01-06`.
Broadcasters change their schedules twice a year at 01:00 UTC, on the last Sunday of March (season
A begins) and of October (season B); a season is named by its first year, A26 or B26.
"""

import calendar
import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from vfod.errors import UsageError

_DATE = re.compile(r"(?:([0-9]{4})-)?([0-9]{2})-([0-9]{2})")
_SEASON = re.compile(r"([AB])([0-9]{2})?")
_EXAMPLE = "2026-06-01, 2026-06-01/2026-08-31, or every year 12-24/01-06"

#: A leap year, so that every day of some year is a day of it.
_LEAP = 2000


@dataclass(frozen=True, slots=True)
class Span:
    """The nights from `first` to `last`, both included; `yearly` ones have no year that counts."""

    first: date
    last: date
    yearly: bool = False

    def holds(self, night: date) -> bool:
        """Whether a night, by its first date, is one of them."""
        if not self.yearly:
            return self.first <= night <= self.last
        day = (night.month, night.day)
        first, last = ((d.month, d.day) for d in (self.first, self.last))
        return first <= day <= last if first <= last else day >= first or day <= last


def parse_span(text: str) -> Span:
    """A date or a stretch of dates; UsageError otherwise."""
    parts = [_DATE.fullmatch(part.strip()) for part in text.split("/")]
    if len(parts) > 2 or not all(parts):
        raise UsageError(f"{text[:40]!r} is no date", remedy=f"write {_EXAMPLE}")
    found = [_date(*part.groups()) for part in parts if part is not None]
    yearly = [part[1] is None for part in parts if part is not None]
    first, last = found[0], found[-1]
    if yearly[0] is not yearly[-1]:
        raise UsageError(
            f"{text[:40]!r} has a year at one end only", remedy="write it at both, or at neither"
        )
    if first > last and not yearly[0]:
        raise UsageError(f"{text[:40]!r} runs backwards", remedy="write the earlier date first")
    return Span(first, last, yearly[0])


def parse_date(text: str) -> date:
    """A date with its year; UsageError otherwise."""
    span = parse_span(text)
    if span.yearly or "/" in text:
        raise UsageError(f"{text[:40]!r} is no date of one year", remedy="write 2026-06-01")
    return span.first


def _date(year: str | None, month: str, day: str) -> date:
    number = int(month)
    if not 1 <= number <= 12:
        raise UsageError(f"there is no month {month}", remedy="months go from 01 to 12")
    in_year = _LEAP if year is None else int(year)
    if in_year < 1:
        raise UsageError(f"there is no year {year}", remedy=f"write {_EXAMPLE}")
    days = calendar.monthrange(in_year, number)[1]
    if not 1 <= int(day) <= days:
        raise UsageError(
            f"there is no {int(day)} {calendar.month_name[number]}{f' {year}' if year else ''}",
            remedy=f"its days go from 01 to {days:02}",
        )
    return date(in_year, number, int(day))


# --- broadcast seasons ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Season:
    """A broadcast season: A or B, of one year (that of its beginning) or of every year."""

    letter: str
    year: int | None = None

    def __str__(self) -> str:
        return self.letter if self.year is None else f"{self.letter}{self.year % 100:02}"

    def holds(self, when: float) -> bool:
        """Whether an instant is in it."""
        now = season_at(when)
        return now == self or (self.year is None and now.letter == self.letter)


def parse_season(text: str) -> Season:
    """`A`, `B`, or with its year `A26`; UsageError otherwise."""
    found = _SEASON.fullmatch(text.strip())
    if found is None:
        raise UsageError(
            f"{text[:40]!r} is no broadcast season", remedy="write A (summer), B (winter), or A26"
        )
    return Season(found[1], 2000 + int(found[2]) if found[2] else None)


def season_at(when: float) -> Season:
    """The season of an instant, with its year."""
    year = datetime.fromtimestamp(when, UTC).year
    if when < season_start("A", year):
        return Season("B", year - 1)
    return Season("A" if when < season_start("B", year) else "B", year)


def season_start(letter: str, year: int) -> float:
    """When a season begins: 01:00 UTC on the last Sunday of March (A) or of October (B)."""
    last = datetime(year, 3 if letter == "A" else 10, 31, 1, tzinfo=UTC)
    return (last - timedelta(days=(last.weekday() + 1) % 7)).timestamp()
