"""Many nights as charts: band by hour over nights or weeks, by the clock and by the sun."""

from collections.abc import Mapping
from datetime import date

from vfod.picture import Chart, Panel, Rule, Tick, nice_scale
from vfod.picture.chart import Kind
from vfod.report.season_words import NOON, clock_hour, hour_text, nights_text, ordered, sun_hour
from vfod.report.seasons import Hours, Season, Seen, best_hours, week_of
from vfod.report.wording import Row

#: Nights from which on a row of the picture is a week.
_BY_WEEK = 45

#: Visits below which an hour is not drawn: of one or two the share is none or all.
_LEAST = 3

#: Visits by band, row of the picture, and hour.
_Sums = Mapping[tuple[str, int, int], Seen]


def season_chart(season: Season, *, by_sun: bool) -> Chart | None:
    """Band by hour over the nights, or weeks; None where there is nothing to show."""
    hours = season.by_sun if by_sun else season.by_clock
    if not hours:
        return None
    rows = _rows(season)
    sums = _sums(hours, rows)
    if not sums:
        return None
    place = _columns(hours, by_sun=by_sun)
    row_is = "a week" if _is_by_week(season) else "a night"
    sunset = Rule(at=float(place.get(0, 0)), text="sunset", kind=Kind.SUN)
    return Chart(
        text=_alternative(season, by_sun=by_sun),
        panels=tuple(_panel(band, sums, rows, place) for band in reversed(season.bands)),
        scale=nice_scale(0.0, 100 * max(seen.share for seen in sums.values()), "%"),
        x_title="hours after sunset" if by_sun else f"local time ({season.setting.zone.key})",
        y_title="from",
        x_ticks=tuple(
            Tick(at=float(column), text=hour_text(hour, by_sun=by_sun), rank=hour)
            for hour, column in place.items()
        ),
        x_rules=(sunset,) if by_sun and 0 in place else (),
        y_steps=(1, 2, 4, 7, 14, 26, 52),
        empty="not visited, or hardly",
        legend=f"Share of visits that were active; a row is {row_is}",
    )


def season_numbers(season: Season, *, by_sun: bool) -> tuple[Row, list[Row]]:
    """The numbers behind a chart: head, then a row for each band and night (or week)."""
    hours = season.by_sun if by_sun else season.by_clock
    rows = _rows(season)
    sums = _sums(hours, rows)
    across = ordered((hour for _, _, hour in hours), by_sun=by_sun)
    found: list[Row] = []
    for band in season.bands:
        for row, night in _first_nights(rows).items():
            cells = (sums.get((band, row, hour)) for hour in across)
            shown = tuple("" if one is None else f"{100 * one.share:.0f}" for one in cells)
            if any(shown):
                found.append((band, night.isoformat(), *shown))
    return ("band", "from", *(hour_text(hour, by_sun=by_sun) for hour in across)), found


def _columns(hours: Hours, *, by_sun: bool) -> dict[int, int]:
    """Hour → column, without a hole: an hour in which nobody looked keeps its empty place."""
    if not by_sun:
        return {(hour + NOON) % 24: hour for hour in range(24)}
    across = [hour for _, _, hour in hours]
    return {hour: hour - min(across) for hour in range(min(across), max(across) + 1)}


def _is_by_week(season: Season) -> bool:
    return (season.nights[-1] - season.nights[0]).days >= _BY_WEEK


def _rows(season: Season) -> dict[date, int]:
    """Each night's row; over many nights a row is a week. A night nobody looked keeps its row."""
    first = season.nights[0]
    if not _is_by_week(season):
        return {night: (night - first).days for night in season.nights}
    return {night: (week_of(night) - week_of(first)).days // 7 for night in season.nights}


def _first_nights(rows: Mapping[date, int]) -> dict[int, date]:
    found: dict[int, date] = {}
    for night, row in rows.items():
        found.setdefault(row, night)
    return found


def _sums(hours: Hours, rows: Mapping[date, int]) -> _Sums:
    found: dict[tuple[str, int, int], Seen] = {}
    for (band, night, hour), seen in hours.items():
        key = band, rows[night], hour
        found[key] = found.get(key, Seen()) + seen
    return {key: seen for key, seen in found.items() if seen.judged >= _LEAST}


def _panel(band: str, sums: _Sums, rows: Mapping[date, int], place: Mapping[int, int]) -> Panel:
    count = max(rows.values()) + 1
    return Panel(
        columns=len(place),
        rows=count,
        cells={
            (row, place[hour]): 100 * seen.share
            for (name, row, hour), seen in sums.items()
            if name == band
        },
        y_ticks=tuple(
            Tick(at=row + 0.5, text=f"{night.day} {night:%b}", rank=row)
            for row, night in _first_nights(rows).items()
        ),
        y_names=((0.0, float(count), band),),
    )


def _alternative(season: Season, *, by_sun: bool) -> str:
    hours = season.by_sun if by_sun else season.by_clock
    name = sun_hour if by_sun else clock_hour
    parts = [
        f"Share of active visits by {'hours after sunset' if by_sun else 'local hour'} over "
        f"{len(season.nights)} nights from {season.nights[0]} to {season.nights[-1]}, "
        f"for {', '.join(season.bands)}."
    ]
    for band in season.bands:
        for hour, nights in best_hours(hours, band)[:1]:
            parts.append(f"{band} was best at {name(hour)}, open on {nights_text(nights)}.")
    parts.append("The numbers stand in the table below.")
    return " ".join(parts)
