"""A chart as SVG inside a page: wide for a desk and paper, narrow for a phone, light and dark.

The cells are images of a few kilobytes, one for a light page and one for a dark one, put down once
and used by both layouts; the page's style shows the right one. All else are lines and letters.
"""

import base64
import html
from collections.abc import Iterator
from dataclasses import dataclass

from vfod.picture.chart import Chart
from vfod.picture.png import palette_png
from vfod.picture.sheet import Box, Line, Pixels, Sheet, Text, lay_out

#: Widths of the two layouts: a column of text at a desk, and the smallest phone.
WIDE, NARROW = 920, 344

#: What the page's style needs beside its own; colours are the page's: --text, --faint, --page.
STYLE = """\
.chart{display:block;width:100%;height:auto}
.chart text{font:12px system-ui,sans-serif;fill:var(--text)}
.chart .frame{fill:none;stroke:var(--faint)}
.chart .axis{stroke:var(--faint)}
.chart .halo{stroke:var(--page);stroke-width:3;stroke-opacity:.75}
.chart .band{stroke:var(--text);stroke-width:1;stroke-dasharray:6 3}
.chart .sun{stroke:var(--text);stroke-width:1.5;stroke-dasharray:2 3}
.chart .clock{stroke:var(--text);stroke-width:1}
.hatch{stroke:var(--faint);stroke-width:1;stroke-opacity:.55}
.cells{image-rendering:pixelated}
.on-dark,.narrow{display:none}
.store{position:absolute;width:0;height:0}
@media (max-width:640px){.narrow{display:block}.wide{display:none}}
@media screen and (prefers-color-scheme:dark){.on-light{display:none}.on-dark{display:inline}}
@media print{.narrow{display:none}.wide{display:block}}
"""


@dataclass(frozen=True, slots=True)
class Drawing:
    """Pieces of a page: `store` once anywhere before the two others."""

    store: str
    wide: str
    narrow: str


def draw(chart: Chart, name: str) -> Drawing:
    """A chart as SVG; `name` tells the charts of a page apart and is a plain word."""
    wide, narrow = lay_out(chart, WIDE), lay_out(chart, NARROW)
    return Drawing(
        store=_store(wide, name),
        wide=_svg(wide, chart.text, name, "wide"),
        narrow=_svg(narrow, chart.text, name, "narrow"),
    )


def _store(sheet: Sheet, name: str) -> str:
    symbols = "".join(
        f'<symbol id="{name}-{mark.name}" viewBox="0 0 {len(mark.steps[0])} {len(mark.steps)}" '
        f'preserveAspectRatio="none">{_image(mark, dark=False)}{_image(mark, dark=True)}</symbol>'
        for mark in sheet.marks
        if isinstance(mark, Pixels)
    )
    hatch = (
        f'<pattern id="{name}-hatch" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<path class="hatch" d="M0 6 6 0"/></pattern>'
    )
    return f'<svg class="store" aria-hidden="true"><defs>{hatch}{symbols}</defs></svg>'


def _image(pixels: Pixels, *, dark: bool) -> str:
    data = base64.b64encode(palette_png(pixels.steps, dark=dark)).decode("ascii")
    return (
        f'<image class="cells on-{"dark" if dark else "light"}" preserveAspectRatio="none" '
        f'width="{len(pixels.steps[0])}" height="{len(pixels.steps)}" '
        f'href="data:image/png;base64,{data}"/>'
    )


def _svg(sheet: Sheet, text: str, name: str, layout: str) -> str:
    marks = "".join(_marks(sheet, name))
    return (
        f'<svg class="chart {layout}" role="img" aria-label="{html.escape(text)}" '
        f'viewBox="0 0 {sheet.width:g} {sheet.height:g}">{marks}</svg>'
    )


def _marks(sheet: Sheet, name: str) -> Iterator[str]:
    for mark in sheet.marks:
        match mark:
            case Text(x, y, text, anchor):
                end = "" if anchor == "start" else f' text-anchor="{anchor}"'
                yield f'<text x="{x:.1f}" y="{y:.1f}"{end}>{html.escape(text)}</text>'
            case Line(x1, y1, x2, y2, kind):
                place = f'x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"'
                yield f'<line class="{kind}" {place}/>'
            case Box(x, y, width, height, kind):
                fill = f' fill="url(#{name}-hatch)"' if kind == "empty" else ""
                place = f'x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"'
                yield f'<rect class="{kind}" {place}{fill}/>'
            case Pixels(x, y, width, height, cells, _):
                place = f'x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"'
                yield f'<use href="#{name}-{cells}" {place}/>'
