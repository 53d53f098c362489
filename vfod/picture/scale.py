"""Colours for numbers: a scale that keeps its order for the colour-blind, in grey and on paper.

What carries the number is lightness, which falls evenly from the lowest to the highest value; the
hue turns from yellow over red to violet and only helps. On a dark page the scale is turned round,
so that what is quiet is near the background there too.
The arithmetic is Oklab's (Ottosson, 2020) and the transfer function of IEC 61966-2-1 (sRGB).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

#: Steps of a scale: finer than an eye tells apart, few enough for a palette of pixels.
STEPS = 60

#: Lightness (0 to 1) and hue (degrees) from the lowest value to the highest.
_LIGHTNESS = (0.965, 0.27)
_HUE = (100.0, -65.0)
#: Colourfulness at the two ends and what is added between them.
_CHROMA, _CHROMA_MORE = 0.02, 0.135

Colour = tuple[int, int, int]


@dataclass(frozen=True, kw_only=True, slots=True)
class Scale:
    """Values from `low` to `high` in a unit; what lies beyond has the colour of the end."""

    low: float
    high: float
    unit: str
    #: Values that a legend names, ascending.
    ticks: tuple[float, ...]

    def step(self, value: float) -> int:
        """The step of a value, 0 to STEPS - 1."""
        part = (value - self.low) / (self.high - self.low)
        return min(STEPS - 1, max(0, int(part * STEPS)))


def nice_scale(lowest: float, highest: float, unit: str, *, every: float = 5.0) -> Scale:
    """A scale whose ends are multiples of `every` around the values, with a few ticks."""
    low = math.floor(lowest / every) * every
    high = max(math.ceil(highest / every) * every, low + 4 * every)
    pace = every * max(1, math.ceil((high - low) / every / 6))
    count = int((high - low) / pace) + 1
    ticks = tuple(low + index * pace for index in range(count))
    return Scale(low=low, high=high, unit=unit, ticks=ticks)


@lru_cache(maxsize=2)
def colours(*, dark: bool = False) -> tuple[Colour, ...]:
    """The colours of all steps, sRGB of 8 bits; for a dark page the other way round."""
    found = tuple(_colour(index / (STEPS - 1)) for index in range(STEPS))
    return found[::-1] if dark else found


def _colour(part: float) -> Colour:
    lightness = _LIGHTNESS[0] + part * (_LIGHTNESS[1] - _LIGHTNESS[0])
    hue = math.radians(_HUE[0] + part * (_HUE[1] - _HUE[0]))
    chroma = _CHROMA + _CHROMA_MORE * math.sin(math.pi * min(1.0, part * 1.05)) ** 0.8
    # Less colourful until the screen has it: lightness is never given up.
    while True:
        linear = _linear(lightness, chroma * math.cos(hue), chroma * math.sin(hue))
        if all(-0.0005 <= value <= 1.0005 for value in linear):
            red, green, blue = (_encoded(value) for value in linear)
            return red, green, blue
        chroma *= 0.97


def _linear(lightness: float, a: float, b: float) -> tuple[float, float, float]:
    """Oklab to linear sRGB, with the matrices its author published."""
    long = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    middle = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    return (
        4.0767416621 * long - 3.3077115913 * middle + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * middle - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * middle + 1.7076147010 * short,
    )


def _encoded(linear: float) -> int:
    linear = min(1.0, max(0.0, linear))
    value = 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055
    return round(value * 255)
