"""`vfod journal export`: notes and observations as CSV, JSON lines or ADIF."""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence

from vfod.cli.night import counting, write
from vfod.cli.parser import Parser
from vfod.cli.setting import check_vfo, configuration_if_any, journal_path, now, zone_of
from vfod.cli.when import When
from vfod.config.model import Config
from vfod.errors import OutOfRangeError, UsageError
from vfod.radio.receiver import Detector
from vfod.radio.sun import Site
from vfod.report.export import (
    NOTE,
    OBSERVATION,
    Left,
    Row,
    adif_lines,
    csv_lines,
    json_lines,
    note_rows,
    observation_rows,
)
from vfod.store import Reader

#: Lines between one word of progress and the next: some tenths of a second.
_TOLD_EVERY = 5000


def export(words: list[str]) -> int:
    """Write an export."""
    parser = Parser(
        "journal export",
        "The listener's log (notes) or every visit (observations) for other programs. Times are\n"
        "UTC. csv: RFC 4180, with an apostrophe before a text that a spreadsheet would take for a\n"
        "formula. jsonl: an object a line. adif: the notes that name a station, as a listener's\n"
        "records.\n\n"
        "WHEN is 3h (ago), 22:00 (the last one), 2026-11-25 or '2026-11-25 22:00'.",
        "vfod journal export notes --as adif --to log.adi",
        "vfod journal export observations --as csv --since 10h --to night.csv",
    )
    parser.add_argument("what", choices=("notes", "observations"))
    parser.add_argument("--as", dest="form", choices=("csv", "jsonl", "adif"), default="csv")
    parser.add_argument("--to", metavar="FILE", help="default: printed")
    parser.add_argument("--since", metavar="WHEN", type=When, help="from then on")
    parser.add_argument("--until", metavar="WHEN", type=When, help="up to just before then")
    parser.add_argument("--vfo", metavar="NAME", help="of one VFO")
    parser.add_argument("--journal", metavar="FILE", help="the file; default as for the daemon")
    parser.add_config()
    given = parser.parse_args(words)
    if given.form == "adif" and given.what != "notes":
        raise UsageError(
            "ADIF is for logs, not for measurements", remedy="export notes, or write --as csv"
        )
    config = configuration_if_any(given.config)
    zone, when = zone_of(config), now()
    since, until = (
        None if text is None else text.instant(when, zone) for text in (given.since, given.until)
    )
    left = Left()
    with Reader(journal_path(given.journal, config)) as reader:
        check_vfo(given.vfo, config, reader)
        rows: Iterable[Row]
        if given.what == "notes":
            rows = note_rows(reader, since, until, given.vfo)
        else:
            rows = observation_rows(reader.observations(since=since, until=until, vfo=given.vfo))
        columns = NOTE if given.what == "notes" else OBSERVATION
        _put(given.to, _lines(given.form, rows, columns, config, when, left))
    for count, what in (
        (left.notes, "notes name no station or no frequency and are left out"),
        (left.letters, "texts have letters that ADIF cannot have; csv and jsonl keep them"),
    ):
        if count:
            print(f"vfod: {count} {what}", file=sys.stderr)
    return 0


def _lines(
    form: str,
    rows: Iterable[Row],
    columns: Sequence[str],
    config: Config | None,
    when: float,
    left: Left,
) -> Iterator[str]:
    match form:
        case "csv":
            return csv_lines(rows, columns)
        case "jsonl":
            return json_lines(rows)
    site = None
    if config is not None and config.place.latitude is not None:
        assert config.place.longitude is not None
        site = Site(latitude=config.place.latitude, longitude=config.place.longitude)
    return adif_lines(rows, now=when, mode_of=_mode_of(config), site=site, left=left)


def _mode_of(config: Config | None) -> Callable[[int], str | None]:
    """AM where the first VFO's receiver has an envelope detector; the others take several modes."""

    def mode(dial: int) -> str | None:
        if config is None:
            return None
        try:
            item = next(iter(config.vfos.values())).receiver.range_at(dial)
        except OutOfRangeError:
            return None
        return "AM" if item.detector is Detector.ENVELOPE else None

    return mode


def _put(target: str | None, lines: Iterable[str]) -> None:
    if target is None:
        for line in lines:
            # Not through print: the line ends of a format are its own.
            sys.stdout.buffer.write(line.encode("utf-8"))
        sys.stdout.buffer.flush()
    else:
        write(target, (line.encode("utf-8") for line in _counted(lines)))


def _counted(lines: Iterable[str]) -> Iterator[str]:
    """The lines, and now and then how many for whoever waits at a terminal."""
    for count, line in enumerate(lines):
        if count % _TOLD_EVERY == 0:
            counting(f"{count} lines")
        yield line
    counting("")
