"""The log and the observations for other programs: CSV (RFC 4180), JSON lines, ADIF.

A spreadsheet takes a cell that begins with = + - or @ for a formula, and runs it; a text of that
kind gets an apostrophe before it, as does one that begins with an apostrophe, so that it can be
taken away again. Numbers are left as they are.
"""

import csv
import io
import json
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from vfod import __version__
from vfod import events as e
from vfod.radio.adif_bands import VERSION, adif_band
from vfod.radio.sun import Site
from vfod.store import Observation, Reader
from vfod.units import format_frequency

#: What begins a formula, or is skipped before one.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_MARK = "'"
#: How long after a time a note about it may still be taken, seconds.
_NOTES_LATER = 30 * 86400.0

Cell = str | int | float | bool | None

#: The cells of a row, in their order.
NOTE = ("vfo", "dial", "band", "level", "unit", "sinpo", "heard", "text")
OBSERVATION = (
    *("vfo", "sweep", "dial", "band", "readings", "level", "highest", "unit", "floor"),
    *("active", "lateness", "doubted"),
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """A line of an export: a time, and cells by their names."""

    time: float
    cells: dict[str, Cell]


def note_rows(
    reader: Reader, since: float | None, until: float | None, vfo: str | None
) -> Iterator[Row]:
    """The notes about that time, by it."""
    entries = reader.events(
        since=since,
        until=None if until is None else until + _NOTES_LATER,
        vfo=vfo,
        kinds=("note-taken",),
    )
    notes = [(entry.vfo, entry.event) for entry in entries if isinstance(entry.event, e.NoteTaken)]
    for name, note in sorted(notes, key=lambda item: item[1].at):
        if (since is None or note.at >= since) and (until is None or note.at < until):
            cells = {field: name if field == "vfo" else getattr(note, field) for field in NOTE}
            yield Row(time=note.at, cells=cells)


def observation_rows(found: Iterable[Observation]) -> Iterator[Row]:
    """Every observation, one after the other as they are read."""
    for one in found:
        seen = one.observed
        cells = {
            field: getattr(one if field in ("vfo", "doubted") else seen, field)
            for field in OBSERVATION
        }
        yield Row(time=one.time, cells=cells)


def csv_lines(rows: Iterable[Row], columns: Sequence[str]) -> Iterator[str]:
    """A line of names, then the rows; times in UTC, the dial in kilohertz."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")

    def line(cells: Iterable[Cell]) -> str:
        text.seek(0)
        text.truncate()
        writer.writerow(cells)
        return text.getvalue()

    yield line(["time", *("khz" if name == "dial" else name for name in columns)])
    for row in rows:
        yield line([iso(row.time), *(_csv_cell(name, row.cells[name]) for name in columns)])


def _csv_cell(name: str, value: Cell) -> Cell:
    if name == "dial":
        return None if value is None else format_frequency(int(value)).removesuffix(" kHz")
    if isinstance(value, bool):
        return "yes" if value else "no"
    return guarded(value) if isinstance(value, str) else value


def guarded(text: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return _MARK + text if text.startswith((*_FORMULA, _MARK)) else text


def unguarded(text: str) -> str:
    """The text that `guarded` was given."""
    return text.removeprefix(_MARK)


def json_lines(rows: Iterable[Row]) -> Iterator[str]:
    """An object a line: times as in the journal and in UTC, the dial in hertz."""
    for row in rows:
        value = {"time": row.time, "utc": iso(row.time), **row.cells}
        yield json.dumps(value, ensure_ascii=False, separators=(",", ":")) + "\n"


@dataclass(slots=True)
class Left:
    """What ADIF could not take: notes without a station or a frequency, letters beyond ASCII."""

    notes: int = 0
    letters: int = 0


def adif_lines(
    rows: Iterable[Row],
    *,
    now: float,
    mode_of: Callable[[int], str | None],
    site: Site | None,
    left: Left,
) -> Iterator[str]:
    """A listener's log: one record for each note that names a station; counts what it leaves out.

    `mode_of` tells the mode of emission that a receiver's range is for, None where it takes any.
    """
    made = datetime.fromtimestamp(now, UTC)
    yield "A listener's log, written by vfod\n"
    yield (
        _record(
            left,
            ADIF_VER=VERSION,
            CREATED_TIMESTAMP=f"{made:%Y%m%d %H%M%S}",
            PROGRAMID="vfod",
            PROGRAMVERSION=__version__,
        )
        + "<EOH>\n"
    )
    for row in rows:
        heard, dial = row.cells["heard"], row.cells["dial"]
        if not isinstance(heard, str) or not isinstance(dial, int):
            left.notes += 1
            continue
        when = datetime.fromtimestamp(row.time, UTC)
        level, sinpo, text = (row.cells[name] for name in ("level", "sinpo", "text"))
        yield (
            _record(
                left,
                SWL="Y",
                QSO_DATE=f"{when:%Y%m%d}",
                TIME_ON=f"{when:%H%M%S}",
                CALL=heard,
                FREQ=f"{dial // 1_000_000}.{dial % 1_000_000:06d}",
                BAND=adif_band(dial),
                MODE=mode_of(dial),
                RST_SENT=None if sinpo is None else str(sinpo),
                COMMENT=str(text),
                APP_VFOD_LEVEL=None if level is None else f"{level} {row.cells['unit']}",
                MY_LAT=None if site is None else _degrees(site.latitude, "NS"),
                MY_LON=None if site is None else _degrees(site.longitude, "EW"),
            )
            + "<EOR>\n"
        )


def _record(left: Left, **fields: str | None) -> str:
    parts = []
    for name, value in fields.items():
        if value is not None:
            plain = _ascii(value)
            left.letters += plain != value
            parts.append(f"<{name}:{len(plain)}>{plain}")
    return " ".join(parts) + " "


def _ascii(text: str) -> str:
    """What ADIF's String may have: letters without their marks, a question mark for the rest."""
    apart = unicodedata.normalize("NFKD", text)
    bare = "".join(sign for sign in apart if not unicodedata.combining(sign))
    return "".join(sign if " " <= sign <= "~" else "?" for sign in bare)


def _degrees(value: float, signs: str) -> str:
    """ADIF's Location: a letter, three digits of degrees, minutes with three decimals."""
    thousandths = round(abs(value) * 60_000)
    degrees, minutes = divmod(thousandths, 60_000)
    return f"{signs[value < 0]}{degrees:03d} {minutes // 1000:02d}.{minutes % 1000:03d}"


def iso(when: float) -> str:
    """`2026-11-25T22:04:07.250Z` (RFC 3339)."""
    text = datetime.fromtimestamp(when, UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z")
