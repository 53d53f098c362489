"""What is promised of a measurement, what it hands back, and the table of it.

Speed is given as a ratio to the barest way of doing the same on the same machine in the same run,
or as a share of a core, because a bound in milliseconds alone measures the machine.
"""

import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path


@dataclass(frozen=True, kw_only=True, slots=True)
class Promise:
    """A figure that is measured: its name, its unit and its bound, None where it is only told.

    `means` is for DEVELOPERS.md: what it is to somebody, and where the bound comes from.
    """

    what: str
    means: str
    unit: str = ""
    most: float | None = None

    @property
    def bound(self) -> str:
        return "" if self.most is None else f"{self.most:g} {self.unit}".rstrip()

    def measured(self, value: float, note: str = "") -> "Figure":
        return Figure(promise=self, value=value, note=note)


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """What one promise came to."""

    promise: Promise
    value: float
    #: What the figure consists of.
    note: str = ""

    @property
    def over(self) -> bool:
        most = self.promise.most
        return most is not None and not self.value <= most


@dataclass(frozen=True, kw_only=True, slots=True)
class Bench:
    """Measurements that are made together, with the time that they take on two cores.

    `again` are timings, which other work on the machine can only spoil: where one is over its
    bound all are taken anew, and the best of each counts.
    """

    name: str
    promises: tuple[Promise, ...]
    measure: Callable[[Path], list[Figure]]
    takes: str
    again: bool = True


def better(before: Sequence[Figure], after: Sequence[Figure]) -> list[Figure]:
    """The best of each figure; by the names of what was measured."""
    found = {one.promise.what: one for one in before}
    for one in after:
        old = found[one.promise.what]
        if one.value < old.value or math.isnan(old.value):
            found[one.promise.what] = one
    return [replace(one, note=f"{one.note}; measured again".lstrip("; ")) for one in found.values()]


def p99(values: Sequence[float]) -> float:
    """The value that one in a hundred exceeds."""
    return statistics.quantiles(values, n=100, method="inclusive")[-1]


def ratio_of_pairs(ours: Sequence[float], bare: Sequence[float]) -> float:
    """Median of the ratios of what was measured side by side, so that both had the same machine."""
    return statistics.median(a / b for a, b in zip(ours, bare, strict=True))


def milliseconds(*values: float) -> str:
    return " and ".join(f"{value * 1e3:.3f}" for value in values) + " ms"


def table(figures: Sequence[Figure]) -> str:
    rows = [("figure", "value", "bound", "", "")]
    for one in figures:
        promise = one.promise
        verdict = "" if promise.most is None else "over" if one.over else "ok"
        value = f"{one.value:.3g} {promise.unit}".rstrip()
        rows.append((promise.what, value, promise.bound, verdict, one.note))
    widths = [max(len(row[column]) for row in rows) for column in range(4)]
    lines = []
    for what, value, bound, verdict, note in rows:
        columns = (
            f"{what:{widths[0]}}",
            f"{value:>{widths[1]}}",
            f"{bound:>{widths[2]}}",
            f"{verdict:{widths[3]}}",
            note,
        )
        lines.append("  ".join(columns).rstrip())
    return "\n".join(lines)
