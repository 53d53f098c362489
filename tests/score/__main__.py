"""`make score`: what the detector and the occupancy figures are worth, against the known truth.

python -m tests.score                 two hundred nights of the box, and some of sound: a quarter
                                      of an hour on two cores
python -m tests.score --nights 20     fewer
python -m tests.score --sound 0       none of sound
python -m tests.score --folder DIR    where the plots go
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.score.curves import Curve, at_false_alarm, at_margin, fading
from tests.score.curves import table as table_of_curves
from tests.score.nights import PROMISED, Channel, Night, nights, scored
from tests.score.pictures import draw_curves, draw_nights, draw_settling
from tests.score.receivers import Kind, kinds, sounds, usual
from tests.score.settling import by_settle
from tests.score.settling import table as table_of_settling
from tests.score.tally import table as table_of_nights
from tests.score.tally import table_of_bands, tally, tally_bands
from vfod.survey.seen import Scored


def main(words: Sequence[str] | None = None) -> int:
    """Print the tables, write the plots."""
    parser = argparse.ArgumentParser(prog="python -m tests.score")
    parser.add_argument("--nights", type=int, default=200)
    parser.add_argument("--sound", type=int, default=16, help="nights of sound")
    parser.add_argument("--visits", type=int, default=300, help="of each point of a curve")
    parser.add_argument("--folder", type=Path, default=Path(".score"))
    asked = parser.parse_args(words)
    asked.folder.mkdir(parents=True, exist_ok=True)
    heard = [kind for kind in sounds() if kind.hears] if asked.sound else []
    # Sound is costly: fewer visits of each point.
    drawn = [_curves(usual(), asked.visits), _curves(heard, asked.visits // 5)]
    print(table_of_curves([curve for row in drawn for curve in row]), flush=True)
    draw_curves([row for row in drawn if row], asked.folder / "detection.png")
    settling = by_settle([*usual(), *heard])
    print(f"\n{table_of_settling(settling)}", flush=True)
    draw_settling(settling, asked.folder / "settling.png")
    found = nights(asked.nights)
    for kind in kinds():
        if kind.scored != Scored():
            told = scored(kind, 10)
            print(f"\n{kind.name}: corrected by {kind.scored}, ten other nights have {told}")
    draw_nights(_show(f"{asked.nights} nights of the box", found), asked.folder / "nights.png")
    plots = "detection.png, settling.png, nights.png"
    if asked.sound:
        # No false alarm was ever seen: there is nothing to correct.
        listened = nights(asked.sound, sounds())
        draw_nights(
            _show(f"{asked.sound} half nights of sound", listened), asked.folder / "sound.png"
        )
        plots += ", sound.png"
    print(f"plots in {asked.folder}: {plots}")
    return 0


def _curves(kinds: Sequence[Kind], visits: int) -> list[Curve]:
    """Every curve of every kind, on all cores."""
    sorts: tuple[Callable[[Kind, int], Curve], ...] = (at_margin, at_false_alarm, fading)
    with ProcessPoolExecutor() as pool:
        waited = [pool.submit(sort, kind, visits) for sort in sorts for kind in kinds]
        return [one.result() for one in waited]


def _show(title: str, found: Sequence[Night]) -> list[Channel]:
    channels = [channel for night in found for channel in night.channels]
    names = {kind.name for kind in usual()}
    poor = [channel for channel in channels if channel.kind not in names]
    promised = [channel for channel in channels if channel.of in PROMISED]
    for what, lines in (
        (f"{title}, by class", tally(channels, lambda c: c.of)),
        ("those that one would have, by class", tally(
            [c for c in channels if c.kind in names], lambda c: c.of
        )),
        ("the others, by class", tally(poor, lambda c: c.of)),
        ("by level source", tally(promised, lambda c: c.kind)),
        ("silent channels, by level source", tally(
            [c for c in promised if c.of == "silent"], lambda c: c.kind
        )),
        ("all that is promised", tally(promised, lambda _: "all")),
    ):  # fmt: skip
        if lines:
            print(f"\n{table_of_nights(what, lines)}", flush=True)
    print(f"\n{table_of_bands(tally_bands(night.band for night in found))}", flush=True)
    return channels


if __name__ == "__main__":
    sys.exit(main())
