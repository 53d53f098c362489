"""`make score`: what the detector and the occupancy figures are worth, against the known truth.

python -m tests.score                 two hundred nights, some minutes
python -m tests.score --nights 20     fewer
python -m tests.score --folder DIR    where the plots go
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from tests.score.curves import at_false_alarm, at_margin, fading, table
from tests.score.nights import PROMISED, nights
from tests.score.pictures import draw_curves, draw_nights
from tests.score.receivers import kinds
from tests.score.tally import table as table_of_nights
from tests.score.tally import tally


def main(words: Sequence[str] | None = None) -> int:
    """Print the tables, write the plots."""
    parser = argparse.ArgumentParser(prog="python -m tests.score")
    parser.add_argument("--nights", type=int, default=200)
    parser.add_argument("--visits", type=int, default=300, help="of each point of a curve")
    parser.add_argument("--folder", type=Path, default=Path(".score"))
    asked = parser.parse_args(words)
    asked.folder.mkdir(parents=True, exist_ok=True)
    usual = [kind for kind in kinds() if kind.margin.active == 6]
    curves = [
        *(at_margin(kind, asked.visits) for kind in usual),
        *(at_false_alarm(kind, asked.visits) for kind in usual),
        *(fading(kind, asked.visits) for kind in usual),
    ]
    print(table(curves), flush=True)
    draw_curves(curves, asked.folder / "detection.png")
    channels = nights(asked.nights)
    promised = [channel for channel in channels if channel.of in PROMISED]
    print()
    print(table_of_nights(f"{asked.nights} nights, by class", tally(channels, lambda c: c.of)))
    print()
    print(table_of_nights("by level source", tally(promised, lambda c: c.kind)))
    print()
    print(table_of_nights("all that is promised", tally(promised, lambda _: "all")))
    draw_nights(channels, asked.folder / "nights.png")
    print(f"plots in {asked.folder}: detection.png, nights.png")
    return 0


if __name__ == "__main__":
    sys.exit(main())
