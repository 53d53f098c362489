"""What a measurement hands back, and the table of all of them.

Speed is given as a ratio to the barest way of doing the same on the same machine in the same run,
because a bound in milliseconds alone measures the machine.
"""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """One measured figure; `most` is its bound, None where it is only told."""

    what: str
    value: float
    unit: str = ""
    most: float | None = None
    #: What the figure consists of.
    note: str = ""

    @property
    def over(self) -> bool:
        return self.most is not None and not self.value <= self.most


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
        bound = "" if one.most is None else f"{one.most:g} {one.unit}".rstrip()
        verdict = "" if one.most is None else "over" if one.over else "ok"
        rows.append((one.what, f"{one.value:.3g} {one.unit}".rstrip(), bound, verdict, one.note))
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
