"""A night as a chart: level over time and frequency, with band edges, the sun, and gaps left empty.

Channels that lie far from each other stand in panels of their own; within a panel a channel that
was skipped keeps its empty place on the raster.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import quantiles

from vfod.picture import Chart, Panel, Rule, Tick, nice_scale
from vfod.picture.chart import Kind
from vfod.plan.localtime import local
from vfod.report.facts import Night
from vfod.report.setting import clock_text
from vfod.report.wording import kilohertz, level
from vfod.units import format_duration, format_frequency

_HOUR = 3600.0
#: Channels this far apart, in steps of the raster, are not drawn in one panel.
_APART = 25
#: A panel with more than so many empty rows for a channel is drawn without its raster.
_SPARSE = 4
_FREQUENCY_STEPS = (1, 5, 10, 20, 25, 50, 100, 200, 500)


def night_chart(night: Night) -> Chart | None:
    """The chart, None where no level was measured."""
    levels = [cell.level for cell in night.cells if cell.level is not None]
    if not levels:
        return None
    begins, ends = night.picture
    columns = round((ends - begins) / night.column)
    rows: dict[int, dict[int, float]] = {}
    for cell in night.cells:
        if cell.level is not None:
            rows.setdefault(cell.dial, {})[cell.column] = cell.level
    dials = sorted({channel.sums.dial for channel in night.channels})
    panels = tuple(_panel(night, part, rows, columns) for part in reversed(_parts(dials)))
    lowest = quantiles(levels, n=20)[0] if len(levels) > 1 else levels[0]
    return Chart(
        text=alternative(night),
        panels=panels,
        scale=nice_scale(lowest, max(levels), night.unit),
        x_title=f"local time ({night.setting.zone.key}), {night.date:%Y-%m-%d}",
        y_title="kHz",
        x_ticks=tuple(_hours(night)),
        x_rules=tuple(_rules(night)),
        y_steps=_FREQUENCY_STEPS,
        legend=f"Level, the strongest visit in {format_duration(night.column)}",
    )


def alternative(night: Night) -> str:
    """What the picture shows, for those who do not see it."""
    begins, ends = (clock_text(when, night.setting.zone) for when in night.picture)
    dials = [channel.sums.dial for channel in night.channels]
    parts = [
        f"Level over time and frequency: {len(set(dials))} channels from "
        f"{format_frequency(min(dials))} to {format_frequency(max(dials))}, "
        f"from {begins} to {ends}."
    ]
    loud = [
        f"{format_frequency(one.sums.dial)} with up to {level(one.sums.strongest)} {night.unit}"
        for one in night.strongest[:3]
    ]
    if loud:
        parts.append(f"Strongest: {', '.join(loud)}.")
    gaps = [gap for one in night.windows for gap in one.gaps]
    if gaps:
        told = ", ".join(
            f"{clock_text(gap.begins, night.setting.zone)} to "
            f"{clock_text(gap.ends, night.setting.zone)}"
            for gap in gaps[:6]
        )
        parts.append(f"Empty, because nothing was visited: {told}.")
    parts.append("The numbers stand in the table below.")
    return " ".join(parts)


@dataclass(frozen=True, kw_only=True, slots=True)
class Numbers:
    """The numbers behind the picture: by channel and hour the strongest level, None unvisited."""

    hours: tuple[str, ...]
    rows: tuple[tuple[int, tuple[float | None, ...]], ...]


def numbers(night: Night) -> Numbers:
    """The picture as a table by hours."""
    begins, ends = night.picture
    count = round((ends - begins) / _HOUR)
    found: dict[int, list[float | None]] = {
        channel.sums.dial: [None] * count for channel in night.channels
    }
    for cell in night.cells:
        hour = int(cell.column * night.column // _HOUR)
        row = found.get(cell.dial)
        if row is not None and cell.level is not None and hour < count:
            before = row[hour]
            row[hour] = cell.level if before is None else max(before, cell.level)
    hours = tuple(clock_text(begins + n * _HOUR, night.setting.zone) for n in range(count))
    return Numbers(hours=hours, rows=tuple((dial, tuple(row)) for dial, row in found.items()))


def _parts(dials: Sequence[int]) -> list[list[int]]:
    raster = _raster(dials)
    parts = [[dials[0]]]
    for before, dial in pairwise(dials):
        if dial - before > _APART * raster:
            parts.append([])
        parts[-1].append(dial)
    # Single channels here and there are easier to read one below the other.
    return parts if len(dials) >= 3 * len(parts) else [list(dials)]


def _raster(dials: Sequence[int]) -> int:
    return min((b - a for a, b in pairwise(dials)), default=5000)


def _panel(
    night: Night, dials: Sequence[int], rows: Mapping[int, Mapping[int, float]], columns: int
) -> Panel:
    raster = _raster(dials)
    count = (dials[-1] - dials[0]) // raster + 1
    even = all((dial - dials[0]) % raster == 0 for dial in dials)
    linear = even and count <= _SPARSE * len(dials)
    place = {
        dial: (dial - dials[0]) // raster if linear else index for index, dial in enumerate(dials)
    }
    return Panel(
        columns=columns,
        rows=count if linear else len(dials),
        cells={
            (place[dial], column): value
            for dial in dials
            for column, value in rows.get(dial, {}).items()
        },
        y_ticks=tuple(
            Tick(
                at=place[dial] + 0.5,
                text=kilohertz(dial),
                rank=dial // 1000 if linear else 0,
            )
            for dial in dials
            if not linear or dial % 1000 == 0
        ),
        y_rules=_edges(night, dials, raster, count) if linear else (),
        y_names=_stretches(night, dials, raster, count) if linear else _names(night, dials),
    )


def _edges(night: Night, dials: Sequence[int], raster: int, count: int) -> tuple[Rule, ...]:
    edges = {
        (edge - dials[0]) / raster + 0.5 for pair in night.band_edges.values() for edge in pair
    }
    return tuple(
        Rule(at=edge, text="", kind=Kind.BAND) for edge in sorted(edges) if 0.5 < edge < count - 0.5
    )


def _stretches(
    night: Night, dials: Sequence[int], raster: int, count: int
) -> tuple[tuple[float, float, str], ...]:
    return tuple(
        (
            max(0.0, (low - dials[0]) / raster),
            min(float(count), (high - dials[0]) / raster + 1),
            name,
        )
        for name, (low, high) in night.band_edges.items()
        if low <= dials[-1] and high >= dials[0]
    )


def _names(night: Night, dials: Sequence[int]) -> tuple[tuple[float, float, str], ...]:
    band = {channel.sums.dial: channel.sums.band for channel in night.channels}
    return tuple(
        (float(index), index + 1.0, name)
        for index, dial in enumerate(dials)
        if (name := band.get(dial)) is not None
    )


def _hours(night: Night) -> Iterator[Tick]:
    begins, ends = night.picture
    when = -(-begins // _HOUR) * _HOUR
    while when <= ends:
        here = local(when, night.setting.zone)
        # A zone that is half an hour off has its hours in between.
        shift = here.minute * 60
        at = (when - shift - begins) / night.column
        if at >= 0:
            hour = local(when - shift, night.setting.zone).hour
            yield Tick(at=at, text=f"{hour:02d}:00", rank=hour)
        when += _HOUR


def _rules(night: Night) -> Iterator[Rule]:
    begins, ends = night.picture

    def inside(when: float) -> bool:
        return begins <= when <= ends

    for event, when in night.sun.items():
        if inside(when):
            text = f"{event} {clock_text(when, night.setting.zone)}"
            yield Rule(at=(when - begins) / night.column, text=text, kind=Kind.SUN)
    if night.change is not None and inside(night.change[0]):
        when, by = night.change
        text = f"clocks {by / _HOUR:+g} h".replace("-", "\u2212")
        yield Rule(at=(when - begins) / night.column, text=text, kind=Kind.CLOCK)
