"""Channels: the places on a raster between two edges, and the ones to leave out.

The raster is counted from its anchor, 0 Hz unless a band says otherwise; edges that lie on it are
channels, and an edge that two bands share is one channel.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from vfod.errors import UsageError
from vfod.radio.bands import Band, band_at
from vfod.units import format_frequency

#: What not to visit: a single dial frequency, or a stretch with both ends, hertz.
Skip = int | tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One place of a sweep: `dial` in hertz, `band` the name of the band it is swept as."""

    dial: int
    band: str | None


def on_raster(low: int, high: int, raster: int, anchor: int = 0) -> range:
    """The places on the raster from `low` to `high`, both included, all in hertz."""
    return range(low + (anchor - low) % raster, high + 1, raster)


def skipped(dial: int, skip: Iterable[Skip]) -> bool:
    """Whether the skip list names `dial`."""
    return any(
        dial == item if isinstance(item, int) else item[0] <= dial <= item[1] for item in skip
    )


def channels_in(
    bands: Sequence[Band], raster: int | None = None, skip: Sequence[Skip] = ()
) -> tuple[Channel, ...]:
    """The channels of the bands, lowest first, each once.

    `raster` in hertz goes before each band's own.
    Raises UsageError for a band without a channel on that raster; one whose channels are all
    skipped is the listener's own wish.
    """
    dials: set[int] = set()
    for band in bands:
        places = on_raster(band.low, band.high, raster or band.raster, band.anchor)
        if not places:
            raise UsageError(
                f"band {band} has no channel on a raster of "
                f"{format_frequency(raster or band.raster)}",
                remedy="give the sweep a smaller raster",
            )
        dials.update(places)
    return _kept(dials, bands, skip)


def channels_at(
    dials: Iterable[int], bands: Sequence[Band] = (), skip: Sequence[Skip] = ()
) -> tuple[Channel, ...]:
    """The given dial frequencies as channels, lowest first, each once; `bands` name them."""
    return _kept(set(dials), bands, skip)


def _kept(dials: set[int], bands: Sequence[Band], skip: Sequence[Skip]) -> tuple[Channel, ...]:
    found = []
    for dial in sorted(dials):
        if not skipped(dial, skip):
            band = band_at(dial, bands)
            found.append(Channel(dial=dial, band=band.name if band else None))
    return tuple(found)
