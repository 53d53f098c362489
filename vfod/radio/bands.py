"""Bands: which one a dial frequency lies in, which comes next, and chains without a gap.

A band holds both its edges; where two bands share an edge, the edge belongs to the band that
begins there, so that every frequency has one answer.
Bands of the listener's own stand before those of the table: one of the same name replaces the
table's, one that covers a part of another wins where both hold the frequency.
"""

import difflib
import itertools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from vfod.errors import UsageError
from vfod.radio.band_tables import BROADCASTING, HF_RASTER, ROWS, SERVICES
from vfod.units import format_frequency

#: Usable unquoted in YAML and a shell, and as a topic level and a label.
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
REGIONS = (1, 2, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A stretch of spectrum; `low`, `high`, `raster` and `anchor` in hertz."""

    name: str
    low: int
    high: int
    service: str = BROADCASTING
    raster: int = HF_RASTER
    #: The frequency the raster is counted from.
    anchor: int = 0
    source: str = ""
    mark: str = ""

    def __post_init__(self) -> None:
        where = f"band {self.name!r}"
        if not _NAME.fullmatch(self.name):
            raise UsageError(
                f"{where} is no usable name", remedy="use lower-case letters, digits and hyphens"
            )
        if not 0 < self.low < self.high:
            raise UsageError(
                f"{where} goes from {format_frequency(self.low)} to {format_frequency(self.high)}",
                remedy="write the lower edge first, both above 0",
            )
        if self.raster <= 0:
            raise UsageError(f"{where} has a raster of {self.raster} Hz", remedy="write 5k or 9k")
        if self.service not in SERVICES:
            raise UsageError(
                f"{where}: {self.service!r} is no service known here",
                remedy=f"write one of {', '.join(SERVICES)}",
            )

    def holds(self, dial: int) -> bool:
        """Whether `dial` lies in the band, edges included."""
        return self.low <= dial <= self.high

    def __str__(self) -> str:
        return f"{self.name} ({format_frequency(self.low)} to {format_frequency(self.high)})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """A band edge was crossed: the band left and the band entered, None for no band."""

    left: Band | None
    entered: Band | None


def bands_for(region: int, own: Iterable[Band] = ()) -> tuple[Band, ...]:
    """The listener's own bands, then those of the ITU region's table, each lowest first.

    Raises UsageError for an unknown region and for own bands that overlap or share a name.
    """
    if region not in REGIONS:
        raise UsageError(
            f"there is no ITU region {region}",
            remedy="1 is Europe, Africa and northern Asia, 2 the Americas, 3 the rest of Asia "
            "and Oceania",
        )
    mine = sorted(own, key=lambda band: band.low)
    names = [band.name for band in mine]
    for name in names:
        if names.count(name) > 1:
            raise UsageError(f"band {name!r} is given twice", remedy="rename or remove one")
    _refuse_overlap(mine)
    table = [
        Band(
            name=row.name,
            low=row.low,
            high=row.high,
            service=row.service,
            raster=row.raster,
            source=row.source,
            mark=row.mark,
        )
        for row in ROWS
        if str(region) in row.regions and row.name not in names
    ]
    return (*mine, *sorted(table, key=lambda band: band.low))


def band_named(name: str, bands: Sequence[Band]) -> Band:
    """The band of that name; UsageError with the nearest names otherwise."""
    for band in bands:
        if band.name == name:
            return band
    known = [band.name for band in bands]
    near = difflib.get_close_matches(name.lower(), known, n=3)
    remedy = f"did you mean {' or '.join(near)}?" if near else f"known are {', '.join(known)}"
    raise UsageError(f"there is no band {name!r}", remedy=remedy)


def band_at(dial: int, bands: Sequence[Band]) -> Band | None:
    """The band that holds `dial`, None between bands; the first listed where several do.

    An upper edge belongs to the band that begins there, if one does.
    """
    for band in bands:
        if band.low <= dial < band.high:
            return band
        if dial == band.high:
            return next((other for other in bands if other.low == dial), band)
    return None


def crossed(before: int | None, after: int, bands: Sequence[Band]) -> Crossing | None:
    """What a move of the dial left and entered; None when it stayed in the same place.

    `before` is None when the dial was not known yet.
    """
    left = None if before is None else band_at(before, bands)
    entered = band_at(after, bands)
    return None if left == entered else Crossing(left=left, entered=entered)


def neighbour(place: Band | int, direction: int, bands: Sequence[Band]) -> Band | None:
    """The next band up (`direction` +1) or down (-1), None past the last.

    From a band, the next of the same service: above 31m comes 25m, not an amateur band between
    them.
    From a dial frequency (hertz), the next of `bands` that lies wholly on that side.
    """
    if isinstance(place, Band):
        bands = [band for band in bands if band.service == place.service and band != place]
        low, high = place.low, place.high
    else:
        low, high = place - 1, place + 1
    if direction > 0:
        return min((b for b in bands if b.low >= high), key=lambda b: b.low, default=None)
    return max((b for b in bands if b.high <= low), key=lambda b: b.high, default=None)


def chain(bands: Iterable[Band], raster: int | None = None) -> tuple[Band, ...]:
    """The bands laid edge to edge, lowest first, so that a sweep can go on from one to the next.

    The border is midway between neighbours, rounded down to the raster (hertz; None takes the
    lower band's own), but never inside the lower band, which would lose a piece of itself.
    The outermost edges stay.
    Raises UsageError where two bands overlap.
    """
    links = sorted(bands, key=lambda band: band.low)
    _refuse_overlap(links)
    for index in range(1, len(links)):
        lower, upper = links[index - 1], links[index]
        step = raster or lower.raster
        midway = (lower.high + upper.low) // 2
        border = max(lower.high, midway - (midway - lower.anchor) % step)
        links[index - 1] = replace(lower, high=border)
        links[index] = replace(upper, low=border)
    return tuple(links)


def _refuse_overlap(ascending: Sequence[Band]) -> None:
    for lower, upper in itertools.pairwise(ascending):
        if upper.low < lower.high:
            raise UsageError(
                f"bands {lower} and {upper} overlap",
                remedy=f"end {lower.name} at {format_frequency(upper.low)} or below, "
                f"or begin {upper.name} at {format_frequency(lower.high)} or above",
            )
