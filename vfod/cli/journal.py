"""`vfod journal`: what happened, and what was heard where; reads the file, needs no daemon."""

import asyncio
import difflib
from argparse import Namespace
from collections.abc import Iterable, Iterator, Sequence
from datetime import tzinfo
from pathlib import Path
from typing import Any

from vfod.cli.parser import Parser
from vfod.cli.setting import (
    check_vfo,
    configuration_if_any,
    journal_path,
    local_text,
    now,
    print_json,
    zone_of,
)
from vfod.cli.when import When
from vfod.clock import SystemClock
from vfod.errors import UsageError
from vfod.events import ChannelObserved
from vfod.events.plain import KINDS, kind, to_plain
from vfod.plan.precision import relative_error
from vfod.state.say import event_text, observation_text
from vfod.store import ChannelSummary, Entry, Observation, Reader

#: Lines where nobody says how many: a screen and a bit.
LINES = 40

#: More than anybody reads or a file this side of a disk holds; SQLite counts no further than 2^63.
MOST_LINES = 1_000_000_000

#: Seconds from one look into the file to the next; the daemon commits about as often.
_LOOK_EVERY = 1.0

#: Events looked through each time; so many do not happen in a second.
_AT_ONCE = 500

_OBSERVED = kind(ChannelObserved)


def journal(words: list[str]) -> int:
    """Print the journal, or a summary of its channels."""
    parser = Parser(
        "journal",
        "What happened, oldest first, in local time; without --since, --until or --last the last\n"
        f"{LINES} lines. `vfod journal channels` sums up what was heard on each channel,\n"
        "`vfod journal export` writes CSV, JSON lines or ADIF; `vfod journal backup FILE`,\n"
        "`vfod journal check` and `vfod journal repair` care for the file.\n\n"
        "WHEN is 3h (ago), 22:00 (the last one), 2026-11-25 or '2026-11-25 22:00'.",
        "vfod journal --since 22:00 --kind dial-tuned --kind knob-turned",
        "vfod journal channels --since 10h",
    )
    parser.add_argument("what", nargs="?", choices=("channels",), help="sum up the observations")
    parser.add_argument("--since", metavar="WHEN", type=When, help="from then on")
    parser.add_argument("--until", metavar="WHEN", type=When, help="up to just before then")
    parser.add_argument(
        "--kind",
        action="append",
        default=[],
        metavar="KIND",
        type=_kind,
        help="only such; may be repeated",
    )
    parser.add_number("--last", least=1, most=MOST_LINES, like=20, help="only the last N")
    parser.add_argument("--follow", action="store_true", help="go on with what comes, until Ctrl-C")
    parser.add_argument("--vfo", metavar="NAME", help="of one VFO, and the daemon's own")
    parser.add_argument("--journal", metavar="FILE", help="the file; default as for the daemon")
    parser.add_config()
    parser.add_json("print each line as JSON")
    given = parser.parse_args(words)
    _check(given)
    config = configuration_if_any(given.config)
    zone, when = zone_of(config), now()
    since, until = (
        None if text is None else text.instant(when, zone) for text in (given.since, given.until)
    )
    with Reader(journal_path(given.journal, config)) as reader:
        check_vfo(given.vfo, config, reader)
        if given.what == "channels":
            _print_channels(reader.channels(since=since, until=until, vfo=given.vfo), zone, given)
            return 0
        seen = _newest_id(reader)
        newest = given.last
        if newest is None and since is None and until is None:
            newest = LINES
        found = _found(reader, given, since, until, newest)
        for item in found:
            _print(item, zone, as_json=given.json)
        path = reader.path
    if given.follow:
        seen = max([seen, *(item.id for item in found if isinstance(item, Entry))])
        asyncio.run(_follow(path, given, zone, seen, when))
    return 0


def _kind(name: str) -> str:
    if name not in KINDS:
        near = difflib.get_close_matches(name, KINDS, n=2)
        remedy = f"did you mean {' or '.join(near)}?" if near else f"known: {', '.join(KINDS)}"
        raise UsageError(f"{name[:40]!r} is no kind of event", remedy=remedy)
    return name


def _check(given: Namespace) -> None:
    if given.follow and given.until:
        raise UsageError("--follow has no end", remedy="leave out --until")
    if given.what and (given.follow or given.last or given.kind):
        raise UsageError(
            "a summary has no --follow, --last or --kind", remedy="bound it by --since and --until"
        )


Item = Entry | Observation


def _found(
    reader: Reader,
    given: Namespace,
    since: float | None,
    until: float | None,
    newest: int | None,
    ids_above: int | None = None,
) -> list[Item]:
    """The lines asked for; observations only where their kind is named, for there are so many."""
    kinds: Sequence[str] = given.kind
    found: list[Item] = []
    if set(kinds) != {_OBSERVED}:
        if ids_above is None:
            found += reader.events(
                since=since, until=until, vfo=given.vfo, kinds=kinds, newest=newest
            )
        else:
            some = reader.events(vfo=given.vfo, kinds=kinds, newest=_AT_ONCE)
            found += [entry for entry in some if entry.id > ids_above]
    if _OBSERVED in kinds:
        found += reader.observations(since=since, until=until, vfo=given.vfo)
        found.sort(key=lambda item: item.time)
    return found if newest is None else found[-newest:]


async def _follow(
    path: Path, given: Namespace, zone: tzinfo | None, seen: int, heard: float
) -> None:
    """Print events with an id above `seen` and observations after `heard`, for ever.

    Events go by their ids and not by their times, because the wall clock can be set back.
    """
    clock = SystemClock()
    while True:
        await clock.sleep_until(clock.monotonic() + _LOOK_EVERY)
        # Opened anew each time, because the daemon may have set the file aside.
        with Reader(path) as reader:
            newest = _newest_id(reader)
            if newest < seen:
                seen = 0
            for item in _found(reader, given, heard, None, None, ids_above=seen):
                if isinstance(item, Observation):
                    if item.time <= heard:
                        continue
                    heard = item.time
                _print(item, zone, as_json=given.json)
            seen = newest


def _newest_id(reader: Reader) -> int:
    return max((entry.id for entry in reader.events(newest=1)), default=0)


# --- lines ---------------------------------------------------------------------------------------


def _print(item: Item, zone: tzinfo | None, *, as_json: bool) -> None:
    if as_json:
        print_json(line_to_plain(item, zone))
    else:
        print(f"{local_text(item.time, zone)}  {_text(item, zone)}")
    # One who follows, or reads a pipe, shall not wait for a full buffer.
    print(end="", flush=True)


def _text(item: Item, zone: tzinfo | None) -> str:
    return _says(item, zone) + (" (clock doubted)" if item.doubted else "")


def _says(item: Item, zone: tzinfo | None) -> str:
    if isinstance(item, Observation):
        return observation_text(item.observed)
    if item.event is not None:
        return event_text(item.event, zone)
    fields = ", ".join(f"{name} {value}" for name, value in item.data.items())
    return f"{item.kind.replace('-', ' ')}: {fields}"


def line_to_plain(item: Item, zone: tzinfo | None) -> dict[str, Any]:
    """A line as JSON knows it."""
    if isinstance(item, Observation):
        return {
            "time": item.time,
            "vfo": item.vfo,
            "kind": _OBSERVED,
            "data": to_plain(item.observed),
            "doubted": item.doubted,
            "text": _text(item, zone),
        }
    return {
        "id": item.id,
        "run": item.run,
        "sequence": item.sequence,
        "time": item.time,
        "vfo": item.vfo,
        "kind": item.kind,
        "data": dict(item.data),
        "cause": item.cause,
        "doubted": item.doubted,
        "text": _text(item, zone),
    }


# --- channels ------------------------------------------------------------------------------------


def _print_channels(found: Sequence[ChannelSummary], zone: tzinfo | None, given: Namespace) -> None:
    if given.json:
        for item in found:
            print_json(channel_to_plain(item))
        return
    if not found:
        print("no channel was visited in that time")
        return
    print("\n".join(_table(found, zone)))


def channel_to_plain(item: ChannelSummary) -> dict[str, Any]:
    """A channel as JSON knows it; the occupancy is a share, its error relative to it."""
    occupancy, error = _occupancy(item)
    return {
        "vfo": item.vfo,
        "dial": item.dial,
        "band": item.band,
        "visits": item.visits,
        "judged_visits": item.judged_visits,
        "active_visits": item.active_visits,
        "occupancy": None if occupancy is None else round(occupancy, 4),
        "relative_error": None if error == float("inf") else round(error, 4),
        "strongest": item.strongest,
        "unit": item.unit,
        "first_active": item.first_active,
        "last_active": item.last_active,
    }


def _occupancy(item: ChannelSummary) -> tuple[float | None, float]:
    """The share of the visits that could be judged, None where none could; its relative error."""
    if not item.judged_visits:
        return None, float("inf")
    occupancy = item.active_visits / item.judged_visits
    return occupancy, relative_error(item.judged_visits, occupancy)


def _table(found: Iterable[ChannelSummary], zone: tzinfo | None) -> Iterator[str]:
    heads = f"{'kHz':>9}  {'band':<10}{'visits':>7}{'active':>7}"
    yield f"{heads}  {'occupancy':<14}{'strongest':<12}last"
    for item in found:
        occupancy, error = _occupancy(item)
        known = f" ± {error:.0%}" if 0 < error < float("inf") else ""
        shown = "unknown" if occupancy is None else f"{occupancy:.0%}{known} "
        strongest = "" if item.strongest is None else f"{item.strongest:.1f} {item.unit}"
        last = "" if item.last_active is None else local_text(item.last_active, zone)
        yield (
            f"{item.dial / 1000:>9g}  {item.band or '':<10}{item.visits:>7}{item.active_visits:>7}"
            f"  {shown:<14}{strongest:<12}{last}"
        ).rstrip()
    yield "± is relative to the occupancy, for visits that are independent of each other"
