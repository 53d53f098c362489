"""Where everything of a chart comes to stand on a sheet of some width.

A sheet is a list of marks in pixels, which `svg` and `png` put down; this is the only file that
knows how wide a letter is and how much room an axis needs.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from vfod.picture.chart import Chart, Kind, Panel, Tick
from vfod.picture.scale import STEPS

#: Size of letters, and their mean width in a sans-serif face (digits are a bit narrower), pixels.
LETTER = 12
_WIDE = 6.6
#: Room between things that must not touch.
_GAP = 8
#: Height of a row of cells at least and at most, and of a panel whose rows are not that small.
_ROW = (2.0, 14.0)
_PANEL = 340.0
#: Heights of the pieces around the panels.
_LINE = 18
_BETWEEN = 14
_BAR = 12


@dataclass(frozen=True, slots=True)
class Text:
    """Words at a base line; `anchor` is start, middle or end."""

    x: float
    y: float
    text: str
    anchor: str = "start"


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line of a kind: axis, halo, or a rule's."""

    x1: float
    y1: float
    x2: float
    y2: float
    kind: str


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle: `empty` is hatched, `frame` only an outline."""

    x: float
    y: float
    width: float
    height: float
    kind: str


@dataclass(frozen=True, slots=True)
class Pixels:
    """Cells as steps of the scale, top row first; None is left clear. `name` tells them apart."""

    x: float
    y: float
    width: float
    height: float
    name: str
    steps: tuple[tuple[int | None, ...], ...]


Mark = Text | Line | Box | Pixels


@dataclass(frozen=True, slots=True)
class Sheet:
    """Marks in the order in which they are put down."""

    width: float
    height: float
    marks: tuple[Mark, ...]


def lay_out(chart: Chart, width: float) -> Sheet:
    """A chart on a sheet of that width, as high as it needs."""
    return _Layout(chart, width).sheet()


def letters(text: str) -> float:
    """How wide a text is, about."""
    return len(text) * _WIDE


class _Layout:
    def __init__(self, chart: Chart, width: float) -> None:
        self._chart = chart
        self._width = width
        self._marks: list[Mark] = []
        widest = max((letters(t.text) for p in chart.panels for t in p.y_ticks), default=0)
        names = [letters(name) for p in chart.panels for _, _, name in p.y_names]
        self._left = widest + 2 * _GAP
        # On a phone the picture is worth more than a long name.
        room = min(max(names, default=0), width / 5)
        self._right = width - (room + 2 * _GAP if names else _GAP)
        self._columns = chart.panels[0].columns if chart.panels else 1

    def sheet(self) -> Sheet:
        y = self._head()
        top = y
        for index, panel in enumerate(self._chart.panels):
            if index:
                y += _BETWEEN
            y = self._panel(panel, y, f"cells-{index}")
        self._rules(top, y)
        y = self._feet(y)
        y = self._legend(y)
        return Sheet(self._width, y, tuple(self._marks))

    def _x(self, column: float) -> float:
        return self._left + column / self._columns * (self._right - self._left)

    def _head(self) -> float:
        """The title of the upright axis, and the words of the rules in as many lines as needed."""
        self._marks.append(Text(0, LETTER, self._chart.y_title))
        lines: list[float] = [_GAP + letters(self._chart.y_title)]
        for rule in sorted(self._chart.x_rules, key=lambda rule: rule.at):
            half = letters(rule.text) / 2
            middle = min(max(self._x(rule.at), half), self._width - half)
            row = next((n for n, end in enumerate(lines) if middle - half > end), len(lines))
            lines[row:] = [middle + half + _GAP, *lines[row + 1 :]]
            self._marks.append(Text(middle, LETTER + row * _LINE, rule.text, "middle"))
        return len(lines) * _LINE

    def _panel(self, panel: Panel, y: float, name: str) -> float:
        height = min(_ROW[1] * panel.rows, max(_PANEL, _ROW[0] * panel.rows))
        x, width = self._left, self._right - self._left
        self._marks.append(Box(x, y, width, height, "empty"))
        steps = tuple(
            tuple(
                None if value is None else self._chart.scale.step(value)
                for value in (panel.cells.get((row, column)) for column in range(panel.columns))
            )
            for row in reversed(range(panel.rows))
        )
        self._marks.append(Pixels(x, y, width, height, name, steps))

        def at(place: float) -> float:
            return y + height * (1 - place / panel.rows)

        for rule in panel.y_rules:
            self._rule(x, at(rule.at), x + width, at(rule.at), rule.kind)
        self._marks.append(Box(x, y, width, height, "frame"))
        for tick in _thinned(
            panel.y_ticks, self._chart.y_steps, height / panel.rows, lambda _: LETTER + 2.0
        ):
            self._marks.append(Line(x - 4, at(tick.at), x, at(tick.at), "axis"))
            self._marks.append(Text(x - _GAP, at(tick.at) + LETTER / 3, tick.text, "end"))
        taken = y - LETTER
        for low, high, word in sorted(panel.y_names, reverse=True):
            base = max(at((low + high) / 2) + LETTER / 3, taken + LETTER + 1)
            taken = base
            fits = int((self._width - self._right - _GAP) / _WIDE)
            shown = word if len(word) <= fits else f"{word[: max(fits - 1, 1)]}…"
            self._marks.append(Text(self._right + _GAP, base, shown))
        return y + height

    def _rules(self, top: float, bottom: float) -> None:
        for rule in self._chart.x_rules:
            self._rule(self._x(rule.at), top, self._x(rule.at), bottom, rule.kind)

    def _rule(self, x1: float, y1: float, x2: float, y2: float, kind: Kind) -> None:
        # Seen on dark cells and on light ones.
        self._marks.append(Line(x1, y1, x2, y2, "halo"))
        self._marks.append(Line(x1, y1, x2, y2, str(kind)))

    def _feet(self, y: float) -> float:
        pace = (self._right - self._left) / self._columns
        ticks = _thinned(
            self._chart.x_ticks, self._chart.x_steps, pace, lambda t: letters(t.text) + _GAP
        )
        for tick in ticks:
            x = self._x(tick.at)
            self._marks.append(Line(x, y, x, y + 4, "axis"))
            half = letters(tick.text) / 2
            middle = min(max(x, half), self._width - half)
            self._marks.append(Text(middle, y + 6 + LETTER, tick.text, "middle"))
        y += 6 + _LINE
        middle = (self._left + self._right) / 2
        self._marks.append(Text(middle, y + LETTER, self._chart.x_title, "middle"))
        return y + _LINE

    def _legend(self, y: float) -> float:
        scale = self._chart.scale
        x, width = self._left, min(240.0, (self._right - self._left) * 0.62)
        y += _GAP
        if self._chart.legend:
            self._marks.append(Text(x, y + LETTER, self._chart.legend))
            y += _LINE
        bar = (tuple(range(STEPS)),)
        self._marks.append(Pixels(x, y, width, _BAR, "scale", bar))
        self._marks.append(Box(x, y, width, _BAR, "frame"))
        end = -1e9
        for value in scale.ticks:
            at = x + width * (value - scale.low) / (scale.high - scale.low)
            word = f"{value:g}".replace("-", "\u2212")
            half = letters(word) / 2
            if at - half < end:
                continue
            end = at + half + _GAP
            self._marks.append(Line(at, y + _BAR, at, y + _BAR + 3, "axis"))
            self._marks.append(Text(at, y + _BAR + 4 + LETTER, word, "middle"))
        self._marks.append(Text(x + width + _GAP, y + LETTER - 1, scale.unit))
        y += _BAR + 8 + LETTER + _GAP
        self._marks.append(Box(x, y, 22, _BAR, "empty"))
        self._marks.append(Box(x, y, 22, _BAR, "frame"))
        self._marks.append(Text(x + 22 + _GAP, y + LETTER - 1, self._chart.empty))
        if any(rule.kind is Kind.BAND for panel in self._chart.panels for rule in panel.y_rules):
            x += 22 + _GAP + letters(self._chart.empty) + 2 * _GAP
            self._rule(x, y + _BAR / 2, x + 22, y + _BAR / 2, Kind.BAND)
            self._marks.append(Text(x + 22 + _GAP, y + LETTER - 1, self._chart.edge))
        return y + _BAR + _GAP


def _thinned(
    ticks: Sequence[Tick], steps: Sequence[int], pace: float, room: Callable[[Tick], float]
) -> list[Tick]:
    """Those ticks that do not touch; `pace` is the pixels of a column or a row."""
    for step in steps:
        shown = sorted((t for t in ticks if t.rank % step == 0), key=lambda tick: tick.at)
        if all((b.at - a.at) * pace >= (room(a) + room(b)) / 2 for a, b in pairwise(shown)):
            return shown
    return []
