"""Detection curves of each level source: measured, expected, and how far apart they are."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.score.detection import (
    FADING,
    crossing,
    seen,
    theoretical_crossing,
    theory,
    threshold_of,
)
from tests.score.receivers import Kind
from vfod.sim.scenario import Fading

#: A visit is wrong at most so often where nothing is.
FALSE_ALARM = 0.01


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Detection per visit at each signal to noise.

    `line` is the theory, closer together.
    `apart` is how many decibels more than the theory it takes to detect half and nine tenths.
    """

    title: str
    name: str
    ratios: list[float]
    measured: list[float]
    expected: list[float]
    line: list[tuple[float, float]]
    false_alarm: float
    apart: tuple[float, float] | None


def at_margin(kind: Kind, visits: int) -> Curve:
    """With the configured margin; its own false alarm is too rare for any night to show."""
    threshold = 10 ** (kind.margin.active / 10)
    middle = theoretical_crossing(kind, threshold, 0.5)
    ratios = [middle + away for away in (-1.5, -1, -0.6, -0.3, 0, 0.3, 0.6, 1, 1.5)]
    found = [seen(kind, ratio, visits) for ratio in ratios]
    measured = [float(np.mean(one.signal >= kind.margin.active)) for one in found]
    alarms = sum(one.false_alarms for one in found) / sum(len(one.noise) for one in found)
    return Curve(
        title=f"steady, margin {kind.margin.active:g} dB",
        name=kind.name,
        ratios=ratios,
        measured=measured,
        expected=[theory(kind, ratio, threshold) for ratio in ratios],
        line=[(ratio, theory(kind, ratio, threshold)) for ratio in _fine(ratios)],
        false_alarm=alarms,
        apart=_apart(kind, ratios, measured, threshold),
    )


def at_false_alarm(kind: Kind, visits: int) -> Curve:
    """With the least margin that still gives a hundredth of false alarms."""
    threshold = threshold_of(kind, FALSE_ALARM)
    middle = theoretical_crossing(kind, threshold, 0.5)
    ratios = [middle + away for away in (-3, -1.5, 0, 0.7, 1.4, 2.1, 3, 4, 5, 6, 7, 8)]
    found = [seen(kind, ratio, visits) for ratio in ratios]
    noise = np.concatenate([one.noise for one in found])
    margin = float(np.quantile(noise, 1 - FALSE_ALARM))
    measured = [float(np.mean(one.signal >= margin)) for one in found]
    return Curve(
        title="steady, false alarm 1 %",
        name=kind.name,
        ratios=ratios,
        measured=measured,
        expected=[theory(kind, ratio, threshold) for ratio in ratios],
        line=[(ratio, theory(kind, ratio, threshold)) for ratio in _fine(ratios)],
        false_alarm=float(np.mean(noise >= margin)),
        apart=_apart(kind, ratios, measured, threshold),
    )


def fading(kind: Kind, visits: int, how: Fading = FADING) -> Curve:
    """A station whose level fades as the sum of many paths does."""
    threshold = 10 ** (kind.margin.active / 10)
    ratios = [float(ratio) for ratio in range(-2, 27, 4)]
    found = [seen(kind, ratio, visits, how) for ratio in ratios]
    alarms = sum(one.false_alarms for one in found) / sum(len(one.noise) for one in found)
    return Curve(
        title=f"fading, margin {kind.margin.active:g} dB",
        name=kind.name,
        ratios=ratios,
        measured=[float(np.mean(one.signal >= kind.margin.active)) for one in found],
        expected=[theory(kind, ratio, threshold, rayleigh=True) for ratio in ratios],
        line=[(ratio, theory(kind, ratio, threshold, rayleigh=True)) for ratio in _fine(ratios)],
        false_alarm=alarms,
        apart=None,
    )


def _fine(ratios: list[float]) -> list[float]:
    return [float(ratio) for ratio in np.linspace(ratios[0], ratios[-1], 80)]


def _apart(
    kind: Kind, ratios: list[float], measured: list[float], threshold: float
) -> tuple[float, float]:
    half, most = (
        crossing(ratios, measured, level) - theoretical_crossing(kind, threshold, level)
        for level in (0.5, 0.9)
    )
    return half, most


def table(curves: Sequence[Curve]) -> str:
    """For people."""
    rows = [
        "detection curve             level source   false alarm  dB beyond theory at 0.5 and 0.9"
    ]
    for curve in curves:
        apart = "-" if curve.apart is None else f"{curve.apart[0]:+.2f}  {curve.apart[1]:+.2f}"
        rows.append(f"{curve.title:27} {curve.name:13} {curve.false_alarm:12.5f}  {apart}")
        if curve.apart is None:
            rows += [
                f"    {ratio:+5.1f} dB: measured {one:.2f}, Rayleigh {other:.2f}"
                for ratio, one, other in zip(
                    curve.ratios, curve.measured, curve.expected, strict=True
                )
            ]
    return "\n".join(rows)
