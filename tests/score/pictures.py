"""The plots of a score: detection curves beside the theory, and occupancy beside the truth."""

from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl
import numpy as np

from tests.score.curves import Curve
from tests.score.nights import Channel
from tests.score.settling import Alarms
from vfod.survey.occupancy import Share

mpl.use("Agg")
from matplotlib import pyplot as plt

#: Told apart by the colour-blind; the marks differ as well, for grey.
_COLOURS = ["#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#000000"]


def draw_curves(rows: Sequence[Sequence[Curve]], path: Path) -> None:
    """Measured points beside both theories; a panel for each title, a row for each sort."""
    titles = list(dict.fromkeys(curve.title for row in rows for curve in row))
    figure, panels = plt.subplots(
        len(rows), len(titles), figsize=(5 * len(titles), 4.2 * len(rows)), squeeze=False,
        sharey=True,
    )  # fmt: skip
    for row, curves in zip(panels, rows, strict=True):
        for panel, title in zip(row, titles, strict=True):
            mine = [curve for curve in curves if curve.title == title]
            for curve, colour, mark in zip(mine, _COLOURS, "osv", strict=False):
                panel.plot(curve.ratios, curve.measured, mark, color=colour, ms=5, label=curve.name)
                best, own = curve.lines
                panel.plot(*zip(*best, strict=True), "-", color=colour, lw=0.8, alpha=0.7)
                panel.plot(*zip(*own, strict=True), "--", color=colour, lw=1.2)
            panel.plot([], [], "-", color="black", lw=0.8, label="theory: the best there is")
            panel.plot([], [], "--", color="black", lw=1.2, label="theory: with this receiver")
            panel.set(title=title, xlabel="signal to noise, dB", ylim=(-0.02, 1.02))
            panel.grid(alpha=0.3)
            panel.legend(fontsize=8, loc="best")
        row[0].set_ylabel("detection per visit")
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    plt.close(figure)


def draw_settling(found: Sequence[Alarms], path: Path) -> None:
    """False alarms after the relay and after a strong station against the settle time."""
    names = list(dict.fromkeys(one.name for one in found))
    figure, panels = plt.subplots(
        1, len(names), figsize=(4.2 * len(names), 3.6), squeeze=False, sharey=True
    )
    for panel, name in zip(panels[0], names, strict=True):
        releases = sorted({one.release for one in found})
        for release, style in zip(releases, ("--", "-"), strict=True):
            mine = [one for one in found if one.name == name and one.release == release]
            settles = [one.settle for one in mine]
            for what, colour, mark in (
                ("after_relay", _COLOURS[0], "o"),
                ("after_station", _COLOURS[1], "s"),
                ("elsewhere", _COLOURS[2], "v"),
            ):
                panel.plot(
                    settles, [getattr(one, what) for one in mine], mark + style, color=colour,
                    ms=4, label=f"{what.replace('_', ' ')}, release {release:g} s",
                )  # fmt: skip
        panel.set(title=name, xlabel="settle, s", ylim=(-0.05, 1.05))
        panel.grid(alpha=0.3)
    panels[0][0].set_ylabel("false alarms per visit")
    panels[0][0].legend(fontsize=7)
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    plt.close(figure)


def draw_nights(channels: Sequence[Channel], path: Path) -> None:
    """Both figures with their intervals against what they are meant to tell."""
    classes = list(dict.fromkeys(channel.of for channel in channels))
    figure, (left, right) = plt.subplots(1, 2, figsize=(11, 5))
    marks = "osv^Dx"
    for name, mark, colour in zip(classes, marks, _COLOURS, strict=False):
        mine = [channel for channel in channels if channel.of == name][:60]
        for panel, pairs in (
            (left, [(c.truth, c.it.tonight) for c in mine]),
            (right, [(c.share, c.it.long_run) for c in mine if c.share is not None]),
        ):
            said = [(truth, it) for truth, it in pairs if isinstance(it, Share)]
            if not said:
                continue
            truth = np.array([truth for truth, _ in said])
            value = np.array([it.value for _, it in said])
            bars = np.array([[it.value - it.low, it.high - it.value] for _, it in said]).T
            panel.errorbar(
                truth, value, np.maximum(bars, 0), fmt=mark, ms=3, lw=0.7, color=colour,
                label=name, alpha=0.7,
            )  # fmt: skip
    for panel, title, what in (
        (left, "(a) this night", "true share of the night"),
        (right, "(b) all nights like it", "share that the channel was drawn with"),
    ):
        panel.plot([0, 1], [0, 1], color="black", lw=0.6)
        panel.set(title=title, xlabel=what, ylabel="stated share", xlim=(-0.03, 1.03))
        panel.set_ylim(-0.03, 1.03)
        panel.grid(alpha=0.3)
        panel.legend(fontsize=8)
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    plt.close(figure)
