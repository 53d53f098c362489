"""Zero beat found by a person: the dial moved by signs, the key pressed when the beat is gone."""

import sys
from fractions import Fraction
from typing import Any

from vfod.cli.setting import call, now
from vfod.config.model import VfoConfig
from vfod.errors import UsageError, VfodError
from vfod.radio.calibration import ZERO_BEAT, Beat, Sideband, crystal_error
from vfod.radio.carriers import carriers_on
from vfod.radio.guide import wait_for
from vfod.survey.calibrating import Taken, advice, combined
from vfod.units import (
    format_duration,
    format_frequency,
    parse_frequency,
    parse_millihertz,
    parse_shift,
)

#: What one sign moves the dial by, hertz: twice what an ear can tell at zero beat.
STEP = 10

#: Further from the carrier than this, hertz, no crystal takes it: 200 ppm at 30 MHz.
FAR = 6000

_MINUS = "-\N{MINUS SIGN}"


def zero_beats(settings: VfoConfig, carrier: int, socket: str | None) -> list[Taken]:
    """Every zero beat that the person finds, until `q` or the end of the input."""
    taken: list[Taken] = []
    _go(settings, carrier, socket)
    while True:
        print("> ", end="", flush=True)
        line = sys.stdin.readline()
        word = line.strip()
        if not line or word in ("q", "quit", "end"):
            print()
            return taken
        try:
            if not word:
                taken.append(_measure(settings, carrier, socket))
                _tell(taken)
            elif word[0] in "+" + _MINUS:
                _move(settings, word, socket)
            else:
                other = parse_frequency(word)
                _go(settings, other, socket)
                carrier = other
        except VfodError as error:
            # What was measured until now is not lost by a slip, or by a daemon that went away.
            print(error)


def _go(settings: VfoConfig, carrier: int, socket: str | None) -> None:
    stations = carriers_on(carrier)
    if not stations:
        raise UsageError(
            f"no station of standard frequency is known on {format_frequency(carrier)}",
            remedy="`vfod calibrate` lists them",
        )
    part = settings.receiver.range_at(carrier)
    print(call(socket, "tune", frequency=carrier - part.pitch, vfo=settings.name)["text"])
    waits = {one.station: wait_for(one, now()) for one in stations}
    for station, wait in waits.items():
        says = "is plain now" if not wait else f"is plain in {format_duration(round(wait))}"
        print(f"  {station} {says}")
    print(
        "find zero beat: + - ++ -- by 10 Hz, +2Hz by so much; Enter when the beat is gone, q ends"
    )


def _move(settings: VfoConfig, word: str, socket: str | None) -> None:
    for signs, way in (("+", 1), (_MINUS, -1)):
        if not word.strip(signs):
            hertz = way * len(word) * STEP
            break
    else:
        hertz = parse_shift(word)
    print(call(socket, "nudge", hertz=hertz, vfo=settings.name)["text"])


def _measure(settings: VfoConfig, carrier: int, socket: str | None) -> Taken:
    known: dict[str, Any] = call(socket, "status", vfo=settings.name)["vfos"][settings.name]
    if known["link"]["phase"] != "up" or known["produced"] is None or known["dial"] is None:
        raise UsageError("the VFO is not there", remedy="see `vfod doctor`")
    part = settings.receiver.range_at(carrier)
    if abs(known["dial"] + part.pitch - carrier) > FAR:
        raise UsageError(
            f"the dial is not near {format_frequency(carrier)}", remedy="go back to the carrier"
        )
    beat = Beat(
        carrier=carrier,
        oscillator=Fraction(parse_millihertz(known["produced"]), 1000),
        tone=Fraction(0),
        sideband=Sideband.UPPER,
        deviation=ZERO_BEAT,
        limit=max(one.limit for one in carriers_on(carrier)),
    )
    measured = crystal_error(part, beat, settings.receiver.crystal)
    return Taken(carrier=carrier, measured=measured)


def _tell(taken: list[Taken]) -> None:
    last, found = taken[-1], combined(taken)
    assert found is not None
    print(
        f"{len(taken)}: {last.measured.error * 1e6:+.3f} ppm; so far {found.value:+.3f} ppm, "
        f"between {found.low:+.3f} and {found.high:+.3f}; {advice(taken, found)}"
    )
