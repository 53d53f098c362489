"""Many nights in words: sections, the same for terminal and page."""

from collections.abc import Callable, Iterable, Iterator, Sequence

from vfod.report.seasons import (
    LEAST_NIGHTS,
    Change,
    Nights,
    Season,
    best_hours,
    over_nights,
)
from vfod.report.wording import Row, Section, kilohertz, level, percent
from vfod.store import ChannelSummary

#: Noon is the first column by the clock.
NOON = 12


def season_sections(season: Season) -> list[Section]:
    """All sections."""
    return [
        *(_hours(season, by_sun=by_sun) for by_sun in (False, True)),
        *(_best(season, by_sun=by_sun) for by_sun in (False, True)),
        _changes(season, season.clock_changes, clock_hour, "clock", "What changed by the clock"),
        *(
            [_changes(season, season.sun_changes, sun_hour, "sun", "What changed against the sun")]
            if season.by_sun
            else []
        ),
        _channels("came", "Channels that came", season, season.came),
        _channels("went", "Channels that went", season, season.went),
    ]


def season_remarks(season: Season) -> Iterator[str]:
    """What cannot be said."""
    if not season.nights:
        yield "No band was visited on these nights so that it could be judged."
        return
    asked = (season.until - season.since).days + 1
    if len(season.nights) < asked:
        yield f"Of {asked} nights, {len(season.nights)} were looked at."
    if not season.parts[0]:
        yield (
            f"With {len(season.nights)} nights nothing is said of a change; that takes "
            f"{3 * LEAST_NIGHTS}, of which the first and the last third are compared."
        )
    if season.setting.site is None:
        yield "Latitude and longitude are not configured, so nothing can be said by the sun."


def clock_hour(hour: int) -> str:
    """`22–23`."""
    return f"{hour:02d}\u2013{(hour + 1) % 24:02d}"


def sun_hour(hour: int) -> str:
    """`+2 to +3`, hours after sunset; `−1 to 0` before it."""
    return f"{hour:+d} to {hour + 1:+d}".replace("+0", "0").replace("-", "\u2212")


def hour_text(hour: int, *, by_sun: bool) -> str:
    """The hour over a column: `22`, or `+3` and `−1` by the sun."""
    if not by_sun:
        return f"{hour:02d}"
    return f"{hour:+d}".replace("-", "\u2212") if hour else "0"


def ordered(hours: Iterable[int], *, by_sun: bool) -> list[int]:
    """Hours in the order of a night: from noon on, or before and after sunset."""
    return sorted(set(hours), key=lambda hour: hour if by_sun else (hour - NOON) % 24)


def _hours(season: Season, *, by_sun: bool) -> Section:
    table = over_nights(season.by_sun if by_sun else season.by_clock)
    hours = ordered((hour for _, hour in table), by_sun=by_sun)
    what = "hours after sunset" if by_sun else "local hours"
    return Section(
        key="by-sun" if by_sun else "by-clock",
        title=f"Nights on which a band was open, by {what}",
        says=("Percent of the nights on which it was visited then.",)
        if table
        else ("Nothing can be said.",),
        head=("band", *(f">{hour_text(hour, by_sun=by_sun)}" for hour in hours)) if table else (),
        rows=tuple(
            (band, *(_percent(table.get((band, hour))) for hour in hours)) for band in season.bands
        )
        if table
        else (),
        brief=20,
    )


def _percent(nights: Nights | None) -> str:
    return "" if nights is None else f"{100 * nights.open / nights.looked:.0f}"


def _best(season: Season, *, by_sun: bool) -> Section:
    hours = season.by_sun if by_sun else season.by_clock
    name = sun_hour if by_sun else clock_hour
    rows: list[Row] = []
    for band in season.bands:
        for place, (hour, nights) in enumerate(best_hours(hours, band)):
            rows.append(("" if place else band, name(hour), nights_text(nights), _interval(nights)))
    return Section(
        key="best-by-sun" if by_sun else "best-by-clock",
        title=f"Best hours, {'after sunset' if by_sun else 'local time'}",
        says=() if rows else ("No band was open.",) if hours else ("Nothing can be said.",),
        head=("band", "hour", ">open", ">of all nights") if rows else (),
        rows=tuple(rows),
        brief=18,
    )


def nights_text(nights: Nights) -> str:
    """`9 of 10 nights`."""
    return f"{nights.open} of {nights.looked} nights"


def _interval(nights: Nights) -> str:
    low, high = nights.interval
    return f"{percent(low)} to {percent(high)} %"


def _changes(
    season: Season, found: Sequence[Change], name: Callable[[int], str], key: str, title: str
) -> Section:
    compared = season.parts[0]
    none = "Nothing that chance does not explain." if compared else "Nothing can be said."
    return Section(
        key=f"changed-{key}",
        title=title,
        says=(f"The first {compared} nights and the last {season.parts[1]}.",)
        if found
        else (none,),
        head=("band", "hour", ">first", ">last", "change") if found else (),
        rows=tuple(
            (
                one.band,
                name(one.hour),
                nights_text(one.earlier),
                nights_text(one.later),
                "came" if one.later.interval[0] > one.earlier.interval[1] else "went",
            )
            for one in found
        ),
        brief=12,
    )


def _channels(key: str, title: str, season: Season, found: Sequence[ChannelSummary]) -> Section:
    none = "None." if season.parts[0] else "Nothing can be said."
    return Section(
        key=key,
        title=title,
        says=("Active in one of the two parts and never in the other, though visited in both.",)
        if found
        else (none,),
        head=(">kHz", "band", ">active visits", ">up to") if found else (),
        rows=tuple(
            (
                kilohertz(one.dial),
                one.band or "",
                f"{one.active_visits} of {one.judged_visits}",
                f"{level(one.strongest)} {one.unit}",
            )
            for one in found
        ),
    )
