"""`vfod tune --explain`: the dial moved, and how the clock generator makes that frequency.

The quick verbs stay quick: with that word the line comes here.
"""

from fractions import Fraction
from typing import Any

from vfod.cli.parser import Parser
from vfod.cli.setting import call, configuration, print_json
from vfod.config.model import Config, VfoConfig
from vfod.errors import UsageError
from vfod.radio.receiver import Range
from vfod.radio.synthesiser import ClockGenerator, Dividers, dividers
from vfod.units import MILLI, format_frequency, parse_frequency


def tune_explained(words: list[str]) -> int:
    """Move the dial, and explain."""
    parser = Parser(
        "tune --explain",
        "Move the dial, and tell how the clock generator of the configuration makes that\n"
        "frequency: its dividers, what is really produced, how far off, in which steps; and\n"
        "whether the VFO says the same.",
        "vfod tune 9420 --explain",
    )
    parser.add_argument("frequency", nargs="+", help="where to; a bare number is kilohertz")
    parser.add_argument("--explain", action="store_true", required=True, help="what this is about")
    parser.add_argument("--vfo", metavar="NAME", help="which VFO; default the first one")
    parser.add_config()
    parser.add_socket()
    parser.add_json()
    given = parser.parse_args(words)
    frequency = parse_frequency(" ".join(given.frequency))
    settings = vfo_of(configuration(given.config), given.vfo)
    if settings.synthesiser is None:
        raise UsageError(
            f"the configuration does not describe the clock generator of {settings.name}",
            remedy=f"write vfos.{settings.name}.synthesiser: {{crystal: 25M}}, as its data sheet "
            "has it",
        )
    tuned = call(given.socket, "tune", frequency=frequency, vfo=settings.name)
    link = call(given.socket, "status", vfo=settings.name)["vfos"][settings.name]["link"]
    part = settings.receiver.range_at(tuned["data"]["dial"])
    found = explanation(settings.synthesiser, part, tuned["data"], link["resolution"] or 1)
    if given.json:
        print_json({**tuned, "explanation": found})
    else:
        print("\n".join([tuned["text"], *found["text"]]))
    return 0


def vfo_of(config: Config, name: str | None) -> VfoConfig:
    """The VFO of that name, or the first one of the configuration."""
    if name is not None and name not in config.vfos:
        raise UsageError(f"there is no VFO {name!r}", remedy=f"known: {', '.join(config.vfos)}")
    return config.vfos[name or next(iter(config.vfos))]


def explanation(
    generator: ClockGenerator, part: Range, tuned: dict[str, Any], resolution: int
) -> dict[str, Any]:
    """How an oscillator frequency comes about; `tuned` are the fields of events.DialTuned.

    `part` is the receiver there, `resolution` the VFO's in millihertz.
    """
    wanted = Fraction(tuned["oscillator"], MILLI)
    way = dividers(generator, wanted)
    said = Fraction(tuned["produced"], MILLI)
    apart = said - way.produced
    agrees = abs(apart) * MILLI <= resolution
    return {
        "wanted": float(wanted),
        "a": way.a,
        "b": way.b,
        "c": way.c,
        "divider": way.divider,
        "extra": way.extra,
        "loop": float(way.loop),
        "produced": float(way.produced),
        "error": float(way.error),
        "step": float(way.step),
        "said": float(said),
        "agrees": agrees,
        "text": _lines(part, tuned["dial"], way, said, resolution, agrees=agrees),
    }


def _lines(
    part: Range, dial: int, way: Dividers, said: Fraction, resolution: int, *, agrees: bool
) -> list[str]:
    generator = way.generator
    behind = f", then by {way.extra}" if way.extra > 1 else ""
    second = (
        f"the VFO says {_hertz(said)}, which is that to within its resolution"
        if agrees
        else f"the VFO says {_hertz(said)}: {_hertz(said - way.produced, sign=True)} from it, "
        f"more than its resolution of {_hertz(Fraction(resolution, MILLI))}; compare the "
        "synthesiser of the configuration with its firmware"
    )
    mixed = ""
    if part.intermediate_frequency:
        side = "above" if part.mixed > 0 else "below"
        mixed = f", {format_frequency(part.intermediate_frequency)} {side} what is received"
    return [
        f"  dial {format_frequency(dial)}, oscillator {_hertz(way.wanted)}{mixed}",
        f"  crystal {format_frequency(generator.crystal)} x ({way.a} + {way.b}/{way.c})"
        f" = {_hertz(way.loop)}, divided by {way.divider}{behind}",
        f"  produced {_hertz(way.produced)}: {_hertz(way.error, sign=True)} off, "
        f"in steps of {_hertz(way.step)}",
        f"  {second}",
    ]


def _hertz(value: Fraction, *, sign: bool = False) -> str:
    """Hertz to the tenth of a millihertz, with the zeros behind left out."""
    digits = f"{float(value):+,.4f}" if sign else f"{float(value):,.4f}"
    return digits.replace(",", " ").rstrip("0").rstrip(".") + " Hz"
