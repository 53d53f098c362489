"""The colour scale keeps its order in grey and for every kind of eye."""

import itertools

import pytest

from vfod.picture.scale import STEPS, colours, nice_scale


def lightness(colour: tuple[int, int, int]) -> float:
    """CIE 1976 L* of an sRGB colour: IEC 61966-2-1 and CIE 15, not the arithmetic under test."""
    linear = [
        part / 255 / 12.92 if part / 255 <= 0.04045 else ((part / 255 + 0.055) / 1.055) ** 2.4
        for part in colour
    ]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    if luminance <= (6 / 29) ** 3:
        return luminance * (29 / 3) ** 3
    return float(116 * luminance ** (1 / 3) - 16)


@pytest.mark.parametrize("dark", [False, True])
def test_lightness_never_turns_back(dark: bool) -> None:
    """From step to step it goes the same way, and nearly evenly: that is what grey leaves."""
    found = [lightness(colour) for colour in colours(dark=dark)]
    steps = [after - before for before, after in itertools.pairwise(found)]
    sign = 1 if dark else -1
    assert all(sign * step > 0.5 for step in steps)
    assert max(map(abs, steps)) < 2.5 * min(map(abs, steps))
    assert abs(found[0] - found[-1]) > 65


def test_quiet_is_near_the_page_in_light_and_dark() -> None:
    """A page of paper keeps its paper, a dark one its darkness."""
    assert lightness(colours(dark=False)[0]) > 92
    assert lightness(colours(dark=True)[0]) < 25


@pytest.mark.parametrize(
    ("value", "step"), [(-110.0, 0), (-100.0, 0), (-75.0, 30), (-50.0, 59), (0.0, 59)]
)
def test_steps(value: float, step: int) -> None:
    """Linear between the ends; what lies beyond has the colour of the end."""
    scale = nice_scale(-98.0, -52.0, "dBm")
    assert (-100.0, -50.0, 60) == (scale.low, scale.high, STEPS)
    assert step == scale.step(value)


@pytest.mark.parametrize(("low", "high"), [(-98.0, -52.0), (-100.0, -100.0), (-130.0, -3.2)])
def test_ticks(low: float, high: float) -> None:
    """A few round values inside the scale, also where all values are one."""
    scale = nice_scale(low, high, "dBm")
    assert scale.low <= low <= high <= scale.high
    assert 3 <= len(scale.ticks) <= 7
    assert all(tick % 5 == 0 and scale.low <= tick <= scale.high for tick in scale.ticks)
