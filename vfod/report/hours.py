"""Occupancy hour by hour, in words: of bands, and of the channels that were found active."""

from collections.abc import Iterator, Sequence

from vfod.report.facts import Night
from vfod.report.setting import clock_text
from vfod.report.wording import Row, Section, kilohertz, share
from vfod.survey.occupancy import Occupancy

_HEAD = ("from", ">occupied", ">all such nights", ">revisit time", ">visits", ">changes")


def sections(night: Night) -> Iterator[Section]:
    """Two tables for the page; the terminal has no room for them."""
    bands = [
        (name, *row) for name, parts in night.hourly.bands.items() for row in _rows(night, parts)
    ]
    channels = [
        (kilohertz(dial), *row)
        for dial, parts in night.hourly.channels.items()
        for row in _rows(night, parts)
    ]
    if bands:
        yield Section(
            key="band-hours",
            title="Bands by the hour",
            says=(
                "How slowly a band comes and goes is taken from the whole night; an hour is a "
                "sample of such hours with at least ten changes of its channels.",
            ),
            head=("band", *_HEAD),
            rows=tuple(bands),
            brief=0,
        )
    if channels:
        yield Section(
            key="channel-hours",
            title="Active channels by the hour",
            head=(">kHz", *_HEAD),
            rows=tuple(channels),
            brief=0,
        )


def _rows(night: Night, parts: Sequence[Occupancy]) -> Iterator[Row]:
    for begins, it in zip(night.hourly.edges, parts, strict=False):
        if it.judged:
            yield (
                clock_text(begins, night.setting.zone),
                share(it.tonight),
                share(it.long_run),
                "" if it.revisit is None else f"{it.revisit:.0f} s",
                str(it.judged),
                str(it.changes),
            )
