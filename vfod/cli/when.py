"""Times as a person writes them on the command line: `22:00`, `2026-11-25 22:00`, `3h` ago."""

from datetime import UTC, date, datetime, timedelta, tzinfo

from vfod.errors import QuantityError, UsageError
from vfod.plan.localtime import parse_clock
from vfod.units import parse_duration

_REMEDY = "write 3h (ago), 22:00, 2026-11-25 or '2026-11-25 22:00'"

#: Of which there can be nights: none is before computers count, none where their calendar ends.
_YEARS = range(1970, 2200)

#: To see whether a text is a time at all: any will do.
_SOME_TIME = 1.8e9


def parse_when(text: str, now: float, zone: tzinfo | None) -> float:
    """Seconds since 1970 UTC; `zone` None is the machine's own.

    A duration is so long ago, a clock time its last occurrence, a date its beginning; an ISO 8601
    time may carry an offset of its own. Raises QuantityError.
    """
    text = text.strip()
    here = datetime.fromtimestamp(now, UTC).astimezone(zone)
    try:
        return now - parse_duration(text)
    except QuantityError:
        pass
    try:
        clock = parse_clock(text)
    except UsageError:
        pass
    else:
        wall = datetime.combine(here.date(), clock)
        if _instant(wall, zone) > now:
            wall -= timedelta(days=1)
        return _instant(wall, zone)
    try:
        return _instant(datetime.fromisoformat(text), zone)
    except (ValueError, OverflowError):
        raise QuantityError(f"{text[:40]!r} is not a time", remedy=_REMEDY) from None


class When:
    """A time as it was written; QuantityError where it is none.

    Which instant is meant depends on the present time and the zone, which are known later.
    """

    def __init__(self, text: str) -> None:
        parse_when(text, _SOME_TIME, UTC)
        self._text = text

    def instant(self, now: float, zone: tzinfo | None) -> float:
        """Seconds since 1970 UTC."""
        return parse_when(self._text, now, zone)


def parse_night(text: str) -> date:
    """The first date of a night; QuantityError for anything else."""
    try:
        night = date.fromisoformat(text)
    except ValueError:
        night = date.min
    if night.year not in _YEARS:
        raise QuantityError(
            f"{text[:40]!r} is not the date of a night", remedy="write it like 2026-11-25"
        )
    return night


def _instant(wall: datetime, zone: tzinfo | None) -> float:
    if wall.tzinfo is None and zone is not None:
        wall = wall.replace(tzinfo=zone)
    # A time without a zone is taken to be in the machine's own.
    return wall.astimezone(UTC).timestamp()
