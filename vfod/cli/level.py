"""`vfod level`: what the counts of the box's detector mean, and how long it takes to follow.

The running daemon is asked for the counts, which come faster than in a sweep; where none runs, the
box itself. What is found is printed, to be pasted: the person's own file is not touched.
"""

import asyncio
import math
import re
import sys
from collections.abc import Awaitable, Callable
from statistics import median, pstdev

from vfod.cli.levelbox import Box, reached
from vfod.cli.parser import Parser
from vfod.cli.setting import configuration
from vfod.config.model import VfoConfig
from vfod.config.quantities import level as parse_level
from vfod.config.words import UnfitError
from vfod.errors import UsageError
from vfod.radio.levels import CALIBRATED, LevelTable, microvolts, of_microvolts, s_units
from vfod.survey.settling import Settled, settled
from vfod.units import format_duration, format_frequency, parse_duration, parse_frequency

#: Jumps each way, and how long each is watched, seconds: a gain control that gives gain back with
#: a time constant of a second needs four of them for 50 dB.
JUMPS, WATCHED = 4, 6.0

#: What is proposed is longer than what was measured by this part: the next jump may be higher.
RESERVE = 0.2

#: As a scale or a person writes it, with either of Unicode's two letters.
_MICROVOLTS = re.compile(r"(\d+\.?\d*) ?[u\u00b5\u03bc]V")

#: Asks the person; gives the line, None at the end of the input.
Prompt = Callable[[str], Awaitable[str | None]]


def level(words: list[str]) -> int:
    """Make a table, or measure the settle time."""
    parser = Parser(
        "level",
        "table: what the counts of the level detector mean. Connect a signal source, or a station\n"
        "through an attenuator; give each level in turn, like -73dBm (or 50uV across 50 ohms, or\n"
        "dB, where it is only known relatively); an empty line ends it, `back` drops the last.\n"
        "settle: how long the level takes after a jump of the dial between two frequencies, best\n"
        "a strong station and an empty channel near it.\n\n"
        "Both print what belongs into the configuration, and change nothing there. The running\n"
        "daemon is asked: a sweep gives way, and goes on afterwards. Where none runs, the VFO is\n"
        "asked directly.",
        "vfod level table --at 9420",
        "vfod level settle 9420 9450",
    )
    parser.add_argument("what", choices=("table", "settle"))
    parser.add_argument(
        "frequencies", nargs="*", type=parse_frequency, help="of settle: the two frequencies"
    )
    parser.add_argument(
        "--at", metavar="FREQUENCY", type=parse_frequency, help="of table: where to tune before"
    )
    parser.add_argument(
        "--watch",
        metavar="TIME",
        type=parse_duration,
        default=WATCHED,
        help=f"of settle: how long each jump, default {WATCHED:g}s",
    )
    parser.add_argument("--vfo", metavar="NAME", help="which VFO; default the first one")
    parser.add_config()
    parser.add_socket()
    given = parser.parse_args(words)
    from vfod.cli.explain import vfo_of

    settings = vfo_of(configuration(given.config), given.vfo)
    if given.what == "table":
        if given.frequencies:
            raise UsageError("table takes no frequencies", remedy="write --at FREQUENCY")
        return asyncio.run(_table(settings, given.at, given.socket))
    if len(given.frequencies) != 2:
        raise UsageError("settle needs two frequencies", remedy="write vfod level settle 9420 9450")
    here, there = given.frequencies
    if given.watch < 1.0:
        raise UsageError("a jump is watched for a second at least", remedy="write --watch 6s")
    return asyncio.run(_settle(settings, here, there, given.watch, given.socket))


async def _table(settings: VfoConfig, at: int | None, socket: str | None) -> int:
    async with reached(settings, socket) as box:
        found = await make_table(box, at, _prompt)
    if found is None:
        return UsageError.exit_code
    print(yaml_of(found))
    return 0


async def _settle(
    settings: VfoConfig, here: int, there: int, watched: float, socket: str | None
) -> int:
    async with reached(settings, socket) as box:
        jumps = await measure_settling(box, settings, here, there, watched)
    print("\n".join(settle_lines(here, there, *jumps)))
    return 0 if all(one.after is not None for one in jumps) else 1


async def _prompt(text: str) -> str | None:
    def ask() -> str | None:
        print(text, end="", flush=True)
        return sys.stdin.readline() or None

    return await asyncio.to_thread(ask)


# --- the table ---------------------------------------------------------------------------------


async def make_table(box: Box, at: int | None, prompt: Prompt) -> LevelTable | None:
    """Walk a person through the points; None where fewer than two were made.

    Raises RefusedError for a box without a level detector, and what tuning raises.
    """
    if at is not None:
        await box.place(at)
    points: list[tuple[int, float]] = []
    unit: str | None = None
    # That there is a detector is seen before anybody connects anything.
    await box.counts()
    while (line := await prompt("level at the antenna, or Enter to end: ")) is not None:
        word = line.strip()
        if not word:
            break
        if word == "back":
            print(f"dropped: {points.pop()}" if points else "there is none to drop")
            continue
        try:
            decibels, of = _level(word)
        except UnfitError as error:
            print(error)
            continue
        if unit is not None and of != unit:
            print(f"the points before are in {unit}; write {decibels:g}{unit}, or begin anew")
            continue
        unit = of
        counts = await box.counts()
        point = round(median(counts)), decibels
        points.append(point)
        known = _known(decibels, of, at)
        print(f"  {point[0]} counts (they scatter by {pstdev(counts):.1f}): {known}")
        if trouble := _trouble(points):
            print(f"  {trouble}; `back` drops this point")
    if len(points) < 2 or unit is None:
        print("a table needs two points at least", file=sys.stderr)
        return None
    return LevelTable(tuple(sorted(points)), unit)


def _level(word: str) -> tuple[float, str]:
    """A level and its unit, in microvolts too, as the scales of signal sources have them."""
    if (found := _MICROVOLTS.fullmatch(word)) is None:
        return parse_level(word)
    if not (volts := float(found[1])):
        raise UnfitError("0 is no level; write what the source gives, like 50uV")
    return round(of_microvolts(volts), 1), CALIBRATED


def _known(decibels: float, of: str, at: int | None) -> str:
    """`-73dBm, S9, 50.1 µV`."""
    text = f"{decibels:g}{of}"
    if of != CALIBRATED:
        return text
    units = "" if at is None else f", {s_units(decibels, at)}"
    return f"{text}{units}, {microvolts(decibels):.3g} \u00b5V"


def _trouble(points: list[tuple[int, float]]) -> str:
    """What is wrong with the points so far, by the table's own rules."""
    if len(points) < 2:
        return ""
    try:
        LevelTable(tuple(sorted(points)))
    except UsageError as error:
        if len({counts for counts, _ in points}) < len(points):
            return "the counts are those of another point: the detector's end, or no signal"
        return str(error.message)
    return ""


def yaml_of(table: LevelTable) -> str:
    """The table as the configuration has it."""
    points = ", ".join(f"{counts}: {level:g}{table.unit}" for counts, level in table.points)
    return f"level_table: {{{points}}}"


# --- the settle time ---------------------------------------------------------------------------


async def measure_settling(
    box: Box, settings: VfoConfig, here: int, there: int, watched: float
) -> tuple[Settled, Settled]:
    """To `there` and back to `here`, some times; how long it took each way."""
    ways: dict[int, list[list[tuple[float, float]]]] = {there: [], here: []}
    await box.jump(here, watched)
    for _ in range(JUMPS):
        for dial, jumps in ways.items():
            jump = await box.jump(dial, watched)
            jumps.append([(time, settings.level(counts, dial).value) for time, counts in jump])
    return settled(ways[there], watched), settled(ways[here], watched)


def settle_lines(here: int, there: int, forth: Settled, back: Settled) -> list[str]:
    """What was found, and what to write."""
    jump = forth.end - back.end
    lines = [
        f"from {format_frequency(a)} to {format_frequency(b)} ({height:+.0f} dB): "
        + (
            "still moving at the end; watch longer, or choose two steadier frequencies"
            if one.after is None
            else f"within 1 dB after {format_duration(round(one.after, 2))}"
        )
        for a, b, height, one in ((here, there, jump, forth), (there, here, -jump, back))
    ]
    times = [one.after for one in (forth, back)]
    known = [time for time in times if time is not None]
    if len(known) < len(times):
        return lines
    if abs(jump) < 10:
        lines.append(
            "the jump is less than 10 dB: two frequencies further apart in level tell more"
        )
    proposed = max(0.05, math.ceil(max(known) * (1 + RESERVE) * 20) / 20)
    lines.append(f"settle: {proposed:g}s")
    return lines
