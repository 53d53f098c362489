"""A sweep described, and its plan: every visit known, counted and added up before anything moves.

A `Sweep` is what the listener wrote.
`plan_sweep` lays it over a receiver and gives a `SweepPlan`, which a runner walks and a command
prints.
A visit is tune, settle, dwell; a pass is one time through all channels; every pass is whole, also
there and back, where it turns round at the end and so spares the long way home.
"""

import enum
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count, pairwise
from math import floor, isfinite

from vfod.errors import OutOfRangeError, UsageError
from vfod.plan.channels import Channel, Skip, channels_at, channels_in
from vfod.plan.precision import relative_error
from vfod.radio.bands import Band, chain
from vfod.radio.receiver import Range, Receiver
from vfod.units import format_duration, format_frequency

#: A change of range switches a filter; it takes the receiver that much longer to calm down.
RANGE_CHANGE_FACTOR = 2

#: A window of a whole number of passes has that many, although 6.3 / 2.1 is a little less than 3.
_ROUNDING = 1e-9


class Order(enum.StrEnum):
    """In which order a pass visits its channels.

    All three go along the band, so that a range is entered once in a pass; there and back, every
    second pass goes down. Stretches that share a band filter come one after another, even where
    others lie between them, so that its relay moves as little as can be.
    """

    UP = "up"
    DOWN = "down"
    THERE_AND_BACK = "there-and-back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """Staying where something is: seconds, and how often before the channel gets a rest."""

    limit: float = 30.0
    quiet: float = 3.0
    rest: float = 600.0
    most: int = 3

    def __post_init__(self) -> None:
        if not all(isfinite(t) and t >= 0 for t in (self.limit, self.quiet, self.rest)):
            raise UsageError("a hold has times below 0 or without end", remedy="write 30s")
        if self.most < 1:
            raise UsageError(
                f"a hold that may come {self.most} times never comes",
                remedy="write 1 or more, or switch the hold off",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """What a listener asks for: either `bands` or `channels` (dial frequencies in hertz).

    `joined` lays neighbouring bands edge to edge and sweeps what is between them too.
    Durations are seconds, `margin` and `margin_stay` decibels above the floor; None means the
    band's own raster, the receiver's own settle time, no hold.
    On the `known_quiet` channels nothing ever is; at `own_signals` the receiver hears itself.
    `own_levels` are those measured without the antenna: dial frequency and decibels.
    """

    name: str
    vfo: str
    bands: tuple[Band, ...] = ()
    channels: tuple[int, ...] = ()
    joined: bool = False
    raster: int | None = None
    dwell: float = 2.0
    settle: float | None = None
    readings: int = 8
    order: Order = Order.UP
    skip: tuple[Skip, ...] = ()
    known_quiet: tuple[int, ...] = ()
    own_signals: tuple[Skip, ...] = ()
    own_levels: tuple[tuple[int, float], ...] = ()
    margin: float = 6.0
    margin_stay: float = 3.0
    hold: Hold | None = Hold()

    def __post_init__(self) -> None:
        if bool(self.bands) == bool(self.channels):
            raise self._wrong("needs either bands or channels", "give one of the two")
        if self.joined and not self.bands:
            raise self._wrong("has channels, which cannot be joined", "leave joined out")
        if self.raster is not None and self.raster <= 0:
            raise self._wrong(f"has a raster of {self.raster} Hz", "write 5k or 9k")
        if not (isfinite(self.dwell) and self.dwell > 0):
            raise self._wrong("has no dwell", "write 2s")
        if self.settle is not None and not (isfinite(self.settle) and self.settle >= 0):
            raise self._wrong(f"has a settle of {self.settle} s", "write 0.3s")
        if self.readings < 1:
            raise self._wrong(f"takes {self.readings} readings", "take 1 or more in a dwell")
        if not 0 <= self.margin_stay <= self.margin:
            raise self._wrong(
                f"becomes active at {self.margin} dB and stays so at {self.margin_stay} dB",
                "let the margin to stay be the smaller, and neither below 0",
            )
        for item in self.skip:
            if isinstance(item, tuple) and item[0] > item[1]:
                raise self._wrong(
                    f"skips from {format_frequency(item[0])} to {format_frequency(item[1])}",
                    "write the lower end first",
                )

    def _wrong(self, what: str, remedy: str) -> UsageError:
        return UsageError(f"sweep {self.name!r} {what}", remedy=remedy)


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One stay on one channel.

    `index` is the place in its pass of `sweep`, from 0, and `ends_pass` marks the last one.
    `settle` and `dwell` are seconds, and the settle is already the longer one where `range_change`
    says that the receiver's range is another than before, and the delay of the sound is in it where
    that is measured; `select` is the band filter to set, None for none.
    """

    pass_number: int
    index: int
    dial: int
    band: str | None
    settle: float
    dwell: float
    range_change: bool
    select: int | None
    sweep: Sweep
    ends_pass: bool

    @property
    def duration(self) -> float:
        """Seconds."""
        return self.settle + self.dwell


@dataclass(frozen=True, slots=True, kw_only=True)
class SweepPlan:
    """A sweep over a receiver; `channels` and `ranges` go together, as a pass upwards visits them.

    That is lowest first, but filter by filter: see Order.
    """

    sweep: Sweep
    channels: tuple[Channel, ...]
    ranges: tuple[Range, ...]

    def __len__(self) -> int:
        return len(self.channels)

    def __iter__(self) -> Iterator[Visit]:
        """One pass, as it is once the sweep runs."""
        return self._pass(0, 0, self._end_of_pass(-1))

    def walk(
        self, pass_number: int = 0, index: int = 0, coming_from: int | None = None
    ) -> Iterator[Visit]:
        """Visits without end, from that place on.

        `coming_from` is the dial frequency before the first visit; None, or one outside every
        range of the sweep, counts as a change of range.
        """
        before = self.range_of(coming_from)
        for number in count(pass_number):
            yield from self._pass(number, index, before)
            index, before = 0, self._end_of_pass(number)

    def resume_at(self, dial: int, pass_number: int = 0) -> tuple[int, int]:
        """Where to go on after leaving `dial` unvisited: (pass number, index).

        That channel, or the next one along the band where the dial is no channel of the sweep; past
        the last one, the next pass.
        """
        up = self._goes_up(pass_number)
        dials = (self.channels[place].dial for place in self._order(pass_number))
        ahead = [(d, i) for i, d in enumerate(dials) if (d >= dial if up else d <= dial)]
        if not ahead:
            return pass_number + 1, 0
        return pass_number, (min(ahead) if up else max(ahead))[1]

    def visit(self, pass_number: int, index: int, before: Range | None) -> Visit:
        """The visit at a place, where the dial comes from a range; None is any other range."""
        place = self._order(pass_number)[index]
        item, channel = self.ranges[place], self.channels[place]
        changed = item is not before
        settle = self.settle_in(item)
        return Visit(
            pass_number=pass_number,
            index=index,
            dial=channel.dial,
            band=channel.band,
            settle=item.delay + (RANGE_CHANGE_FACTOR * settle if changed else settle),
            dwell=self.sweep.dwell,
            range_change=changed,
            select=item.select,
            sweep=self.sweep,
            ends_pass=index == len(self) - 1,
        )

    def range_at(self, pass_number: int, index: int) -> Range:
        """The receiver's range at a place."""
        return self.ranges[self._order(pass_number)[index]]

    def range_of(self, dial: int | None) -> Range | None:
        """The range of the sweep that a dial frequency is in."""
        if dial is None:
            return None
        # From above, because the frequency where two ranges meet belongs to the upper one.
        return next((r for r in reversed(self.ranges) if r.low <= dial <= r.high), None)

    def settle_in(self, item: Range) -> float:
        """Seconds to settle in a range, without a change of range."""
        return item.settling if self.sweep.settle is None else self.sweep.settle

    @property
    def pass_duration(self) -> float:
        """Seconds for one pass, settle times after changes of range included.

        There and back, the mean of both ways, which double the settle of different ranges.
        """
        single = sum(self.settle_in(item) + item.delay + self.sweep.dwell for item in self.ranges)
        extra = sum(
            (RANGE_CHANGE_FACTOR - 1) * self.settle_in(after)
            for number in (0, 1)
            for before, after in self._steps(number)
            if before is not after
        )
        return single + extra / 2

    @property
    def revisit_time(self) -> float:
        """Seconds until the same channel comes again, on average over its visits."""
        return self.pass_duration

    @property
    def range_changes(self) -> int:
        """Changes of range in a pass."""
        return sum(before is not after for before, after in self._steps(0))

    @property
    def select_changes(self) -> int:
        """Switchings of the band filter in a pass; each costs the relay some of its life."""
        two_passes = [
            self.ranges[place].select for number in (-1, 0) for place in self._order(number)
        ]
        # A range that needs no filter leaves it where it is.
        selects = [select for select in two_passes if select is not None]
        start = len(selects) // 2
        return sum(before != after for before, after in pairwise(selects[max(start - 1, 0) :]))

    def visits_in(self, seconds: float) -> int:
        """Complete visits of each channel in a window of that length."""
        return floor(seconds / self.pass_duration + _ROUNDING)

    def relative_error(self, seconds: float, occupancy: float) -> float:
        """How well an occupancy can be known after a window: see vfod.plan.precision."""
        return relative_error(self.visits_in(seconds), occupancy)

    # --- order ----------------------------------------------------------------------------------

    def _goes_up(self, pass_number: int) -> bool:
        if self.sweep.order is Order.THERE_AND_BACK:
            return pass_number % 2 == 0
        return self.sweep.order is Order.UP

    def _order(self, pass_number: int) -> range:
        places = range(len(self.channels))
        return places if self._goes_up(pass_number) else places[::-1]

    def _end_of_pass(self, pass_number: int) -> Range:
        return self.ranges[self._order(pass_number)[-1]]

    def _pass(self, number: int, start: int, before: Range | None) -> Iterator[Visit]:
        for index in range(start, len(self)):
            yield self.visit(number, index, before)
            before = self.range_at(number, index)

    def _steps(self, number: int) -> Iterator[tuple[Range, Range]]:
        """The ranges before and after each visit of a pass, the way from the last pass included."""
        order = (self.ranges[place] for place in self._order(number))
        return pairwise([self._end_of_pass(number - 1), *order])


def plan_sweep(sweep: Sweep, receiver: Receiver, bands: tuple[Band, ...] = ()) -> SweepPlan:
    """The plan of a sweep; `bands` give explicit channels the names of their bands.

    Raises UsageError for a sweep without channels or with a dwell shorter than its settle, and
    OutOfRangeError for channels that the receiver cannot tune.
    """
    channels = channels_of(sweep, bands)
    if not channels:
        raise UsageError(
            f"sweep {sweep.name!r} has no channel left", remedy="shorten its skip list"
        )
    visited = _filter_by_filter([(c, _tunable(sweep, c, receiver)) for c in channels])
    ranges = tuple(item for _, item in visited)
    plan = SweepPlan(sweep=sweep, channels=tuple(c for c, _ in visited), ranges=ranges)
    settle = max(plan.settle_in(item) for item in set(ranges))
    if sweep.dwell < settle:
        raise UsageError(
            f"sweep {sweep.name!r} dwells {format_duration(sweep.dwell)}, "
            f"shorter than its settle of {format_duration(settle)}",
            remedy="dwell longer, or settle shorter",
        )
    return plan


def channels_of(sweep: Sweep, bands: tuple[Band, ...] = ()) -> tuple[Channel, ...]:
    """The channels of a sweep, lowest first; raises as `plan_sweep` does for a band without one."""
    if sweep.bands:
        swept = chain(sweep.bands, sweep.raster) if sweep.joined else sweep.bands
        return channels_in(swept, sweep.raster, sweep.skip)
    return channels_at(sweep.channels, bands, sweep.skip)


def _filter_by_filter(upwards: list[tuple[Channel, Range]]) -> list[tuple[Channel, Range]]:
    """The same, so that each band filter is switched on once; a range without one changes none."""
    known = [item.select for _, item in upwards if item.select is not None]
    current = known[0] if known else None
    filters = []
    for _, item in upwards:
        current = current if item.select is None else item.select
        filters.append(current)
    turn = {select: place for place, select in reversed([*enumerate(filters)])}
    order = sorted(range(len(upwards)), key=lambda place: (turn[filters[place]], place))
    return [upwards[place] for place in order]


def _tunable(sweep: Sweep, channel: Channel, receiver: Receiver) -> Range:
    try:
        receiver.oscillator_for(channel.dial)
    except OutOfRangeError as error:
        where = f" of {channel.band}" if channel.band else ""
        raise OutOfRangeError(
            f"sweep {sweep.name!r}, channel {format_frequency(channel.dial)}{where}: "
            f"{error.message}",
            remedy=f"{error.remedy}; leave the channel out or add it to the skip list",
        ) from error
    return receiver.range_at(channel.dial)
