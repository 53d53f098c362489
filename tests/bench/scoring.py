"""What detection and occupancy are worth, on two hundred nights; `make score` has it in full."""

from pathlib import Path
from statistics import median

from tests.bench.figures import Figure
from tests.score.curves import at_false_alarm, at_margin
from tests.score.nights import PROMISED, nights
from tests.score.receivers import kinds
from tests.score.tally import tally

NIGHTS = 200
VISITS = 200


def measure(_: Path) -> list[Figure]:
    """Each promise as what is missing from it, so that less is better."""
    channels = nights(NIGHTS)
    lines = tally(channels, lambda channel: channel.of)
    (everything,) = tally([c for c in channels if c.of in PROMISED], lambda _: "all").values()
    figures = [
        Figure(
            what=f"this night is outside its interval, {name}",
            value=_outside(lines[name].held),
            unit="%",
            most=5.0,
            note=f"{len(lines[name].held)} channel-nights",
        )
        for name in PROMISED
    ]
    figures.append(
        Figure(
            what="width of the interval of this night",
            value=median(everything.widths),
            unit="revisit times",
            most=4.0,
            note="median",
        )
    )
    figures.append(
        Figure(
            what="all nights are outside their interval",
            value=_outside(everything.always_held),
            unit="%",
            most=7.0,
            note=f"{len(everything.always_held)} channel-nights; below 3 it is too wide",
        )
    )
    usual = [kind for kind in kinds() if kind.margin.active == 6]
    curves = [*(at_margin(kind, VISITS) for kind in usual), at_false_alarm(usual[0], VISITS)]
    figures += [
        Figure(
            what=f"detection behind the theory, {curve.title}, {curve.name}",
            value=max(curve.apart or (0.0,)),
            unit="dB",
            most=1.5,
            note=f"false alarm {curve.false_alarm:.4f}",
        )
        for curve in curves
    ]
    return figures


def _outside(held: list[bool]) -> float:
    return 100 * (1 - sum(held) / len(held))
