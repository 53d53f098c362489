"""The listener's own list of stations: who should be on the air, where and when.

A file of our own as CSV (RFC 4180) with a line of names first:

    khz,days,from,to,valid_from,valid_to,name
    9420,mon-fri,18:00,20:30,2026-10-25,2027-03-27,Radio Haldrun

Times are UTC, as schedules are printed; a `to` that is not after `from` is on the next day, and
days and dates are those on which a broadcast begins. Empty days are all days, empty dates no bound.
"""

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from vfod.errors import ConfigError, UsageError
from vfod.plan.localtime import parse_clock
from vfod.plan.windows import EVERY_DAY, WEEKDAYS
from vfod.units import parse_frequency

COLUMNS = ("khz", "days", "from", "to", "valid_from", "valid_to", "name")
_NEEDED = ("khz", "from", "to", "name")
#: Longest name, characters, as for a note.
_LONGEST_NAME = 100
#: As many as all shortwave schedules of a season have together; a longer file is no list.
MOST = 10_000


@dataclass(frozen=True, kw_only=True, slots=True)
class Station:
    """A line of the list; `start` and `end` are UTC, `first` and `last` None where unbounded."""

    name: str
    frequency: int
    days: frozenset[int]
    start: time
    end: time
    first: date | None = None
    last: date | None = None

    def on_the_air(self, since: float, until: float) -> Iterator[tuple[float, float]]:
        """Each broadcast that shares time with [since, until), from and to, Unix seconds."""
        day = datetime.fromtimestamp(since, UTC).date() - timedelta(days=1)
        last = datetime.fromtimestamp(until, UTC).date()
        while day <= last:
            if (
                day.weekday() in self.days
                and (self.first is None or day >= self.first)
                and (self.last is None or day <= self.last)
            ):
                begins = datetime.combine(day, self.start, UTC)
                ends = datetime.combine(day, self.end, UTC)
                if ends <= begins:
                    ends += timedelta(days=1)
                if begins.timestamp() < until and ends.timestamp() > since:
                    yield begins.timestamp(), ends.timestamp()
            day += timedelta(days=1)


@dataclass(frozen=True, kw_only=True, slots=True)
class Broadcast:
    """A stretch in which a station is expected; Unix seconds."""

    name: str
    frequency: int
    begins: float
    ends: float


def expected(stations: Sequence[Station], since: float, until: float) -> list[Broadcast]:
    """Every broadcast that shares time with [since, until); those that join on are one."""
    found: list[Broadcast] = []
    every = [
        Broadcast(name=one.name, frequency=one.frequency, begins=begins, ends=ends)
        for one in stations
        for begins, ends in one.on_the_air(since, until)
    ]
    for one in sorted(every, key=lambda b: (b.frequency, b.name, b.begins)):
        last = found[-1] if found else None
        if (
            last is not None
            and (last.frequency, last.name) == (one.frequency, one.name)
            and one.begins <= last.ends
        ):
            found[-1] = replace(last, ends=max(last.ends, one.ends))
        else:
            found.append(one)
    return sorted(found, key=lambda b: (b.frequency, b.begins, b.name))


def named(
    stations: Sequence[Station], dial: int, since: float, until: float, within: int
) -> list[str]:
    """Names of stations at most `within` hertz away that were on the air in that time."""
    names = [
        one.name
        for one in stations
        if abs(one.frequency - dial) <= within and any(one.on_the_air(since, until))
    ]
    return list(dict.fromkeys(names))


def parse(text: str, path: str) -> tuple[Station, ...]:
    """The list in a text; ConfigError with every complaint, each with its line and the remedy."""
    complaints: list[str] = []
    found: list[Station] = []
    rows = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    try:
        head = [name.strip().lower() for name in next(rows, [])]
        if wrong := _of_head(head):
            raise ConfigError([f"{path}:1: {wrong}"])
        for row in rows:
            if not any(cell.strip() for cell in row):
                continue
            where = f"{path}:{rows.line_num}: "
            if len(row) != len(head):
                complaints.append(
                    f"{where}{len(row)} columns where the first line has {len(head)}; "
                    'put a name with a comma into double quotes: "Radio, the Lower Marsh"'
                )
                continue
            station = _station(dict(zip(head, row, strict=True)), where, complaints)
            if station is not None:
                found.append(station)
            if len(found) > MOST:
                raise ConfigError([f"{where}more than {MOST} stations; shorten the list"])
    except csv.Error as error:
        complaints.append(
            f"{path}:{rows.line_num}: {error}; "
            "double a quote inside quotes, and close what was opened (RFC 4180)"
        )
    if complaints:
        raise ConfigError(complaints)
    return tuple(found)


def _of_head(head: list[str]) -> str | None:
    wanted = f"write {','.join(COLUMNS)}"
    if len(head) <= 1:
        return f"the first line does not name the columns, separated by commas; {wanted}"
    for name in head:
        if name not in COLUMNS:
            return f"there is no column {name[:40]!r}; {wanted}"
        if head.count(name) > 1:
            return f"column {name} is there twice; {wanted}"
    missing = [name for name in _NEEDED if name not in head]
    return f"column {missing[0]} is missing; {wanted}" if missing else None


def _station(row: dict[str, str], where: str, complaints: list[str]) -> Station | None:
    good = True

    def read(column: str, parse: Callable[[str], Any], example: str) -> Any:
        nonlocal good
        text = row.get(column, "").strip()
        try:
            return parse(text)
        except (UsageError, ValueError):
            complaints.append(f"{where}{column}: {text[:40]!r} does not fit; write {example}")
            good = False
            return None

    frequency = read("khz", _kilohertz, "kilohertz like 9420 or 9422.5")
    days = read("days", _days, "days like mon-fri, sat sun, or nothing for every day")
    start = read("from", parse_clock, "a time in UTC like 18:00")
    end = read("to", parse_clock, "a time in UTC like 20:30")
    first = read("valid_from", _date, "a date like 2026-10-25, or nothing")
    last = read("valid_to", _date, "a date like 2027-03-27, or nothing")
    name = read("name", _name, f"a name of at most {_LONGEST_NAME} characters in one line")
    if first and last and first > last:
        complaints.append(f"{where}valid_to: {last} is before valid_from; exchange them")
        good = False
    if not good:
        return None
    return Station(
        name=name, frequency=frequency, days=days, start=start, end=end, first=first, last=last
    )


def _kilohertz(text: str) -> int:
    if not text.replace(".", "", 1).isdigit():
        raise ValueError
    return parse_frequency(text)


def _days(text: str) -> frozenset[int]:
    found: set[int] = set()
    for word in text.lower().replace(",", " ").split():
        first, dash, last = word.partition("-")
        begin = WEEKDAYS.index(first)
        end = WEEKDAYS.index(last) if dash else begin
        # sat-mon goes over the end of the week.
        found |= {(begin + n) % 7 for n in range((end - begin) % 7 + 1)}
    return frozenset(found) or EVERY_DAY


def _date(text: str) -> date | None:
    return date.fromisoformat(text) if text else None


def _name(text: str) -> str:
    if not 0 < len(text) <= _LONGEST_NAME or not text.isprintable():
        raise ValueError
    return text
