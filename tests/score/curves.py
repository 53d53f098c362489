"""Detection curves of each level source: measured, by theory, and how far apart they are.

The first theory is what could at best be made of the air, the second what could be made of it with
this receiver; see tests/score/theories.py. What is compared has the same false alarm.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.score.detection import AWAY, FADING, crossing, seen
from tests.score.receivers import Kind
from tests.score.theories import Theory, theories
from vfod.sim.scenario import Fading

#: A visit is wrong at most so often where nothing is.
FALSE_ALARM = 0.01

#: Signal to noise beside the middle of the theory, decibels.
AROUND = (-1.5, -1.0, -0.6, -0.3, 0.0, 0.3, 0.6, 1.0, 1.5)
#: The same with the margin lowered, where curves are less steep.
AROUND_LOW = (-2.0, -1.0, 0.0, 0.7, 1.4, 2.1, 2.8, 3.5, 4.5)

Line = list[tuple[float, float]]


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Detection per visit at each signal to noise.

    `lines` are the two theories, closer together; `apart` is how many decibels more than each it
    takes to detect half and nine tenths, None where it is not compared.
    """

    title: str
    name: str
    ratios: list[float]
    measured: list[float]
    expected: list[float]
    lines: tuple[Line, Line]
    false_alarm: float
    visits: int
    apart: tuple[tuple[float, float], tuple[float, float]] | None


def at_margin(kind: Kind, visits: int, around: Sequence[float] = AROUND) -> Curve:
    """With the configured margin; its own false alarm is too rare for any night to show."""
    best, own = theories(kind, AWAY)
    margin = kind.margin.active
    middle = own.crossing(own.at_margin(margin), 0.5)
    ratios = [middle + away for away in around]
    found = [seen(kind, ratio, visits) for ratio in ratios]
    return _curve(
        kind,
        f"steady, margin {margin:g} dB",
        ratios,
        [float(np.mean(one.signal >= margin)) for one in found],
        sum(one.false_alarms for one in found) / sum(len(one.noise) for one in found),
        sum(len(one.noise) for one in found),
        [(theory, theory.at_margin(margin)) for theory in (best, own)],
    )


def at_false_alarm(kind: Kind, visits: int, around: Sequence[float] = AROUND_LOW) -> Curve:
    """With the least margin that still gives a hundredth of false alarms."""
    best, own = theories(kind, AWAY)
    middle = own.crossing(own.at_false_alarm(FALSE_ALARM), 0.5)
    ratios = [middle + away for away in around]
    found = [seen(kind, ratio, visits) for ratio in ratios]
    noise = np.concatenate([one.noise for one in found])
    margin = float(np.quantile(noise, 1 - FALSE_ALARM))
    return _curve(
        kind,
        "steady, false alarm 1 %",
        ratios,
        [float(np.mean(one.signal >= margin)) for one in found],
        float(np.mean(noise >= margin)),
        len(noise),
        [(theory, theory.at_false_alarm(FALSE_ALARM)) for theory in (best, own)],
    )


def fading(kind: Kind, visits: int, how: Fading = FADING) -> Curve:
    """A station whose level fades as the sum of many paths does."""
    best, own = theories(kind, AWAY)
    margin = kind.margin.active
    middle = round(own.crossing(own.at_margin(margin), 0.5))
    ratios = [float(middle + away) for away in range(-7, 22, 4)]
    found = [seen(kind, ratio, visits, how) for ratio in ratios]
    limits = [(theory, theory.at_margin(margin)) for theory in (best, own)]
    fine = _fine(ratios)
    first, second = (
        list(zip(fine, theory.fading(fine, limit), strict=True)) for theory, limit in limits
    )
    return Curve(
        title=f"fading, margin {margin:g} dB",
        name=kind.name,
        ratios=ratios,
        measured=[float(np.mean(one.signal >= margin)) for one in found],
        expected=own.fading(ratios, limits[1][1]),
        lines=(first, second),
        false_alarm=sum(one.false_alarms for one in found) / sum(len(one.noise) for one in found),
        visits=sum(len(one.noise) for one in found),
        apart=None,
    )


def _curve(
    kind: Kind,
    title: str,
    ratios: list[float],
    measured: list[float],
    false_alarm: float,
    visits: int,
    limits: list[tuple[Theory, float]],
) -> Curve:
    (best, at_best), (own, at_own) = limits
    fine = _fine([min(ratios[0], best.crossing(at_best, 0.5) - 2), ratios[-1]])

    def of(theory: Theory, limit: float) -> Line:
        return [(ratio, theory.detection(10 ** (ratio / 10), limit)) for ratio in fine]

    return Curve(
        title=title,
        name=kind.name,
        ratios=ratios,
        measured=measured,
        expected=[own.detection(10 ** (ratio / 10), at_own) for ratio in ratios],
        lines=(of(best, at_best), of(own, at_own)),
        false_alarm=false_alarm,
        visits=visits,
        apart=(_apart(ratios, measured, best, at_best), _apart(ratios, measured, own, at_own)),
    )


def _fine(ratios: Sequence[float]) -> list[float]:
    return [float(ratio) for ratio in np.linspace(ratios[0], ratios[-1], 80)]


def _apart(
    ratios: list[float], measured: list[float], theory: Theory, limit: float
) -> tuple[float, float]:
    half, most = (
        crossing(ratios, measured, level) - theory.crossing(limit, level) for level in (0.5, 0.9)
    )
    return half, most


def table(curves: Sequence[Curve]) -> str:
    """For people."""
    rows = [
        "                                                        dB beyond theory at 0.5 and 0.9",
        "detection curve             level source   false alarm   the best there is  with this one",
    ]
    for curve in curves:
        apart = ""
        if curve.apart is not None:
            (a, b), (c, d) = curve.apart
            apart = f"{a:+6.2f} {b:+6.2f}    {c:+6.2f} {d:+6.2f}"
        rows.append(f"{curve.title:27} {curve.name:13} {curve.false_alarm:12.5f}    {apart}")
        if curve.apart is None:
            rows += [
                f"    {ratio:+5.1f} dB: measured {one:.2f}, by theory {other:.2f}"
                for ratio, one, other in zip(
                    curve.ratios, curve.measured, curve.expected, strict=True
                )
            ]
    return "\n".join(rows)
