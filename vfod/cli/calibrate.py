"""`vfod calibrate`: the error of the VFO's crystal, against a standard-frequency carrier.

The daemon moves the dial and keeps the result; what is measured is worked out here.
"""

import sys
from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction
from math import hypot
from typing import Any

from vfod.cli.explain import vfo_of
from vfod.cli.listening import listened
from vfod.cli.parser import Parser
from vfod.cli.recording import samples_of
from vfod.cli.setting import call, configuration, local_text, now, print_json
from vfod.cli.zero_beat import zero_beats
from vfod.config.model import Config, VfoConfig
from vfod.errors import UsageError
from vfod.radio.calibration import Beat, Measured, Sideband, crystal_error
from vfod.radio.carriers import Carrier, carriers_on
from vfod.radio.guide import candidates, light, light_by_the_clock
from vfod.radio.receiver import Detector, Receiver
from vfod.radio.sun import Site, elevation
from vfod.survey.calibrating import (
    Taken,
    both_sidebands,
    combined,
    tone_deviation,
    verdict,
)
from vfod.survey.combining import Combined
from vfod.survey.tone import find_tone
from vfod.units import MILLI, format_duration, format_frequency, parse_frequency

#: How far beside the carrier the receiver is tuned for a recording, hertz: a tone in the middle of
#: what audio paths pass.
BESIDE = 1000

#: Times that each side is listened to: the scatter between them tells what the ionosphere does.
LISTENINGS = 3

#: A tone so far from that is another one: 200 ppm at 30 MHz.
ASTRAY = 600.0


def calibrate(words: list[str]) -> int:
    """Find the error of the crystal."""
    parser = Parser(
        "calibrate",
        "The error of the VFO's crystal, against a carrier of a standard-frequency station.\n"
        "Without a carrier: which are likely to be heard now.\n\n"
        "With one: the dial goes there; find zero beat by the signs + and - or a difference like\n"
        "-5Hz, and press Enter; another carrier's frequency goes there; q ends. From recordings:\n"
        "--place moves the dial 1 kHz below (upper) or above (lower) a carrier; record WAV files\n"
        "there, some seconds each, and name them by --recording. Taken from both sides, the error\n"
        "of the sound card's clock cancels. With --listen all that is done by the recorder that\n"
        "audio: names in the configuration, from both sides.\n\n"
        "The result is kept in the journal, and the daemon goes by it where the configuration has\n"
        "`correction: measured`, its default.",
        "vfod calibrate",
        "vfod calibrate 9996",
        "vfod calibrate --listen 9996",
        "vfod calibrate --recording 9996k:upper:below.wav --recording 9996k:lower:above.wav",
    )
    parser.add_argument(
        "carrier",
        nargs="?",
        type=parse_frequency,
        help="frequency of the carrier, to find zero beat",
    )
    parser.add_argument(
        "--place",
        metavar="CARRIER:SIDE",
        type=_beside,
        help="put the dial beside a carrier, to record its tone",
    )
    parser.add_argument(
        "--recording",
        metavar="CARRIER:SIDE:FILE",
        type=_recorded,
        action="append",
        default=[],
        help="a recording made there; several may be given",
    )
    parser.add_argument(
        "--listen",
        metavar="CARRIER",
        type=parse_frequency,
        help="record its tone by the configured recorder",
    )
    parser.add_argument("--take", action="store_true", help="keep the result without asking")
    parser.add_argument("--vfo", metavar="NAME", help="which VFO; default the first one")
    parser.add_config()
    parser.add_socket()
    parser.add_json("print the result as JSON")
    given = parser.parse_args(words)
    if sum(map(bool, (given.carrier, given.place, given.recording, given.listen))) > 1:
        raise UsageError(
            "a carrier, --place, --recording and --listen are four ways",
            remedy="take one of them",
        )
    config = configuration(given.config)
    settings = vfo_of(config, given.vfo)
    if given.place:
        return _place(settings, given.place, given.socket)
    if given.recording:
        taken = _from_recordings(settings, given.recording, given.socket)
    elif given.listen:
        taken = _by_listening(settings, given.listen, given.socket)
    elif given.carrier:
        carriers_at(given.carrier)
        taken = zero_beats(settings, given.carrier, given.socket)
    else:
        print("\n".join(_guide(config, settings, now())))
        return 0
    found = combined(taken)
    if found is None:
        print("nothing was measured", file=sys.stderr)
        return UsageError.exit_code
    if given.json:
        print_json({"error": found.value, "low": found.low, "high": found.high,
                    "deviation": found.deviation, "measurements": found.count})  # fmt: skip
    else:
        print("\n".join(result_lines(found)))
    if given.take or (not given.json and _agreed()):
        print(_keep(settings, taken, found, given.socket), file=sys.stderr)
    return 0


def result_lines(found: Combined) -> list[str]:
    """A result for a person."""
    times = "measurement" if found.count == 1 else "measurements"
    return [
        f"the crystal is off by {found.value:+.4f} ppm; "
        f"in 95 of 100 cases between {found.low:+.4f} and {found.high:+.4f} "
        f"({found.count} {times})",
        verdict(found),
    ]


def carriers_at(frequency: int) -> tuple[Carrier, ...]:
    """The stations on a carrier; UsageError where there is none."""
    found = carriers_on(frequency)
    if not found:
        raise UsageError(
            f"no station of standard frequency is known on {format_frequency(frequency)}",
            remedy="`vfod calibrate` lists them",
        )
    return found


# --- what to compare with -------------------------------------------------------------------------


def _guide(config: Config, settings: VfoConfig, when: float) -> list[str]:
    place = config.place
    if place.latitude is not None and place.longitude is not None:
        site = Site(latitude=place.latitude, longitude=place.longitude)
        sky, by = light(elevation(when, site)), "by the sun"
    else:
        local = datetime.fromtimestamp(when, UTC).astimezone(place.zone)
        sky, by = light_by_the_clock(local.hour), "by the clock; place: in the configuration helps"
    found = candidates(when, sky, settings.receiver)
    lines = [f"{local_text(when, place.zone, seconds=False)}, {sky} {by}"]
    for title, likely in (("likely to be heard now:", True), ("less likely:", False)):
        some = [one for one in found if one.likely is likely]
        if some:
            lines.append(title)
        for one in some:
            line = f"  {format_frequency(one.frequency):>9}  {one.names}"
            if one.wait:
                line += f"; plain carrier in {format_duration(round(one.wait))}"
            if settings.receiver.range_at(one.frequency).detector is Detector.ENVELOPE:
                line += "; no beat by an envelope detector without a beat oscillator"
            lines.append(line)
    if not found:
        return [*lines, "none of the known carriers is inside the receiver's range"]
    best = next((one for one in found if one.likely), found[0])
    shown = format_frequency(best.frequency).removesuffix(" kHz")
    return [*lines, f"next: vfod calibrate {shown}; the other ways are in vfod calibrate --help"]


# --- recordings -----------------------------------------------------------------------------------


def _beside(text: str) -> tuple[int, Sideband]:
    """A carrier and the side of it."""
    frequency, _, side = text.partition(":")
    if side not in [*Sideband]:
        raise UsageError(
            f"{text[:40]!r} names no side of a carrier",
            remedy="write it like 9996k:upper or 9996k:lower",
        )
    return parse_frequency(frequency), Sideband(side)


def _recorded(text: str) -> tuple[int, Sideband, str]:
    """A carrier, the side of it, and the recording made there."""
    beside, _, path = text.partition(":")[2].partition(":")
    if not path:
        raise UsageError(
            f"{text[:60]!r} is no recording", remedy="write it like 9996k:upper:below.wav"
        )
    return *_beside(f"{text.partition(':')[0]}:{beside}"), path


def dial_beside(receiver: Receiver, carrier: int, side: Sideband) -> int:
    """The dial frequency at which a carrier is heard as a tone of BESIDE hertz."""
    tuned = carrier - BESIDE if side is Sideband.UPPER else carrier + BESIDE
    return tuned - receiver.range_at(tuned).pitch


def _place(settings: VfoConfig, beside: tuple[int, Sideband], socket: str | None) -> int:
    carrier, side = beside
    carriers_at(carrier)
    dial = dial_beside(settings.receiver, carrier, side)
    answer = call(socket, "tune", frequency=dial, vfo=settings.name)
    print(answer["text"])
    print(f"record some seconds, then: vfod calibrate --recording {carrier / 1000:g}k:{side}:FILE")
    return 0


def _from_recordings(
    settings: VfoConfig, recorded: list[tuple[int, Sideband, str]], socket: str | None
) -> list[Taken]:
    status = call(socket, "status", vfo=settings.name)["vfos"][settings.name]
    sides: dict[int, dict[Sideband, list[tuple[Measured, float]]]] = {}
    for carrier, side, path in recorded:
        samples, rate = samples_of(path)
        found = _tone(settings, status, carrier, side, samples, rate, path)
        sides.setdefault(carrier, {}).setdefault(side, []).append(found)
    return _from_sides(sides)


def _by_listening(settings: VfoConfig, carrier: int, socket: str | None) -> list[Taken]:
    """From both sides of a carrier, several times, by the configured recorder."""
    carriers_at(carrier)
    status = call(socket, "status", vfo=settings.name)["vfos"][settings.name]
    receiver = replace(settings.receiver, correction=Fraction(str(status["correction"])))
    by_side: dict[Sideband, list[tuple[Measured, float]]] = {}
    for _ in range(LISTENINGS):
        for side in Sideband:
            dial = dial_beside(receiver, carrier, side)
            answer = call(socket, "tune", frequency=dial, vfo=settings.name)
            print(answer["text"], file=sys.stderr)
            samples, rate = listened(settings)
            found = _tone(settings, status, carrier, side, samples, rate, f"{side} side")
            by_side.setdefault(side, []).append(found)
    return _from_sides({carrier: by_side})


def _from_sides(sides: dict[int, dict[Sideband, list[tuple[Measured, float]]]]) -> list[Taken]:
    taken = []
    for carrier, by_side in sides.items():
        uppers, lowers = (by_side.get(side, []) for side in Sideband)
        pairs = min(len(uppers), len(lowers))
        measured = [
            both_sidebands(up[0], low[0])
            for up, low in zip(uppers[:pairs], lowers[:pairs], strict=True)
        ]
        measured += [
            replace(one, deviation=tone_deviation(one.deviation, part))
            for one, part in [*uppers[pairs:], *lowers[pairs:]]
        ]
        taken += [Taken(carrier=carrier, measured=one) for one in measured]
    return taken


def _tone(
    settings: VfoConfig,
    status: dict[str, Any],
    carrier: int,
    side: Sideband,
    samples: list[float],
    rate: float,
    path: str,
) -> tuple[Measured, float]:
    """The measurement by a record called `path`, and the factor for its sound card's clock."""
    limit = max(one.limit for one in carriers_at(carrier))
    receiver = replace(settings.receiver, correction=Fraction(str(status["correction"])))
    dial = dial_beside(receiver, carrier, side)
    tone = find_tone(samples, rate, low=BESIDE - ASTRAY, high=BESIDE + ASTRAY)
    if tone is None:
        raise UsageError(
            f"{path}: no tone near {BESIDE} Hz stands out of the noise",
            remedy=f"record with the dial at {format_frequency(dial)}, in a plain minute",
        )
    print(
        f"{path}: {tone.frequency:.3f} Hz, give or take {tone.deviation:.3f} Hz, "
        f"{tone.signal_to_noise:.0f} dB above the noise",
        file=sys.stderr,
    )
    # The VFO makes what is asked for to within half its resolution, evenly spread.
    rounding = (status["link"]["resolution"] or 1) / MILLI / 12**0.5
    beat = Beat(
        carrier=carrier,
        oscillator=Fraction(receiver.millihertz_for(dial), MILLI),
        tone=Fraction(tone.frequency),
        sideband=side,
        deviation=hypot(tone.deviation, rounding),
        limit=limit,
    )
    part = receiver.range_at(dial)
    found = crystal_error(part, beat, receiver.crystal)
    return found, tone.frequency * found.deviation / beat.deviation


# --- keeping it -----------------------------------------------------------------------------------


def _agreed() -> bool:
    print("keep it and go by it? [y/N] ", end="", flush=True)
    return sys.stdin.readline().strip().lower() in ("y", "yes")


def _keep(settings: VfoConfig, taken: list[Taken], found: Combined, socket: str | None) -> str:
    against = ", ".join(format_frequency(f) for f in sorted({one.carrier for one in taken}))
    answer = call(
        socket,
        "calibration",
        error=found.value,
        deviation=found.deviation,
        low=found.low,
        high=found.high,
        measurements=found.count,
        against=against,
        vfo=settings.name,
    )
    text: str = answer["text"]
    if not settings.goes_by_measured:
        written = float(settings.receiver.correction)
        text += (
            f"\nthe configuration has a figure of its own, {written:+g} ppm, which goes before it: "
            f"write `correction: measured` under {settings.name} and `vfod reload`"
        )
    return text
