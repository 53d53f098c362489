"""What is said of a night, as values. What cannot be said has its reason in the place of a figure.

Times are Unix seconds, frequencies hertz, levels decibels in `unit`, durations seconds.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from vfod.radio.sun import SunEvent
from vfod.report.setting import Setting
from vfod.store.sums import Cell, ChannelNight, Spell
from vfod.survey.occupancy import Occupancy
from vfod.survey.steady import Evidence


@dataclass(frozen=True, kw_only=True, slots=True)
class Gap:
    """A stretch of a window without visits; `reasons` with the seconds each of them lasted."""

    begins: float
    ends: float
    reasons: tuple[tuple[str, float], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Kept:
    """A window as planned and as kept.

    `planned` is False for one that the journal has and the configuration does not (any more).
    `first` and `last` are the times of its first and last visit; `swept` is how long the sweep was
    at work in it, of `due` seconds that were due so far.
    """

    window: str
    sweep: str
    opens: float
    closes: float
    planned: bool
    opened: float | None
    visits: int
    first: float | None
    last: float | None
    due: float
    swept: float
    gaps: tuple[Gap, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Passes:
    """The complete passes of a sweep, and how long they took."""

    sweep: str
    count: int
    mean: float
    longest: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Revisit:
    """The time until the same channel was visited again, as it really was."""

    median: float
    most: float  # 95 of 100 are at most this
    longest: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Channel:
    """A channel: its sums, how much of the time it was active, and who was expected there."""

    sums: ChannelNight
    occupancy: Occupancy
    names: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Steady:
    """A channel that never paused: what speaks for leaving it out, and who was expected there."""

    evidence: Evidence
    names: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Skipping:
    """The line that leaves the steady ones out of a sweep, with what it leaves out already."""

    sweep: str
    line: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Hourly:
    """Occupancy from each of `edges` to the next, of bands and of channels once active."""

    edges: tuple[float, ...]
    bands: Mapping[str, tuple[Occupancy, ...]]
    channels: Mapping[int, tuple[Occupancy, ...]]


@dataclass(frozen=True, kw_only=True, slots=True)
class OpenBand:
    """A stretch in which a band was open, by the first and last active visit.

    `from_the_start` and `to_the_end` say that the band was so when the sweep came and went: when
    it truly opened or closed is not known then.
    """

    spell: Spell
    from_the_start: bool
    to_the_end: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Move:
    """The dial moved; several turns of the knob in a row are one move."""

    begins: float
    ends: float
    who: str
    to: int | None
    times: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Note:
    """A note of the listener's."""

    at: float
    text: str
    sinpo: str | None
    heard: str | None
    dial: int | None
    band: str | None
    level: float | None
    unit: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Expected:
    """A broadcast of the listener's list, and what its channel had in that time.

    `judged` visits could tell, `active` of them found something; none judged means that nobody
    looked there then.
    """

    name: str
    frequency: int
    begins: float
    ends: float
    judged: int
    active: int
    strongest: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Unknown:
    """Activity on a channel at times when nobody of the list was expected there."""

    dial: int
    active: int
    first: float
    last: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Stations:
    """The list held against the night."""

    listed: int
    heard: tuple[Expected, ...]
    not_heard: tuple[Expected, ...]
    not_looked: tuple[Expected, ...]
    unknown: tuple[Unknown, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Night:
    """A night of one VFO.

    `picture` is the stretch that the picture shows, `cells` its contents in columns of `column`
    seconds. `remarks` are sentences about what this report cannot say. `stations` is None without
    a list, `fresh` (new channels) where no earlier night has looked, `earlier` how many have.
    """

    setting: Setting
    date: date
    begins: float
    ends: float
    change: tuple[float, float] | None
    sun: Mapping[SunEvent, float]
    visits: int
    judged: int
    first: float | None
    last: float | None
    unit: str
    windows: tuple[Kept, ...]
    passes: tuple[Passes, ...]
    revisit: Revisit | None
    channels: tuple[Channel, ...]
    band_edges: Mapping[str, tuple[int, int]]
    open_bands: tuple[OpenBand, ...]
    band_occupancy: Mapping[str, Occupancy]
    looked_bands: tuple[str, ...]
    strongest: tuple[Channel, ...]
    fresh: tuple[Channel, ...] | None
    earlier: int
    hourly: Hourly
    steady: tuple[Steady, ...]
    skipping: tuple[Skipping, ...]
    stations: Stations | None
    moves: tuple[Move, ...]
    notes: tuple[Note, ...]
    picture: tuple[float, float]
    cells: tuple[Cell, ...]
    column: float
    remarks: tuple[str, ...]
