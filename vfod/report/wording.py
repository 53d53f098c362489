"""How a report words things: sections with a table each, and single figures as text.

Every text that came from outside (names, notes, devices) is still as it came; who prints it,
escapes it in the way of the place.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from vfod.survey.occupancy import Share, Unsaid
from vfod.units import format_frequency

Row = tuple[str, ...]

#: An interval of fewer percent is told in tenths.
_NARROW = 0.02


@dataclass(frozen=True, kw_only=True, slots=True)
class Section:
    """A heading, sentences, and a table; `head` names its columns, `>` before one that is a number.

    `key` is a plain word; `brief` is how many rows a short summary shows.
    """

    key: str
    title: str
    says: tuple[str, ...] = ()
    head: Row = ()
    rows: tuple[Row, ...] = ()
    brief: int = 8


def kilohertz(hertz: int) -> str:
    """`9420` or `9422.5`, for a column that is headed kHz."""
    return format_frequency(hertz).removesuffix(" kHz")


def level(value: float | None) -> str:
    """`−61.2`, with a true minus, for a column headed by the unit; empty where there is none."""
    return "" if value is None else f"{value:.1f}".replace("-", "\u2212")


def share(figure: Share | Unsaid) -> str:
    """`42 % (38 to 47)`, or a dash where it cannot be said."""
    if isinstance(figure, Unsaid):
        return "\u2013"
    fine = figure.high - figure.low < _NARROW
    value, low, high = (percent(one, fine=fine) for one in (figure.value, figure.low, figure.high))
    return f"{value} % ({low} to {high})"


def percent(value: float, *, fine: bool = False) -> str:
    """Whole percent, or tenths; but never 0 or 100 of what is neither."""
    if value in (0.0, 1.0):
        return f"{value * 100:.0f}"
    if fine or not 0.005 <= value < 0.995:
        return "<0.1" if value < 0.0005 else f"{min(value * 100, 99.9):.1f}"
    return f"{value * 100:.0f}"


def brief(rows: Sequence[Row], most: int) -> tuple[Sequence[Row], int]:
    """The first rows, and how many were left out."""
    return rows[:most], max(0, len(rows) - most)
