"""Local clock times and the instants they mean.

A local time that occurs twice means the first; one that the clocks leap over is read with the
offset before the leap (RFC 5545, section 3.3.5).
A night runs from local noon to the next and is named by its first date.
Instants are Unix seconds; a local time without its zone is a naive `datetime`, called a wall time.
"""

from datetime import UTC, date, datetime, time, timedelta, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from vfod.errors import UsageError

NOON = time(12)
ONE_DAY = timedelta(days=1)


def parse_clock(text: str) -> time:
    """A local clock time: `22:00`, `06:30:15`; `24:00` is midnight. UsageError otherwise."""
    parts = text.strip().split(":")
    if len(parts) in (2, 3) and all(p.isascii() and p.isdigit() and len(p) <= 2 for p in parts):
        hour, minute, second = (*map(int, parts), 0)[:3]
        if (hour, minute, second) == (24, 0, 0):
            hour = 0
        if hour < 24 and minute < 60 and second < 60:
            return time(hour, minute, second)
    raise UsageError(f"{text[:40]!r} is not a clock time", remedy="write it like 22:00")


def parse_zone(name: str) -> ZoneInfo:
    """A zone of the IANA database by name; UsageError otherwise."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise UsageError(
            f"there is no time zone {name[:60]!r}",
            remedy="write a name of the IANA database, like Europe/Berlin or UTC",
        ) from None


def instant(wall: datetime, zone: ZoneInfo) -> float:
    """The instant that a wall time means, by the rules at the head of this file."""
    return wall.replace(tzinfo=zone, fold=0).timestamp()


def local(when: float, zone: ZoneInfo) -> datetime:
    """An instant as local time with its offset."""
    return datetime.fromtimestamp(when, zone)


def is_skipped(wall: datetime, zone: ZoneInfo) -> bool:
    """Whether the clocks of the zone leap over this wall time."""
    return local(instant(wall, zone), zone).replace(tzinfo=None, fold=0) != wall


def is_twice(wall: datetime, zone: ZoneInfo) -> bool:
    """Whether the clocks of the zone show this wall time twice."""
    return wall.replace(tzinfo=zone, fold=1).timestamp() > instant(wall, zone)


def has_date(day: date, zone: ZoneInfo) -> bool:
    """Whether the zone has this date; one that moves over the date line leaves a date out."""
    return local(instant(datetime.combine(day, NOON), zone), zone).date() == day


def night_of(when: float, zone: ZoneInfo) -> date:
    """The night an instant belongs to, by the date it began on."""
    wall = local(when, zone).replace(tzinfo=None)
    return wall.date() if wall.time() >= NOON else wall.date() - ONE_DAY


def local_words(when: float, zone: tzinfo | None, pattern: str) -> str:
    """An instant as a person's clock shows it, by a pattern of strftime; None: the machine's zone.

    Where the clocks show that time twice, the zone's name then follows: `02:30 CEST`.
    """
    shown = datetime.fromtimestamp(when, UTC).astimezone(zone)
    wall = shown.replace(tzinfo=zone)
    twice = wall.replace(fold=0).timestamp() != wall.replace(fold=1).timestamp()
    return f"{shown:{pattern} %Z}" if twice else f"{shown:{pattern}}"
