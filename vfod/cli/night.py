"""`vfod night`: the morning after; a summary, a page, a picture. Reads the journal alone."""

import contextlib
import shutil
import sys
from argparse import Namespace
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn
from zoneinfo import ZoneInfo

from vfod.cli.parser import Parser
from vfod.cli.setting import (
    check_vfo,
    configuration_if_any,
    environment,
    journal_path,
    local_zone,
    now,
)
from vfod.cli.when import parse_night
from vfod.config.loading import stations_of
from vfod.config.model import Config
from vfod.errors import QuantityError, StoreError, UsageError
from vfod.plan.localtime import night_of
from vfod.radio.sun import Site
from vfod.report.setting import Setting
from vfod.store import Reader

if TYPE_CHECKING:
    from vfod.picture import Chart
    from vfod.report.facts import Night

#: How far back it is looked which VFO there is, seconds.
_RECENT = 2 * 86400.0

#: Characters of a line where the terminal does not say.
_WIDTH = 100


def night(words: list[str]) -> int:
    """Tell a night."""
    parser = Parser(
        "night",
        "The night as it was: who was expected and heard, when bands opened and closed, what was\n"
        "strong, new and steady, and how well it was looked. A night goes from noon to noon and\n"
        "is named by its first date.",
        "vfod night last --html night.html",
        "vfod night 2026-11-25 --png night.png",
    )
    parser.add_argument(
        "night", nargs="?", default="last", type=_named, metavar="DATE|last", help="default last"
    )
    parser.add_argument("--html", metavar="FILE", help="write one self-contained page")
    parser.add_argument("--png", metavar="FILE", help="write the picture")
    parser.add_argument(
        "--svg", metavar="FILE", help="write the picture as SVG for a page of your own; - prints it"
    )
    add_common(parser)
    given = parser.parse_args(words)
    config = configuration_if_any(given.config)
    from vfod.report.gather import gather

    with Reader(journal_path(given.journal, config)) as reader:
        setting = setting_of(reader, config, given)
        told = gather(reader, setting, given.night or _newest(reader, setting), progress)
    if given.html is None and given.png is None and given.svg is None:
        from vfod.report.text import night_lines

        for line in night_lines(told, width()):
            print(line)
    if given.html is not None:
        from vfod.report.page import night_page

        write(given.html, [night_page(told).encode("utf-8")])
    if given.png is not None:
        from vfod.picture.png import draw_png

        title = f"Night of {told.date}, VFO {setting.vfo}"
        write(given.png, [draw_png(_chart(told), title)])
    if given.svg is not None:
        from vfod.picture.svg import draw

        drawing = draw(_chart(told), "night")
        text = drawing.store + drawing.wide + drawing.narrow
        if given.svg == "-":
            print(text)
        else:
            write(given.svg, [text.encode("utf-8")])
    return 0


def _chart(told: "Night") -> "Chart":
    from vfod.report.drawing import night_chart

    chart = night_chart(told)
    if chart is None:
        raise UsageError(
            "there is no picture of this night, because no level was measured",
            remedy="`vfod night` tells why",
        )
    return chart


def add_common(parser: Parser) -> None:
    """The options of all reports."""
    parser.add_argument("--vfo", metavar="NAME", help="which VFO; default the first one")
    parser.add_argument("--journal", metavar="FILE", help="the file; default as for the daemon")
    parser.add_config()


def setting_of(reader: Reader, config: Config | None, given: Namespace) -> Setting:
    """The listener's side of a report."""
    vfo = given.vfo
    check_vfo(vfo, config, reader)
    # What is in the journal has been, also where the clock was set back since.
    when = max(now(), (reader.newest() or 0.0) + 1)
    if config is None:
        zone = ZoneInfo(local_zone())
        return Setting(vfo=vfo or _only_vfo(reader), zone=zone, now=when)
    if vfo is None:
        vfo = next(iter(config.vfos))
    place = config.place
    site = None
    if place.latitude is not None and place.longitude is not None:
        site = Site(latitude=place.latitude, longitude=place.longitude)
    return Setting(
        vfo=vfo,
        zone=place.zone,
        now=when,
        site=site,
        windows=tuple(w for w in config.windows if config.sweeps[w.sweep].vfo == vfo),
        sweeps=tuple(sweep for sweep in config.sweeps.values() if sweep.vfo == vfo),
        bands=config.bands,
        stations=None if config.stations is None else stations_of(config),
    )


def _only_vfo(reader: Reader) -> str:
    newest = reader.newest()
    # Of the newest days, because a journal may be years long.
    found = reader.sums(since=newest - _RECENT, until=newest + 1, vfo="").vfos() if newest else {}
    return max(found, key=lambda name: found[name], default="main")


def _named(text: str) -> date | None:
    """The night of a date, None for the last one."""
    if text == "last":
        return None
    try:
        return parse_night(text)
    except QuantityError as error:
        raise QuantityError(error.message, remedy=f"{error.remedy}, or last") from None


def _newest(reader: Reader, setting: Setting) -> date:
    newest = reader.newest()
    if newest is None:
        raise StoreError(
            f"the journal {reader.path} is empty", remedy="let the daemon run for a night"
        )
    return night_of(newest, setting.zone)


def width() -> int:
    """Characters of a line: of the terminal, or as $COLUMNS says, for whoever stands between."""
    if sys.stdout.isatty() or "COLUMNS" in environment():
        return shutil.get_terminal_size((_WIDTH, 24)).columns
    return _WIDTH


def progress(what: str, part: float) -> None:
    """What is being done, for whoever waits at a terminal."""
    counting(f"{part:4.0%}  {what}" if part < 1 else "")


def counting(what: str) -> None:
    """A line at the terminal that the next one writes over; an empty one takes it away."""
    if sys.stderr.isatty():
        print(f"\r\x1b[K{what}", end="", file=sys.stderr, flush=True)


def write(path: str, content: Iterable[bytes]) -> None:
    """Write a file, whole or not at all, and say so; what is a device or a pipe stays one."""
    target = Path(path)
    if target.is_dir():
        raise UsageError(f"{path or target} is a folder", remedy="name a file in it")
    as_it_is = target.exists() and not target.is_file()
    beside = target if as_it_is else target.with_name(f".{target.name}.part")
    try:
        with beside.open("wb") as file:
            file.writelines(content)
        if not as_it_is:
            beside.replace(target)
    except OSError as error:
        if not as_it_is:
            with contextlib.suppress(OSError):
                beside.unlink()
        _cannot(path, error)
    print(f"written: {path}")


def _cannot(path: str, error: OSError) -> NoReturn:
    raise UsageError(
        f"{path} cannot be written: {error.strerror}", remedy="name another file or folder"
    ) from error
