"""A chart on a sheet, as SVG and as pixels."""

import base64
import io
import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from PIL import Image

from vfod.picture import Chart, Panel, Rule, Tick, nice_scale
from vfod.picture.chart import Kind
from vfod.picture.png import draw_png, palette_png
from vfod.picture.scale import colours
from vfod.picture.sheet import LETTER, Box, Pixels, Text, lay_out, letters
from vfod.picture.svg import NARROW, WIDE, draw


def panel(rows: int, columns: int = 48, name: str = "a-band-of-my-own") -> Panel:
    """Cells that rise by column; the third column was not visited."""
    return Panel(
        columns=columns,
        rows=rows,
        cells={
            (row, column): -100.0 + column for row in range(rows) for column in range(columns)
            if column != 2
        },
        y_ticks=tuple(
            Tick(at=row + 0.5, text=str(7200 + 5 * row), rank=7200 + 5 * row) for row in range(rows)
        ),
        y_rules=(Rule(at=rows / 2, text="", kind=Kind.BAND),),
        y_names=((0.0, rows / 2, name), (rows / 2, float(rows), "41m")),
    )  # fmt: skip


def chart(*panels: Panel) -> Chart:
    return Chart(
        text='Levels & "more" <of it>',
        panels=panels,
        scale=nice_scale(-100.0, -52.0, "dBm"),
        x_title="local time (Europe/Berlin)",
        y_title="kHz",
        x_ticks=tuple(Tick(at=4.0 * h, text=f"{(18 + h) % 24:02d}:00", rank=h) for h in range(13)),
        x_rules=(
            Rule(at=1.0, text="sunset 16:01", kind=Kind.SUN),
            Rule(at=1.5, text="clocks +1 h", kind=Kind.CLOCK),
            Rule(at=47.5, text="sunrise 07:46", kind=Kind.SUN),
        ),
        legend="Level, the strongest visit in 15 min",
    )


CHARTS = [chart(panel(1)), chart(panel(51)), chart(panel(101), panel(8), panel(500))]


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_the_dashed_line_is_explained(width: int) -> None:
    """Where band edges are drawn; a picture without any has no word for them."""
    edged = chart(panel(51))
    plain = replace(edged, panels=(replace(edged.panels[0], y_rules=()),))
    for it, shown in ((edged, 1), (plain, 0)):
        words = [mark.text for mark in lay_out(it, width).marks if isinstance(mark, Text)]
        assert shown == words.count("band edge")
        assert 1 == words.count("not visited")


@pytest.mark.parametrize("width", [WIDE, NARROW, 1000])
@pytest.mark.parametrize("it", CHARTS, ids=["one row", "a band", "three panels"])
def test_nothing_leaves_the_sheet_or_touches(it: Chart, width: int) -> None:
    """Words lie inside, and no word lies on another one in its line."""
    sheet = lay_out(it, width)
    spans = []
    for mark in sheet.marks:
        if isinstance(mark, Text):
            size = letters(mark.text)
            left = mark.x - {"start": 0.0, "middle": size / 2, "end": size}[mark.anchor]
            assert -0.5 <= left
            assert left + size <= width + 0.5
            assert LETTER <= mark.y <= sheet.height
            spans.append((mark.y, left, left + size, mark.text))
    for one, other in itertools.combinations(spans, 2):
        beside = one[2] <= other[1] + 0.5 or other[2] <= one[1] + 0.5
        assert beside or abs(one[0] - other[0]) >= LETTER - 2, (one, other)


def test_cells_lie_exactly_on_their_hatched_ground() -> None:
    """What is not drawn shows the hatching, which says: not visited."""
    sheet = lay_out(CHARTS[2], WIDE)
    boxes = [mark for mark in sheet.marks if isinstance(mark, Box) and mark.kind == "empty"]
    cells = [mark for mark in sheet.marks if isinstance(mark, Pixels) and mark.name != "scale"]
    for box, pixels in zip(boxes, cells, strict=False):
        assert (box.x, box.y, box.width, box.height) == (
            pixels.x, pixels.y, pixels.width, pixels.height,
        )  # fmt: skip
    assert {None} == {row[2] for row in cells[0].steps}


@pytest.mark.parametrize("dark", [False, True])
def test_pixels_of_the_cells(dark: bool) -> None:
    """A pixel a cell: the scale's colour, or clear. Read back by the imaging library."""
    found = Image.open(io.BytesIO(palette_png(((0, None), (59, 30)), dark=dark))).convert("RGBA")
    scale = colours(dark=dark)
    assert (2, 2) == found.size
    assert (*scale[0], 255) == found.getpixel((0, 0))
    assert 0 == found.getpixel((1, 0))[3]  # type: ignore[index]  # of RGBA it is a tuple
    assert (*scale[59], 255) == found.getpixel((0, 1))


def test_svg_is_sound_and_has_a_text_alternative() -> None:
    """Well-formed XML, an image with words for those who do not see it, nothing from outside."""
    drawing = draw(CHARTS[1], "night")
    for part in (drawing.store, drawing.wide, drawing.narrow):
        ET.fromstring(part)
        assert not re.search(r'(href|src)="(?!#|data:image/png;base64,)', part)
    wide = ET.fromstring(drawing.wide)
    assert ("img", 'Levels & "more" <of it>') == (wide.get("role"), wide.get("aria-label"))
    for used in re.findall(r'<use href="#([^"]+)"', drawing.wide + drawing.narrow):
        assert f'<symbol id="{used}"' in drawing.store
    (first, *_) = re.findall(r"base64,([^\"]+)", drawing.store)
    assert (48, 51) == Image.open(io.BytesIO(base64.b64decode(first))).size


def test_png_has_its_words_inside() -> None:
    """Large enough for paper, with title and description in the file (PNG, iTXt)."""
    found = Image.open(io.BytesIO(draw_png(CHARTS[1], "Night of \u2212 \u65e5")))
    assert isinstance(found.text["Description"], str)  # type: ignore[attr-defined]  # of PNG files
    assert found.size[0] >= 2000
    colour = colours()[CHARTS[1].scale.step(-53.0)]
    counted = found.getcolors(1 << 20)
    assert counted is not None
    assert colour in {value for _, value in counted}
