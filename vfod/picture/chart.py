"""What a picture shows: panels of cells over two axes, in its own units and without a pixel.

Places on an axis are counted in columns and rows: 2.5 is the middle of the third column. Row 0 is
at the bottom. A cell that is not there was not looked at, and stays visibly empty.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from vfod.picture.scale import Scale


class Kind(StrEnum):
    """What a rule across a panel stands for."""

    BAND = "band"
    SUN = "sun"
    CLOCK = "clock"


@dataclass(frozen=True, kw_only=True, slots=True)
class Tick:
    """A mark on an axis. `rank` decides which marks stay where there is no room for all."""

    at: float
    text: str
    rank: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Rule:
    """A line across a panel at a column (or row), with a word to it."""

    at: float
    text: str
    kind: Kind


@dataclass(frozen=True, kw_only=True, slots=True)
class Panel:
    """Cells by row and column, with what stands around them."""

    columns: int
    rows: int
    cells: Mapping[tuple[int, int], float]
    y_ticks: tuple[Tick, ...]
    y_rules: tuple[Rule, ...] = ()
    #: Stands at the right of a stretch of rows: from, to, word.
    y_names: tuple[tuple[float, float, str], ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Chart:
    """Panels one below the other, the last one at the bottom, over one common axis of columns.

    `text` is the alternative for those who do not see it. Of the ticks those are shown whose rank
    is a multiple of the smallest of `x_steps` (`y_steps`) at which they do not touch.
    """

    text: str
    panels: tuple[Panel, ...]
    scale: Scale
    x_title: str
    y_title: str
    x_ticks: tuple[Tick, ...]
    x_rules: tuple[Rule, ...] = ()
    x_steps: tuple[int, ...] = (1, 2, 3, 6, 12)
    y_steps: tuple[int, ...] = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
    empty: str = "not visited"
    #: What a dashed line across a panel is, which has no word of its own.
    edge: str = "band edge"
    legend: str = field(default="")
