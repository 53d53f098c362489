"""A chart as a file of pixels, for a message or a slide; and the cells of the SVG as pixels.

The imaging library is imported here, when the first pixel is made, and nowhere else: whoever only
reads numbers need not wait for it.
"""

import io
from typing import TYPE_CHECKING

from vfod.picture.chart import Chart
from vfod.picture.scale import colours
from vfod.picture.sheet import LETTER, Box, Line, Pixels, Text, lay_out

if TYPE_CHECKING:
    from PIL import ImageDraw

Steps = tuple[tuple[int | None, ...], ...]

#: Pixels of the file for one of the sheet: sharp on fine screens and on paper.
_FINE = 2
_WIDTH = 1000
_MARGIN = 16
_PAPER, _INK, _FAINT, _HATCH = (255, 255, 255), (34, 38, 42), (120, 126, 132), (190, 194, 198)
_DASHES = {"band": (6, 3), "sun": (2, 3)}


def palette_png(steps: Steps, *, dark: bool) -> bytes:
    """One pixel a cell, top row first; what was not visited is transparent."""
    from PIL import Image

    cells = bytes(0 if step is None else step + 1 for row in steps for step in row)
    image = Image.frombytes("P", (len(steps[0]), len(steps)), cells)
    image.putpalette([0, 0, 0, *(part for colour in colours(dark=dark) for part in colour)])
    return _encoded(image, transparency=0)


def draw_png(chart: Chart, title: str) -> bytes:
    """A chart as PNG, dark on white, with a title and its alternative text inside the file."""
    from PIL import Image, ImageDraw
    from PIL.PngImagePlugin import PngInfo

    sheet = lay_out(chart, _WIDTH)
    above = _MARGIN + 2 * LETTER
    size = (
        round((sheet.width + 2 * _MARGIN) * _FINE),
        round((sheet.height + above + _MARGIN) * _FINE),
    )
    image = Image.new("RGB", size, _PAPER)
    pen = _Pen(image, ImageDraw.Draw(image), _MARGIN, above)
    pen.title(title)
    for mark in sheet.marks:
        pen.put(mark)
    info = PngInfo()
    info.add_itxt("Title", title)
    info.add_itxt("Description", chart.text)
    return _encoded(image, pnginfo=info)


def _encoded(image: object, **how: object) -> bytes:
    from PIL import Image

    assert isinstance(image, Image.Image)
    file = io.BytesIO()
    image.save(file, "PNG", optimize=True, **how)
    return file.getvalue()


class _Pen:
    """Puts marks down on an image."""

    def __init__(self, image: object, draw: "ImageDraw.ImageDraw", left: int, top: int) -> None:
        from PIL import Image, ImageFont

        assert isinstance(image, Image.Image)
        self._image = image
        self._draw = draw
        self._left, self._top = left, top
        self._font = ImageFont.load_default(LETTER * _FINE)
        self._large = ImageFont.load_default((LETTER + 4) * _FINE)

    def title(self, text: str) -> None:
        """Above everything."""
        self._draw.text(
            (self._left * _FINE, _MARGIN * _FINE), _plain(text), _INK, self._large, "lt"
        )

    def put(self, mark: Text | Line | Box | Pixels) -> None:
        """One mark."""
        match mark:
            case Text(x, y, text, anchor):
                where = {"start": "ls", "middle": "ms", "end": "rs"}[anchor]
                self._draw.text(self._at(x, y), _plain(text), _INK, self._font, where)
            case Line():
                self._line(mark)
            case Box():
                self._box(mark)
            case Pixels():
                self._pixels(mark)

    def _at(self, x: float, y: float) -> tuple[int, int]:
        return round((x + self._left) * _FINE), round((y + self._top) * _FINE)

    def _line(self, line: Line) -> None:
        begin, end = self._at(line.x1, line.y1), self._at(line.x2, line.y2)
        if line.kind == "halo":
            self._draw.line([begin, end], _PAPER, 3 * _FINE)
            return
        colour = _FAINT if line.kind == "axis" else _INK
        if line.kind not in _DASHES:
            self._draw.line([begin, end], colour, _FINE)
            return
        on, off = (length * _FINE for length in _DASHES[line.kind])
        length = max(abs(end[0] - begin[0]), abs(end[1] - begin[1]))
        upright = begin[0] == end[0]
        for start in range(0, length, on + off):
            stop = min(start + on, length)
            if upright:
                piece = [(begin[0], begin[1] + start), (begin[0], begin[1] + stop)]
            else:
                piece = [(begin[0] + start, begin[1]), (begin[0] + stop, begin[1])]
            self._draw.line(piece, colour, _FINE)

    def _box(self, box: Box) -> None:
        left, top = self._at(box.x, box.y)
        right, bottom = self._at(box.x + box.width, box.y + box.height)
        if box.kind == "frame":
            self._draw.rectangle([left, top, right, bottom], None, _FAINT, 1)
            return
        width, height = right - left, bottom - top
        for start in range(0, width + height, 6 * _FINE):
            # From the upper edge, or the right one, down to the left one, or the lower.
            x1, y1 = min(start, width), max(0, start - width)
            x2, y2 = max(0, start - height), min(start, height)
            self._draw.line([(left + x1, top + y1), (left + x2, top + y2)], _HATCH, 1)

    def _pixels(self, pixels: Pixels) -> None:
        from PIL import Image

        small = Image.open(io.BytesIO(palette_png(pixels.steps, dark=False))).convert("RGBA")
        left, top = self._at(pixels.x, pixels.y)
        right, bottom = self._at(pixels.x + pixels.width, pixels.y + pixels.height)
        large = small.resize((right - left, bottom - top), Image.Resampling.NEAREST)
        self._image.paste(large, (left, top), large)


def _plain(text: str) -> str:
    """What the library's own face can show: it has few letters beyond Latin-1."""
    text = text.replace("\u2212", "-").replace("…", "...")
    return text.encode("latin-1", "replace").decode("latin-1")
