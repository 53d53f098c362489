"""Points with their uncertainty over time, as a picture of its own in SVG."""

import html
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

#: Size, and the room around the points for what is written there.
_WIDTH, _HEIGHT = 920.0, 360.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 80.0, 20.0, 30.0, 40.0

#: About so many marks along each axis; more cannot be told apart.
_MARKS = 6

_STYLE = (
    "text{font:12px system-ui,sans-serif;fill:#222}rect{fill:#fff}"
    "line{stroke:#bbb}.reach{stroke:#456;stroke-width:1.5}circle{fill:#124}"
)


@dataclass(frozen=True, slots=True)
class Spot:
    """A value at a time (seconds since 1970 UTC), and from where to where it may lie."""

    time: float
    value: float
    low: float
    high: float


def points_svg(spots: Sequence[Spot], title: str, unit: str, zone: tzinfo | None) -> str:
    """The picture; at least one point."""
    marks = "".join(_marks(spots, unit, zone))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{html.escape(title)}" '
        f'viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}"><style>{_STYLE}</style>'
        f'<rect width="{_WIDTH:g}" height="{_HEIGHT:g}"/>'
        f'<text x="{_LEFT:g}" y="18">{html.escape(title)}</text>{marks}</svg>\n'
    )


def _marks(spots: Sequence[Spot], unit: str, zone: tzinfo | None) -> Iterator[str]:
    first, last = min(one.time for one in spots), max(one.time for one in spots)
    if first == last:
        first, last = first - 1, last + 1
    step = _nice(max(one.high for one in spots) - min(one.low for one in spots))
    low = step * (min(one.low for one in spots) // step)
    high = step * (max(one.high for one in spots) // step + 1)

    def across(time: float) -> float:
        return _LEFT + (time - first) / (last - first) * (_WIDTH - _LEFT - _RIGHT)

    def up(value: float) -> float:
        return _HEIGHT - _BOTTOM - (value - low) / (high - low) * (_HEIGHT - _TOP - _BOTTOM)

    for number in range(round((high - low) / step) + 1):
        value = low + number * step
        yield f'<line x1="{_LEFT:g}" x2="{_WIDTH - _RIGHT:g}" y1="{up(value):.1f}" '
        yield f'y2="{up(value):.1f}"/><text x="{_LEFT - 6:g}" y="{up(value) + 4:.1f}" '
        yield f'text-anchor="end">{value:+.6g} {html.escape(unit)}</text>'
    for number in range(_MARKS):
        time = first + (last - first) * number / (_MARKS - 1)
        when = datetime.fromtimestamp(time, UTC).astimezone(zone)
        anchor = ("start", "middle", "end")[(number > 0) + (number == _MARKS - 1)]
        yield f'<text x="{across(time):.1f}" y="{_HEIGHT - 14:g}" text-anchor="{anchor}">'
        yield f"{when:%Y-%m-%d %H:%M}</text>"
    for one in spots:
        x = across(one.time)
        yield f'<line class="reach" x1="{x:.1f}" x2="{x:.1f}" y1="{up(one.low):.1f}" '
        yield f'y2="{up(one.high):.1f}"/><circle cx="{x:.1f}" cy="{up(one.value):.1f}" r="3"/>'


def _nice(extent: float) -> float:
    """A step of 1, 2 or 5 times a power of ten, with some six of them in the extent."""
    wanted = max(extent, 1e-9) / _MARKS
    power = 10.0 ** (len(f"{int(wanted)}") - 1) if wanted >= 1 else 1.0
    while power > wanted:
        power /= 10
    return next((k * power for k in (1, 2, 5, 10) if k * power >= wanted), 10 * power)
