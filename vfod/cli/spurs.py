"""`vfod spurs`: what a receiver may hear that is not there, and what it does hear of itself."""

import contextlib
import sys
from pathlib import Path
from typing import Any

from vfod.cli.ask import socket_path
from vfod.cli.explain import vfo_of
from vfod.cli.parser import Parser
from vfod.cli.plan import plan_of
from vfod.cli.setting import call, configuration, journal_path, now, print_json
from vfod.cli.watch import follow
from vfod.config.complaints import meant
from vfod.config.model import Config
from vfod.errors import DaemonAbsentError, UsageError
from vfod.plan.sweep import Sweep
from vfod.radio.spurs import images, predicted
from vfod.store import Reader
from vfod.survey.own import Reading, is_image, own_signals
from vfod.units import format_frequency

#: How far back images are looked for, seconds: a week, in which a receiver is not rebuilt.
SINCE = 7 * 86400.0


def spurs(words: list[str]) -> int:
    """Tell what is to be expected, or measure what is there."""
    parser = Parser(
        "spurs",
        "What a receiver may hear that is not on the air at that frequency: multiples of the\n"
        "crystal and of the intermediate frequency on the channels of a sweep, and channels whose\n"
        "image lies in a broadcast band.\n\n"
        "With --measure one pass is swept without the antenna, and what is heard then is the\n"
        "receiver's own: it is listed in the journal, and sweeps take it for no station unless\n"
        "something is 10 dB above it. Without such a pass nothing is called the receiver's own.\n\n"
        "With --images the journal is searched for channels that fade as their image frequency\n"
        "does, where both are swept within a minute of each other; they are listed likewise.",
        "vfod spurs evening",
        "vfod spurs evening --measure",
        "vfod spurs evening --images",
    )
    parser.add_argument("sweep", nargs="?", help="its name; default all sweeps")
    parser.add_argument("--measure", action="store_true", help="sweep a pass without the antenna")
    parser.add_argument("--images", action="store_true", help="look for images in the journal")
    parser.add_argument("--journal", metavar="FILE", help="the journal; default as of the daemon")
    parser.add_config()
    parser.add_socket()
    parser.add_json()
    given = parser.parse_args(words)
    config = configuration(given.config)
    if given.measure and given.images:
        raise UsageError("--measure and --images are two ways", remedy="take one of them")
    if (given.measure or given.images) and given.sweep is None:
        how = "--measure" if given.measure else "--images"
        raise UsageError(f"{how} needs a sweep", remedy=f"write vfod spurs SWEEP {how}")
    if given.images:
        sweep = _sweep(config, given.sweep)
        path = journal_path(given.journal, config)
        return _find_images(config, sweep, path, given.socket, as_json=given.json)
    if given.measure:
        return _measure(_sweep(config, given.sweep), given.socket, as_json=given.json)
    if not config.sweeps:
        raise UsageError(f"{config.path} has no sweep", remedy="describe one under sweeps:")
    names = config.sweeps if given.sweep is None else [_sweep(config, given.sweep).name]
    found = {name: _expected(config, config.sweeps[name]) for name in names}
    if given.json:
        print_json(found)
    else:
        print("\n".join(line for name, one in found.items() for line in _lines(name, one)))
    return 0


def _sweep(config: Config, name: str) -> Sweep:
    if name not in config.sweeps:
        raise UsageError(f"there is no sweep {name!r}", remedy=meant(name, list(config.sweeps)))
    return config.sweeps[name]


def _expected(config: Config, sweep: Sweep) -> dict[str, Any]:
    settings = vfo_of(config, sweep.vfo)
    dials = [channel.dial for channel in plan_of(config, sweep).channels]
    crystals = [settings.synthesiser.crystal] if settings.synthesiser else []
    return {
        "crystal": bool(crystals),
        "predicted": [
            {"dial": one.dial, "frequency": one.frequency, "why": one.why}
            for one in predicted(settings.receiver, dials, crystals)
        ],
        "images": [
            {"dial": one.dial, "frequency": one.frequency, "broadcast": one.broadcast}
            for one in images(settings.receiver, dials, config.bands)
        ],
    }


def _lines(name: str, found: dict[str, Any]) -> list[str]:
    lines = [f"{name}: to be expected, not measured"]
    for one in found["predicted"]:
        lines.append(f"  {format_frequency(one['dial'])}: {one['why']}")
    if not found["predicted"]:
        lines.append("  no channel near a multiple of the intermediate frequency or the crystal")
    if not found["crystal"]:
        lines.append("  the crystal is not described: vfos.NAME.synthesiser in the configuration")
    stretches: dict[str, list[dict[str, Any]]] = {}
    for one in found["images"]:
        if one["broadcast"] is not None:
            stretches.setdefault(one["broadcast"], []).append(one)
    for band, some in stretches.items():
        first, last = (format_frequency(one["dial"]) for one in (some[0], some[-1]))
        low, high = (format_frequency(one["frequency"]) for one in (some[0], some[-1]))
        lines.append(
            f"  {first} to {last}: the image is {low} to {high}, in the broadcast band {band}; "
            "strong stations there may be heard here"
        )
    if not stretches:
        lines.append("  no image in a broadcast band")
    return lines


# --- images ---------------------------------------------------------------------------------------


def _find_images(
    config: Config, sweep: Sweep, journal: Path, socket: str | None, *, as_json: bool
) -> int:
    dials = [channel.dial for channel in plan_of(config, sweep).channels]
    expected = images(config.vfos[sweep.vfo].receiver, dials, config.bands)
    readings: dict[int, list[Reading]] = {}
    wanted = {*dials, *(one.frequency for one in expected)}
    with Reader(journal) as reader:
        for seen in reader.observations(since=now() - SINCE, vfo=sweep.vfo):
            level, dial = seen.observed.level, seen.observed.dial
            if level is not None and dial in wanted and not seen.doubted:
                readings.setdefault(dial, []).append((seen.time, level))
    told = {
        one.dial: is_image(readings.get(one.dial, ()), readings.get(one.frequency, ()))
        for one in expected
    }
    # The strongest that was seen: what is well above it is something else.
    found = {dial: max(level for _, level in readings[dial]) for dial, is_one in told.items()
             if is_one}  # fmt: skip
    known = sum(is_one is not None for is_one in told.values())
    if known:
        text = call(
            socket,
            "own-signals",
            sweep=sweep.name,
            channels=known,
            signals=" ".join(f"{dial}:{level}" for dial, level in found.items()),
            images=True,
            vfo=sweep.vfo,
        )["text"]
    else:
        text = (
            "nothing can be told: no channel was looked at often enough within a minute of its "
            "image frequency, with levels that change; a sweep of both bands does that"
        )
    if as_json:
        print_json({"told": known, "images": found})
    else:
        print(text)
    return 0


# --- the pass without the antenna -----------------------------------------------------------------


def _measure(sweep: Sweep, socket: str | None, *, as_json: bool) -> int:
    print(
        f"take the antenna off, or close its input with its impedance; then a pass of {sweep.name} "
        "is swept. Enter when it is off, q to leave all as it is ",
        end="",
        file=sys.stderr,
        flush=True,
    )
    answer = sys.stdin.readline()
    if answer.strip() or not answer:
        print("nothing was measured", file=sys.stderr)
        return 0
    levels, unit = _pass(sweep, socket)
    found = own_signals(levels, sweep.margin)
    taken = call(
        socket,
        "own-signals",
        sweep=sweep.name,
        channels=len(levels),
        signals=" ".join(f"{dial}:{level}" for dial, level in found.items()),
        vfo=sweep.vfo,
    )
    if as_json:
        print_json({"channels": len(levels), "signals": found, "unit": unit})
        return 0
    print(taken["text"])
    for dial, level in found.items():
        print(f"  {format_frequency(dial)}  {level:.1f} {unit}")
    print("the antenna can be put on again")
    return 0


def _pass(sweep: Sweep, socket: str | None) -> tuple[dict[int, float], str]:
    """The levels of one pass by dial frequency, and their unit; the sweep is ended after it."""
    levels: dict[int, float] = {}
    unit = ""
    with contextlib.closing(follow(socket_path(socket))) as lines:
        next(lines, None)
        call(socket, "sweep-start", sweep=sweep.name)
        begun = False
        for line in lines:
            event, data = line["params"]["event"], line["params"]["data"]
            if line["params"]["vfo"] != sweep.vfo:
                continue
            begun = begun or event == "sweep-started"
            if not begun:
                continue
            if event == "channel-observed" and data["level"] is not None:
                levels[data["dial"]], unit = data["level"], data["unit"]
            elif event == "pass-completed":
                call(socket, "sweep-stop", vfo=sweep.vfo)
                return levels, unit
            elif event == "sweep-ended":
                raise UsageError(
                    f"the sweep ended before its pass was over: {data['reason']}",
                    remedy="measure again",
                )
    raise DaemonAbsentError("the daemon went away during the pass", remedy="measure again")
