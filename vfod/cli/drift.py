"""`vfod drift`: how the error of the crystal went on, from the calibrations in the journal."""

from collections.abc import Sequence

from vfod.cli.explain import vfo_of
from vfod.cli.night import write
from vfod.cli.parser import Parser
from vfod.cli.setting import call, configuration, journal_path, local_text, print_json
from vfod.errors import UsageError
from vfod.events import CrystalCalibrated
from vfod.store import Reader
from vfod.survey import stability
from vfod.survey.drifting import FEWEST, SHORTEST, SPAN, Fit, Point, fit, series
from vfod.units import format_duration

#: A fit is not followed further than this beyond the temperatures it was taken from, degrees.
BEYOND = 2.0


def drift(words: list[str]) -> int:
    """Tell the history."""
    parser = Parser(
        "drift",
        "The calibrations of a VFO's crystal over time, how steady it is (Allan deviation and\n"
        "others), and a line against the temperature of the box where there is enough for one.\n"
        "The daemon goes by the last calibration; by the line only where --take asks for it.",
        "vfod drift",
        "vfod drift --svg drift.svg",
        "vfod drift --at 21 --take",
    )
    parser.add_argument("--svg", metavar="FILE", help="draw the calibrations over time")
    parser.add_number(
        "--at",
        least=-60,
        most=100,
        like=21,
        whole=False,
        metavar="DEGREES",
        help="the error at a temperature, by the line",
    )
    parser.add_argument(
        "--take", action="store_true", help="with --at: let the daemon go by that error from now on"
    )
    parser.add_argument("--journal", metavar="FILE", help="the journal; default as of the daemon")
    parser.add_argument("--vfo", metavar="NAME", help="which VFO; default the first one")
    parser.add_config()
    parser.add_socket()
    parser.add_json()
    given = parser.parse_args(words)
    if given.take and given.at is None:
        raise UsageError("--take needs a temperature", remedy="write --at 21 as well")
    config = configuration(given.config)
    name = vfo_of(config, given.vfo).name
    with Reader(journal_path(given.journal, config)) as reader:
        found = [
            (entry.time, entry.event)
            for entry in reader.events(vfo=name, kinds=("crystal-calibrated",))
            if isinstance(entry.event, CrystalCalibrated) and not entry.doubted
        ]
    # What was worked out by a line is no measurement.
    measured = [(time, event) for time, event in found if not event.against.startswith(_LINE)]
    points = [
        Point(time=t, error=ev.error, deviation=ev.deviation, temperature=ev.temperature)
        for t, ev in measured
    ]
    if not points:
        raise UsageError(
            f"the crystal of {name} has not been measured yet", remedy="see `vfod calibrate`"
        )
    line = fit(points)
    if given.at is not None:
        return _at(line, given.at, name, given.socket, take=given.take, as_json=given.json)
    if given.svg is not None:
        from vfod.picture.points import Spot, points_svg

        spots = [Spot(t, ev.error, ev.low, ev.high) for t, ev in measured]
        svg = points_svg(spots, f"error of the crystal of {name}", "ppm", config.place.zone)
        write(given.svg, [svg.encode("utf-8")])
        return 0
    step, values = series(points)
    table = deviations(values)
    if given.json:
        print_json(
            {
                "calibrations": [
                    {"time": t, "error": ev.error, "low": ev.low, "high": ev.high,
                     "temperature": ev.temperature} for t, ev in measured
                ],
                "step": step,
                "deviations": {str(m): row for m, row in table},
                "slope": None if line is None else line.slope,
            }
        )  # fmt: skip
        return 0
    for time, event in measured:
        degrees = (
            "" if event.temperature is None else f"  {event.temperature:5.1f} \N{DEGREE SIGN}C"
        )
        print(
            f"{local_text(time, config.place.zone, seconds=False)}  {event.error:+9.4f} ppm  "
            f"{event.low:+.4f} to {event.high:+.4f}{degrees}  {event.against}"
        )
    print("\n".join(["", *_steadiness(step, values, table), "", *_against_temperature(line)]))
    return 0


#: What a correction by the line is said to be measured against.
_LINE = "the line at "


def deviations(values: Sequence[float]) -> list[tuple[int, dict[str, float]]]:
    """The deviations by averaging time in steps: 1, 2, 4, … as far as there are values."""
    rows = []
    m = 1
    while len(values) >= SHORTEST * m:
        row = {
            name: found
            for name, deviation in stability.DEVIATIONS.items()
            if (found := deviation(values, m)) is not None
        }
        rows.append((m, row))
        m *= 2
    return rows


def _steadiness(
    step: float, values: Sequence[float], table: list[tuple[int, dict[str, float]]]
) -> list[str]:
    if not table:
        return [
            f"how steady it is takes {SHORTEST} calibrations one after the other in about equal "
            f"steps; there are {len(values)}"
        ]
    names = list(stability.DEVIATIONS)
    lines = [
        f"{len(values)} calibrations without a gap, in steps of {format_duration(round(step))}; "
        "deviations in ppm:",
        "  " + "  ".join(["averaged over".ljust(14), *(name.rjust(10) for name in names)]),
    ]
    for m, row in table:
        cells = [f"{row[n]:{max(10, len(n))}.4f}" if n in row else " " * max(10, len(n))
                 for n in names]  # fmt: skip
        lines.append("  " + "  ".join([format_duration(round(step * m)).ljust(14), *cells]))
    return lines


def _against_temperature(line: Fit | None) -> list[str]:
    if line is None:
        return [
            f"a line against temperature takes {FEWEST} calibrations that span {SPAN:g} degrees"
        ]
    return [
        f"against temperature: {line.slope:+.4f} ppm a degree, give or take "
        f"{line.slope_reach:.4f}; {line.scatter:.4f} ppm around the line from {line.low:.1f} to "
        f"{line.high:.1f} \N{DEGREE SIGN}C",
        "it is used only when asked for: vfod drift --at DEGREES --take",
    ]


def _at(
    line: Fit | None, degrees: float, name: str, socket: str | None, *, take: bool, as_json: bool
) -> int:
    if line is None:
        raise UsageError("there is no line yet", remedy=_against_temperature(line)[0])
    if not line.low - BEYOND <= degrees <= line.high + BEYOND:
        raise UsageError(
            f"{degrees:g} degrees is beyond what was measured",
            remedy=f"the line is from {line.low:.1f} to {line.high:.1f}",
        )
    error, reach = line.at(degrees)
    if as_json:
        print_json({"error": error, "low": error - reach, "high": error + reach})
    else:
        print(
            f"at {degrees:g} \N{DEGREE SIGN}C {error:+.4f} ppm, in 95 of 100 cases between "
            f"{error - reach:+.4f} and {error + reach:+.4f}"
        )
    if take:
        taken = call(
            socket, "calibration", error=error, deviation=max(reach / 2, 1e-6), low=error - reach,
            high=error + reach, measurements=1, against=f"{_LINE}{degrees:g} degrees", vfo=name,
        )  # fmt: skip
        print(taken["text"])
    return 0
