"""Adds up scored nights: how often visits are right, intervals hold, and how wide they are."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from statistics import fmean, median

from tests.score import first
from tests.score.nights import LOOK, Band, Channel
from vfod.survey.occupancy import Occupancy, Share

#: Half of the distance at which the truth is looked at, seconds: it is not known better.
_GRAIN = LOOK / 2


@dataclass
class Line:
    """What one class came to, through one receiver or all of them."""

    nights: int = 0
    truly_active: int = 0
    detected: int = 0
    truly_quiet: int = 0
    alarms: int = 0
    held: list[bool] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)
    #: Widths over those that theory allows.
    beyond: list[float] = field(default_factory=list)
    bias: list[float] = field(default_factory=list)
    first_held: list[bool] = field(default_factory=list)
    always_held: list[bool] = field(default_factory=list)
    always_bias: list[float] = field(default_factory=list)
    always_first: list[bool] = field(default_factory=list)

    def add(self, channel: Channel) -> None:
        """One channel-night more."""
        self.nights += 1
        for truly, active in channel.visits:
            if active is None:
                continue
            self.truly_active += truly
            self.detected += truly and active
            self.truly_quiet += not truly
            self.alarms += active and not truly
        grain = _GRAIN / channel.length
        tonight, always, truth = channel.it.tonight, channel.it.long_run, channel.truth
        if isinstance(tonight, Share):
            assert channel.it.revisit is not None
            self.held.append(tonight.low - grain <= truth <= tonight.high + grain)
            self.widths.append((tonight.high - tonight.low) * channel.length / channel.it.revisit)
            if channel.limit is not None:
                self.beyond.append(self.widths[-1] / channel.limit)
            self.bias.append(tonight.value - truth)
            low, high = first.tonight(states(channel))
            self.first_held.append(low - grain <= truth <= high + grain)
        if isinstance(always, Share) and channel.share is not None:
            self.always_held.append(always.low <= channel.share <= always.high)
            self.always_bias.append(always.value - channel.share)
            low, high = first.long_run(states(channel))
            self.always_first.append(low <= channel.share <= high)

    @property
    def false_alarm(self) -> float | None:
        """Per visit while nothing was there."""
        return self.alarms / self.truly_quiet if self.truly_quiet else None

    @property
    def detection(self) -> float | None:
        """Per visit while something was there."""
        return self.detected / self.truly_active if self.truly_active else None


def states(channel: Channel) -> list[bool]:
    """What the visits were taken for, those that could be told."""
    return [active for _, active in channel.visits if active is not None]


def tally(channels: Iterable[Channel], key: Callable[[Channel], str]) -> dict[str, Line]:
    """The lines of a table."""
    lines: dict[str, Line] = {}
    for channel in channels:
        lines.setdefault(key(channel), Line()).add(channel)
    return lines


_HEAD = (
    "class            nights  detection  false al.  (a) holds  width  /theory  bias %  first"
    "   (b) holds  of    bias %  first"
)


def table(title: str, lines: dict[str, Line]) -> str:
    """For people; widths in revisit times over the night, shares in per cent."""
    rows = [title, _HEAD]
    for name, line in sorted(lines.items()):
        rows.append(
            f"{name:16} {line.nights:6}  {_number(line.detection, 9)}  "
            f"{_number(line.false_alarm, 9)}  {_part(line.held):>9}  "
            f"{median(line.widths):5.1f}  {_ratio(line.beyond):>7}  {_bias(line.bias)}  "
            f"{_part(line.first_held):>5}   {_part(line.always_held):>9}  "
            f"{len(line.always_held):4}  {_bias(line.always_bias)}  {_part(line.always_first):>5}"
        )
    return "\n".join(rows)


@dataclass
class BandLine:
    """What bands came to, of the night or of its hours."""

    held: list[bool] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)
    always_held: list[bool] = field(default_factory=list)
    always_widths: list[float] = field(default_factory=list)
    always_bias: list[float] = field(default_factory=list)
    unsaid: dict[str, int] = field(default_factory=dict)

    def add(self, band: Band, it: Occupancy, *, hour: bool) -> None:
        """One band-night, or an hour of it, whose own true share is not looked at."""
        grain = _GRAIN / band.length
        if not hour and isinstance(it.tonight, Share):
            low, high = it.tonight.low - grain, it.tonight.high + grain
            self.held.append(low <= band.truth <= high)
            self.widths.append(it.tonight.high - it.tonight.low)
        if isinstance(it.long_run, Share):
            self.always_held.append(it.long_run.low <= band.share <= it.long_run.high)
            self.always_widths.append(it.long_run.high - it.long_run.low)
            self.always_bias.append(it.long_run.value - band.share)
        else:
            why = it.long_run.reason
            self.unsaid[why] = self.unsaid.get(why, 0) + 1


def tally_bands(bands: Iterable[Band]) -> dict[str, BandLine]:
    """By level source, all together, and the hours of all."""
    lines: dict[str, BandLine] = {}
    for band in bands:
        for name in (band.kind, "all"):
            lines.setdefault(name, BandLine()).add(band, band.it, hour=False)
        for it in band.hours:
            lines.setdefault("hours of all", BandLine()).add(band, it, hour=True)
    return lines


def table_of_bands(lines: dict[str, BandLine]) -> str:
    """For people; widths and bias in per cent."""
    rows = ["bands              (a) holds  width   (b) holds    of  width  bias %  not said"]
    for name, line in sorted(lines.items()):
        unsaid = ", ".join(f"{count}: {why}" for why, count in line.unsaid.items())
        rows.append(
            f"{name:16}   {_part(line.held):>9}  {_percent(line.widths)}   "
            f"{_part(line.always_held):>9}  {len(line.always_held):4}  "
            f"{_percent(line.always_widths)}  {_bias(line.always_bias)}  {unsaid}"
        )
    return "\n".join(rows)


def _percent(widths: Sequence[float]) -> str:
    return f"{100 * median(widths):5.1f}" if widths else "    -"


def _ratio(values: Sequence[float]) -> str:
    return f"{median(values):.2f}" if values else "-"


def _number(value: float | None, width: int) -> str:
    return f"{'-':>{width}}" if value is None else f"{value:{width}.4f}"


def _part(held: Sequence[bool]) -> str:
    return f"{100 * sum(held) / len(held):.1f}" if held else "-"


def _bias(values: Sequence[float]) -> str:
    return f"{100 * fmean(values):+6.2f}" if values else "     -"
