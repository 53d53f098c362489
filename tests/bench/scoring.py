"""What detection and occupancy are worth, on two hundred nights; `make score` has it in full."""

from pathlib import Path
from statistics import median

from tests.bench.figures import Bench, Figure, Promise
from tests.score.curves import FALSE_ALARM, Curve, at_false_alarm, at_margin
from tests.score.nights import PROMISED, nights
from tests.score.receivers import sounds, usual
from tests.score.tally import tally, tally_bands

NIGHTS = 200
VISITS = 200

#: Those with the margin that a listener has unless he says otherwise, and those of sound, which
#: is costly: fewer visits of it.
USUAL = dict.fromkeys(usual(), VISITS) | {kind: VISITS // 8 for kind in sounds() if kind.hears}

TONIGHT = {
    name: Promise(
        what=f"this night is outside its interval, {name}",
        unit="%",
        most=5.0,
        means=f"share of {name} channel-nights whose true share the stated one does not hold",
    )
    for name in (*PROMISED, "in step")
}
WIDTH = Promise(
    what="width of the interval of this night",
    unit="revisit times",
    most=4.0,
    means="median; an interval that says nothing always holds",
)
ALWAYS = Promise(
    what="intervals of all nights hold, away from 95 %",
    unit="%",
    most=2.0,
    means="93 to 97 %, of channels with at least ten changes: neither too narrow nor too wide",
)
BAND = Promise(
    what="intervals of all nights hold, of bands, away from 95 %",
    unit="%",
    # Of two hundred nights chance alone moves it by three.
    most=4.0,
    means="as for channels; there is one band a night, where channels do it a dozen times",
)
SPARE = {
    name: Promise(
        what=f"width of the interval of this night over what theory allows, {name}",
        most=1.15,
        means="median of the usual level sources; theory knows the rates of coming and going",
    )
    for name in ("slow", "fast")
}
AT_MARGIN = {
    kind.name: Promise(
        what=f"detection behind the theory at the margin, {kind.name}",
        unit="dB",
        most=1.5,
        means="how much stronger a steady station must be than for the energy detector of theory",
    )
    for kind in USUAL
}
AT_ALARM = {
    kind.name: Promise(
        what=f"detection behind the theory at 1 % false alarm, {kind.name}",
        unit="dB",
        most=1.5,
        means="the same at the same false alarm, by the theory that knows the detector's errors",
    )
    for kind in USUAL
}
ALARM = Promise(
    what="false alarm of a visit, at the margin",
    most=FALSE_ALARM,
    means="the worst of the level sources, on channels where nothing is",
)


def measure(_: Path) -> list[Figure]:
    """Each promise as what is missing from it, so that less is better."""
    found = nights(NIGHTS)
    channels = [channel for night in found for channel in night.channels]
    lines = tally(channels, lambda channel: channel.of)
    (everything,) = tally([c for c in channels if c.of in PROMISED], lambda _: "all").values()
    figures = [
        TONIGHT[name].measured(
            _outside(lines[name].held), f"{len(lines[name].held)} channel-nights"
        )
        for name in TONIGHT
    ]
    held = 100 - _outside(everything.always_held)
    figures += [
        WIDTH.measured(median(everything.widths)),
        ALWAYS.measured(
            abs(held - 95), f"{held:.1f} % of {len(everything.always_held)} channel-nights"
        ),
    ]
    bands = tally_bands(night.band for night in found)["all"]
    held = 100 - _outside(bands.always_held)
    figures.append(
        BAND.measured(abs(held - 95), f"{held:.1f} % of {len(bands.always_held)} band-nights")
    )
    names = {kind.name for kind in usual()}
    right = tally([c for c in channels if c.kind in names], lambda channel: channel.of)
    figures += [
        SPARE[name].measured(
            median(right[name].beyond), f"{median(right[name].widths):.1f} revisit times"
        )
        for name in SPARE
    ]
    margins = {kind.name: at_margin(kind, visits) for kind, visits in USUAL.items()}
    figures += [AT_MARGIN[name].measured(*_behind(curve, 0)) for name, curve in margins.items()]
    for kind, visits in USUAL.items():
        figures.append(AT_ALARM[kind.name].measured(*_behind(at_false_alarm(kind, visits), 1)))
    figures.append(ALARM.measured(max(curve.false_alarm for curve in margins.values())))
    return figures


def _behind(curve: Curve, theory: int) -> tuple[float, str]:
    assert curve.apart is not None
    return max(curve.apart[theory]), f"false alarm {curve.false_alarm:.4f}"


def _outside(held: list[bool]) -> float:
    return 100 * (1 - sum(held) / len(held))


BENCH = Bench(
    name="scoring",
    promises=(
        *TONIGHT.values(),
        WIDTH,
        ALWAYS,
        BAND,
        *SPARE.values(),
        *AT_MARGIN.values(),
        *AT_ALARM.values(),
        ALARM,
    ),
    measure=measure,
    takes="20 min",
    again=False,
)
