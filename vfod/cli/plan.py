"""`vfod plan` and `vfod sweep list`: sweeps counted and added up before anything moves."""

from collections.abc import Sequence
from typing import Any

from vfod.cli import defaults
from vfod.cli.parser import Parser
from vfod.cli.setting import configuration, local_text, now, print_json
from vfod.config.complaints import meant
from vfod.config.model import Config
from vfod.errors import UsageError
from vfod.plan.outlook import Outlook, outlook, warnings
from vfod.plan.precision import relative_error, visits_needed
from vfod.plan.roster import roster_of
from vfod.plan.slots import Slot, open_at, openings
from vfod.plan.sweep import Sweep, SweepPlan, plan_sweep
from vfod.radio.bands import chain
from vfod.units import format_duration, format_frequency

#: Occupancies for which the precision is told: a rare visitor to a busy channel.
OCCUPANCIES = (0.05, 0.1, 0.2, 0.5)

#: Channels of which each is printed; of more, the first and last few.
_ALL_SHOWN, _SHOWN = 10, 3


def plan(words: list[str]) -> int:
    """Print what sweeps do."""
    parser = Parser(
        "plan",
        "What a sweep does and what it can tell, added up from the configuration before anything\n"
        "moves: channels, times, visits in its windows, and how well an occupancy can be known.",
        "vfod plan evening",
        "vfod plan --defaults",
    )
    parser.add_argument("sweep", nargs="?", help="its name; default all sweeps")
    parser.add_argument(
        "--defaults",
        action="store_true",
        help="and every default, with what the configuration says otherwise",
    )
    parser.add_config()
    parser.add_json()
    given = parser.parse_args(words)
    config = configuration(given.config)
    when = now()
    plans = [plan_of(config, sweep) for sweep in _chosen(config, given.sweep)]
    if given.json:
        print_json([to_plain(config, item, when) for item in plans])
        return 0
    print("\n\n".join(describe(config, item, when) for item in plans))
    if given.defaults:
        print("", *defaults.lines(config), sep="\n")
    return 0


def sweep_list(words: list[str]) -> int:
    """Print the sweeps, a line for each."""
    parser = Parser("sweep list", "The sweeps of the configuration.", "vfod sweep list")
    parser.add_config()
    parser.add_json()
    given = parser.parse_args(words)
    config = configuration(given.config)
    plans = [plan_of(config, sweep) for sweep in config.sweeps.values()]
    if given.json:
        print_json([to_plain(config, item, now()) for item in plans])
        return 0
    print("\n".join(map(one_line, plans)) or "no sweep is configured")
    return 0


def plan_of(config: Config, sweep: Sweep) -> SweepPlan:
    """The sweep laid over the receiver of its VFO."""
    return plan_sweep(sweep, config.vfos[sweep.vfo].receiver, config.bands)


def one_line(item: SweepPlan) -> str:
    """`evening: 49m, 41m, joined; 111 channels, a pass takes 4 min`."""
    sweep = item.sweep
    where = ", ".join(band.name for band in sweep.bands) or "single channels"
    joined = ", joined" if sweep.joined else ""
    takes = format_duration(item.pass_duration)
    return f"{sweep.name}: {where}{joined}; {len(item)} channels, a pass takes {takes}"


def next_windows(config: Config, sweep: Sweep, when: float) -> list[Slot]:
    """For each window of the sweep, the slot that is open or opens next."""
    windows = [w for w in config.windows if config.sweeps[w.sweep].vfo == sweep.vfo]
    wanted = {
        window.name
        for window in windows
        if sweep.name in (window.sweep, *(guest.sweep for guest in window.guests))
    }
    found: dict[str, Slot] = {}
    current = open_at(windows, when)
    for slot in ([current] if current else []), openings(windows, when):
        for one in slot:
            if one.window.name in wanted:
                found.setdefault(one.window.name, one)
            if len(found) == len(wanted):
                break
    return list(found.values())


def _chosen(config: Config, name: str | None) -> Sequence[Sweep]:
    if name is None:
        if not config.sweeps:
            raise UsageError(f"{config.path} has no sweep", remedy="describe one under sweeps:")
        return list(config.sweeps.values())
    if name not in config.sweeps:
        raise UsageError(f"there is no sweep {name!r}", remedy=meant(name, config.sweeps))
    return [config.sweeps[name]]


# --- for people ----------------------------------------------------------------------------------


def describe(config: Config, item: SweepPlan, when: float) -> str:
    """Everything about a sweep, in tables."""
    sweep = item.sweep
    rows = [
        ("bands", _bands(sweep)),
        ("channels", _channels(item)),
        ("raster", _rasters(item)),
        ("order", _order(item)),
        ("visit", _visit(item)),
        ("pass", f"{format_duration(item.pass_duration)}, holds and yields not counted"),
        ("revisit time", format_duration(item.revisit_time)),
        ("in a pass", _changes(item)),
    ]
    lines = [f"sweep {sweep.name} on {sweep.vfo}", *_table(rows), ""]
    slots = next_windows(config, sweep, when)
    for slot in slots:
        lines += [*_window(config, item, slot), ""]
    if not slots:
        lines += ["  no window: it runs when it is started"]
    return "\n".join(lines).rstrip()


def _table(rows: Sequence[tuple[str, str]]) -> list[str]:
    width = max(len(name) for name, _ in rows) + 2
    return [f"  {name:<{width}}{value}" for name, value in rows]


def _bands(sweep: Sweep) -> str:
    if not sweep.bands:
        return "none, single channels"
    if not sweep.joined:
        return ", ".join(map(str, sweep.bands))
    return ", ".join(map(str, chain(sweep.bands, sweep.raster))) + ", joined without a gap"


def _channels(item: SweepPlan) -> str:
    dials = sorted(channel.dial for channel in item.channels)
    shown = [f"{dial / 1000:g}" for dial in dials]
    if len(shown) > _ALL_SHOWN:
        shown = [*shown[:_SHOWN], "...", *shown[-_SHOWN:]]
    skips = f", {len(item.sweep.skip)} entries skipped" if item.sweep.skip else ""
    return f"{len(dials)}{skips}: {' '.join(shown)} kHz"


def _rasters(item: SweepPlan) -> str:
    sweep = item.sweep
    if not sweep.bands:
        return "none, single channels"
    found = {sweep.raster or band.raster for band in sweep.bands}
    return ", ".join(format_frequency(raster) for raster in sorted(found))


def _order(item: SweepPlan) -> str:
    dials = [channel.dial for channel in item.channels]
    grouped = "" if dials == sorted(dials) else ", one band filter after the other"
    return str(item.sweep.order).replace("-", " ") + grouped


def _visit(item: SweepPlan) -> str:
    settles = sorted({item.settle_in(part) for part in item.ranges})
    times = " or ".join(format_duration(settle) for settle in settles)
    doubled = "; the settle is doubled after a change of range" if item.range_changes else ""
    return f"settle {times}, dwell {format_duration(item.sweep.dwell)}{doubled}"


def _changes(item: SweepPlan) -> str:
    return (
        f"{item.range_changes} changes of range, {item.select_changes} switchings of the band "
        "filter"
    )


def _window(config: Config, item: SweepPlan, slot: Slot) -> list[str]:
    zone, length = slot.window.zone, slot.closes - slot.opens
    opens = local_text(slot.opens, zone, seconds=False)
    closes = local_text(slot.closes, zone, seconds=False)
    found, said = ahead(config, item.sweep, slot)
    visits = found.visits
    lines = [
        f"  window {slot.window.name}: {opens} to {closes} {zone.key}",
        f"  {visits} visits of each channel in {format_duration(length)}",
    ]
    if slot.window.guests:
        others = [slot.window.sweep, *(guest.sweep for guest in slot.window.guests)]
        others.remove(item.sweep.name)
        revisit = found.revisit_time
        longest = "none twice" if revisit is None else f"{format_duration(revisit)} at the longest"
        lines += [
            f"  shared with {', '.join(others)}: {found.share:.0%} of the time is its own",
            f"  revisit time in it: {longest}",
        ]
    return [
        *lines,
        "  an occupancy of          " + "".join(f"{o:>10.0%}" for o in OCCUPANCIES),
        "  is known to, at best   ± "
        + "".join(f"{_percent(relative_error(visits, o)):>10}" for o in OCCUPANCIES),
        "  visits for ± 10 % of it  " + "".join(f"{visits_needed(o):>10}" for o in OCCUPANCIES),
        *(f"  warning: {text}" for text in said),
    ]


def ahead(config: Config, sweep: Sweep, slot: Slot) -> tuple[Outlook, list[str]]:
    """What becomes of a sweep in a slot, and where that is less than was asked for."""
    receiver = config.vfos[sweep.vfo].receiver
    roster = roster_of(slot.window, config.sweeps, receiver, config.bands)
    every = outlook(roster, slot.closes - slot.opens)
    (own,) = (found for found in every if found.plan.sweep.name == sweep.name)
    return own, warnings(every)


def _percent(error: float) -> str:
    return "unknown" if error == float("inf") else f"{error:.0%}"


# --- for machines --------------------------------------------------------------------------------


def to_plain(config: Config, item: SweepPlan, when: float) -> dict[str, Any]:
    """A sweep as JSON knows it; hertz, seconds, shares of one."""
    sweep = item.sweep
    return {
        "sweep": sweep.name,
        "vfo": sweep.vfo,
        "bands": [band.name for band in sweep.bands],
        "joined": sweep.joined,
        "order": str(sweep.order),
        "channels": [
            {
                "dial": visit.dial,
                "band": visit.band,
                "settle": visit.settle,
                "dwell": visit.dwell,
                "select": visit.select,
            }
            for visit in item
        ],
        "pass_duration": round(item.pass_duration, 3),
        "revisit_time": round(item.revisit_time, 3),
        "range_changes": item.range_changes,
        "select_changes": item.select_changes,
        "defaults": defaults.table(),
        "otherwise": defaults.changed(config),
        "windows": [
            _window_to_plain(config, sweep, slot) for slot in next_windows(config, sweep, when)
        ],
    }


def _window_to_plain(config: Config, sweep: Sweep, slot: Slot) -> dict[str, Any]:
    found, said = ahead(config, sweep, slot)
    revisit = found.revisit_time
    return {
        "window": slot.window.name,
        "opens": slot.opens,
        "closes": slot.closes,
        "visits": found.visits,
        "share": round(found.share, 4),
        "longest_revisit_time": None if revisit is None else round(revisit, 3),
        "relative_error": {f"{o:g}": _finite(relative_error(found.visits, o)) for o in OCCUPANCIES},
        "warnings": said,
    }


def _finite(value: float) -> float | None:
    return None if value == float("inf") else round(value, 4)
