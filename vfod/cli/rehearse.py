"""`vfod rehearse`: a night before it comes, and what would be found in the morning."""

import dataclasses
import logging
import sys
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

from vfod.app.rehearse import MOST_BY_SOUND, slots_in
from vfod.app.rehearse import rehearse as run
from vfod.app.tally import Tally, VfoTally
from vfod.cli.parser import Parser
from vfod.cli.setting import configuration, local_text, now, print_json
from vfod.cli.when import parse_night
from vfod.clock import SystemClock
from vfod.config.model import Config
from vfod.plan.localtime import night_of
from vfod.sim.scenario import load
from vfod.state.say import MISSED
from vfod.units import format_duration, format_frequency

#: Lines of the timeline that are printed; of more, the first and the last ones.
_SHOWN = 60


def rehearse(words: list[str]) -> int:
    """Rehearse a night and print what it came to."""
    parser = Parser(
        "rehearse",
        "A whole night in a minute or two: the daemon with your configuration, on a clock that\n"
        "jumps, with simulated VFOs and invented stations on the channels of your sweeps. Then\n"
        "the timeline and the totals, as you would find them in the morning. Nothing is written\n"
        "and nothing is touched, unless --journal names a new file for the night's journal.\n\n"
        "Times, visits and passes are what the night will have; what is heard is invented. Levels\n"
        "come from an invented sound where the configuration takes them from there, unless the\n"
        "night has so many readings that it would take long; it says so.",
        "vfod rehearse --night 2026-12-24",
    )
    parser.add_argument(
        "--night", metavar="DATE", type=parse_night, help="the date of its evening; default tonight"
    )
    parser.add_argument(
        "--scenario", type=Path, metavar="FILE", help="what is on the air, and box and receiver"
    )
    parser.add_argument("--journal", type=Path, metavar="FILE", help="write its journal there")
    parser.add_seed()
    parser.add_config()
    parser.add_json("print the totals as JSON")
    given = parser.parse_args(words)
    config = configuration(given.config)
    night = given.night or night_of(now(), config.place.zone)
    slots = slots_in(config, night)
    scenario = load(given.scenario) if given.scenario is not None else None
    # Its incidents are in the timeline.
    logging.getLogger("vfod").addHandler(logging.NullHandler())
    clock, began = SystemClock(), now()
    tally = run(
        config,
        slots,
        scenario=scenario,
        journal=given.journal,
        seed=given.seed,
        progress=_progress(config),
    )
    if given.json:
        print_json(to_plain(tally, night))
    else:
        print("\n".join(_lines(tally, config, night, clock.wall() - began)))
    return 0


def _progress(config: Config) -> Callable[[float, Tally], None]:
    """One line that is written over on a terminal, else a line each tenth of the night."""
    is_terminal = sys.stderr.isatty()
    zone = config.place.zone
    told = 0

    def tell(part: float, tally: Tally) -> None:
        nonlocal told
        when = local_text(tally.since + part * (tally.until - tally.since), zone, seconds=False)
        line = f"{part:4.0%}  {when}  {tally.visits} visits"
        if is_terminal:
            end = "\n" if part >= 1 else ""
            print(f"\r{line}", end=end, file=sys.stderr, flush=True)
        elif int(part * 10) > told:
            told = int(part * 10)
            print(line, file=sys.stderr, flush=True)

    return tell


# --- for people ----------------------------------------------------------------------------------


def _lines(tally: Tally, config: Config, night: date, took: float) -> Iterator[str]:
    zone = config.place.zone
    length = format_duration(tally.until - tally.since)
    yield f"the night of {night.isoformat()}, {zone.key}: {length} rehearsed in {took:.0f} s"
    yield from _levels(tally)
    yield ""
    several = len(config.vfos) > 1
    shown = tally.timeline
    if len(shown) > _SHOWN:
        shown = [*shown[: _SHOWN // 2], *shown[-_SHOWN // 2 :]]
    for place, (when, vfo, text) in enumerate(shown):
        if place == _SHOWN // 2 and len(tally.timeline) > _SHOWN:
            yield f"  ... {len(tally.timeline) - _SHOWN} lines more ..."
        who = f"{vfo}: " if several and vfo else ""
        yield f"  {local_text(when, zone)}  {who}{text}"
    for name, night_of_it in tally.vfos.items():
        yield ""
        yield name
        yield from _vfo(night_of_it)


def _levels(tally: Tally) -> Iterator[str]:
    if not tally.readings_by_sound:
        return
    if tally.by_sound:
        yield "levels come from the sound, as in the night, but from an invented one"
        return
    yield (
        "levels come from the simulated box's line, and not from the sound as in the night: its "
        f"{tally.readings_by_sound} readings would take a millisecond each or more, and "
        f"{MOST_BY_SOUND} are the most that are made up"
    )


def _vfo(vfo: VfoTally) -> Iterator[str]:
    yield f"  windows   {vfo.opened} opened, {vfo.closed} closed, {len(vfo.missed) or 'no'} gaps"
    for gap in vfo.missed:
        lasted = format_duration(gap.until - gap.since)
        yield f"  gap       {gap.window}: {lasted}, {MISSED.get(gap.reason, gap.reason)}"
    for name, sweep in vfo.sweeps.items():
        yield (
            f"  sweep     {name}: {sweep.visits} visits, {sweep.passes} passes, {sweep.holds} holds"
            f" ({format_duration(round(sweep.held))}), {sweep.yields} yields"
            f" ({format_duration(round(sweep.lost))} lost)"
        )
    if not vfo.bands:
        return
    yield f"  {'heard':<12}{'channels':>9}{'active':>8}{'visits':>8}{'active':>8}  strongest"
    for name, band in vfo.bands.items():
        strongest = ""
        if band.strongest is not None:
            level, dial = band.strongest
            strongest = f"{level:.1f} {band.unit} at {format_frequency(dial)}"
        yield (
            f"  {name or 'no band':<12}{len(band.channels):>9}{len(band.active_channels):>8}"
            f"{band.visits:>8}{band.active_visits:>8}  {strongest}"
        ).rstrip()


# --- for machines --------------------------------------------------------------------------------


def to_plain(tally: Tally, night: date) -> dict[str, Any]:
    """The night as JSON knows it; times in Unix seconds, frequencies in hertz."""
    return {
        "night": night.isoformat(),
        "since": tally.since,
        "until": tally.until,
        "visits": tally.visits,
        "by_sound": tally.by_sound,
        "readings_by_sound": tally.readings_by_sound,
        "timeline": [
            {"time": when, "vfo": vfo, "text": text} for when, vfo, text in tally.timeline
        ],
        "vfos": {
            name: {
                "opened": vfo.opened,
                "closed": vfo.closed,
                "missed": [dataclasses.asdict(gap) for gap in vfo.missed],
                "sweeps": {sweep: dataclasses.asdict(did) for sweep, did in vfo.sweeps.items()},
                "bands": {
                    band: {
                        "channels": len(heard.channels),
                        "active_channels": len(heard.active_channels),
                        "visits": heard.visits,
                        "active_visits": heard.active_visits,
                        "strongest": None if heard.strongest is None else heard.strongest[0],
                        "unit": heard.unit,
                    }
                    for band, heard in vfo.bands.items()
                },
            }
            for name, vfo in tally.vfos.items()
        },
    }
