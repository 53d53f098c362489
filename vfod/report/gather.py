"""A journal → the facts of a night."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from vfod import events as e
from vfod.radio.bands import Band
from vfod.report import course, heard, steady
from vfod.report.facts import Kept, Move, Night, Note, Passes, Revisit
from vfod.report.remarks import Deaf, remarks
from vfod.report.setting import Progress, Setting, bounds, clock_change, silent, sun
from vfod.report.windows import revisit, windows
from vfod.state.say import visible
from vfod.store import Entry, Reader
from vfod.store.sums import ChannelNight
from vfod.survey.occupancy import Visit
from vfod.survey.steady import Measured

#: How many nights back it is looked what was heard before.
EARLIER_NIGHTS = 14
_DAY, _HOUR = 86400.0, 3600.0
#: How long after a night a note about it may still be taken, seconds.
_NOTES_LATER = 30 * _DAY
#: Turns of the knob this close together are one move, seconds.
_ONE_MOVE = 60.0
#: Widths of a column of the picture, seconds; and the most columns that are of use.
_COLUMNS = (60, 120, 300, 600, 900, 1200, 1800, 3600)
_MOST_COLUMNS = 360
#: A band that was silent for so long has closed, seconds, unless it was visited more rarely.
_CLOSED = 1800.0

_MOVES = ("dial-tuned", "knob-turned")
#: Events that begin or end a stretch without levels, beside those of sweep and daemon.
_LEVELS = ("levels-missed", "levels-found", "audio-ended")
_WINDOWS = ("window-opened", "window-closed")


def gather(reader: Reader, setting: Setting, night: date, progress: Progress = silent) -> Night:
    """Everything that is said of a night; the database is asked for sums wherever that will do."""
    begins, ends = bounds(night, setting.zone)
    sums = reader.sums(since=begins, until=ends, vfo=setting.vfo)
    progress("what happened", 0.0)
    kinds = (*course.KINDS, *_WINDOWS, *_MOVES, *_LEVELS, "pass-completed")
    found = reader.events(since=begins, until=ends, vfo=setting.vfo, kinds=kinds)
    entries = [entry for entry in found if not entry.doubted]
    kept = windows(reader, setting, night, (begins, ends), entries)
    progress("the channels", 0.2)
    span = sums.span()
    within = None if span is None else (span.begins, span.ends)
    pace = revisit(reader, setting, kept, within)
    all_sums = sums.channels()
    unit = next(iter(_units(all_sums)), "dB")
    own = [one for one in all_sums if one.unit == unit]
    visits: dict[int, list[Visit]] = {one.dial: [] for one in own}
    measured: dict[int, list[Measured]] = {}
    for it in sums.verdicts():
        visits.setdefault(it.dial, []).append(Visit(it.time, it.active))
        measured.setdefault(it.dial, []).append(Measured(it.time, it.active, it.level))
    channels = heard.channels(own, visits, begins, ends, setting.stations or ())
    progress("the picture", 0.5)
    frame = _frame(kept, begins, ends, within)
    column = _column(frame, pace)
    cells = reader.sums(since=frame[0], until=frame[1], vfo=setting.vfo).cells(column)
    progress("earlier nights", 0.7)
    since = begins - EARLIER_NIGHTS * _DAY
    earlier = reader.channels(since=since, until=begins, vfo=setting.vfo)
    constant = steady.steady(
        measured,
        (begins, ends),
        steady.listed(reader, setting.vfo),
        setting.sweeps,
        (setting.stations or (), heard.half_raster(visits)),
    )
    extents = sums.extents()
    pause = max(_CLOSED, 2 * pace.most if pace else 0.0)
    result = Night(
        setting=setting,
        date=night,
        begins=begins,
        ends=ends,
        change=clock_change(begins, ends, setting.zone),
        sun=sun(setting.site, begins, ends),
        visits=span.visits if span else 0,
        judged=sum(one.judged for one in own),
        first=span.begins if span else None,
        last=span.ends if span else None,
        unit=unit,
        windows=kept,
        passes=_passes(entries),
        revisit=pace,
        channels=channels,
        band_edges=_edges(own, setting.bands),
        open_bands=heard.open_bands(
            sums.spells(pause),
            extents,
            [gap for one in kept for gap in one.gaps],
            pause,
            pace.median if pace else 0.0,
        ),
        band_occupancy=heard.bands(own, visits, begins, ends),
        looked_bands=tuple(sorted(band for band in extents if band is not None)),
        strongest=heard.strongest(channels, visits),
        fresh=heard.fresh(channels, visits, earlier),
        earlier=reader.sums(since=since, until=begins, vfo=setting.vfo).days(),
        hourly=heard.hourly(own, visits, frame),
        steady=constant,
        skipping=steady.skipping(constant, setting.sweeps),
        stations=None
        if setting.stations is None
        else heard.stations(setting.stations, visits, cells, (*frame, column)),
        moves=_moves(entries),
        notes=notes(reader, begins, ends, setting.vfo),
        picture=frame,
        cells=tuple(cell for cell in cells if cell.unit == unit),
        column=column,
        remarks=(),
    )
    progress("done", 1.0)
    left = not reader.gave_up(begins, ends)
    deaf = _deaf(entries, min(ends, setting.now))
    says = remarks(result, others=sums.vfos(), units=_units(all_sums), deaf=deaf, kept=left)
    return replace(result, remarks=says)


def _deaf(entries: Sequence[Entry], ends: float) -> tuple[Deaf, ...]:
    """When sweeps went on without levels, because there was no sound to take them from."""
    found: list[Deaf] = []
    begun: tuple[float, str] | None = None
    for entry in entries:
        match entry.event:
            case e.LevelsMissed(reason=reason):
                begun = begun or (entry.time, reason)
            case e.LevelsFound() | e.AudioEnded() | e.SweepEnded() | e.DaemonStarted():
                if begun is not None:
                    found.append(Deaf(begun[0], entry.time, begun[1]))
                begun = None
    if begun is not None:
        found.append(Deaf(begun[0], ends, begun[1]))
    return tuple(found)


def notes(reader: Reader, since: float, until: float, vfo: str | None) -> tuple[Note, ...]:
    """The notes about that time, by it, whenever they were taken."""
    found = []
    for entry in reader.events(
        since=since, until=until + _NOTES_LATER, vfo=vfo, kinds=("note-taken",)
    ):
        note = entry.event
        if isinstance(note, e.NoteTaken) and since <= note.at < until:
            found.append(
                Note(
                    at=note.at,
                    text=note.text,
                    sinpo=note.sinpo,
                    heard=note.heard,
                    dial=note.dial,
                    band=note.band,
                    level=note.level,
                    unit=note.unit,
                )
            )
    return tuple(sorted(found, key=lambda note: note.at))


def _units(sums: Sequence[ChannelNight]) -> dict[str, int]:
    """Visits by unit, most first: levels in two units have no common scale."""
    visits: dict[str, int] = {}
    for one in sums:
        visits[one.unit] = visits.get(one.unit, 0) + one.visits
    return dict(sorted(visits.items(), key=lambda item: -item[1]))


def _frame(
    kept: Sequence[Kept], begins: float, ends: float, span: tuple[float, float] | None
) -> tuple[float, float]:
    """What the picture shows: all windows and all visits, in whole hours of UTC."""
    due = [one for one in kept if one.due > 0]
    edges = [edge for one in due for edge in (one.opens, one.closes)]
    edges += span or ()
    if not edges:
        return begins, ends
    first = max(begins, min(edges) // _HOUR * _HOUR)
    last = min(ends, -(-max(edges) // _HOUR) * _HOUR)
    return first, max(last, first + _HOUR)


def _column(frame: tuple[float, float], pace: Revisit | None) -> float:
    """So wide that a pass that is not held up has a visit in each: an empty cell means a gap."""
    least = max((frame[1] - frame[0]) / _MOST_COLUMNS, 1.2 * pace.median if pace else 300.0)
    return float(next((width for width in _COLUMNS if width >= least), _COLUMNS[-1]))


def _edges(sums: Sequence[ChannelNight], bands: Sequence[Band]) -> dict[str, tuple[int, int]]:
    """Edges of the bands that were visited, as configured, else by their outermost channels."""
    configured = {band.name: (band.low, band.high) for band in reversed(bands)}
    found: dict[str, tuple[int, int]] = {}
    for one in sums:
        if one.band is not None:
            low, high = found.get(one.band, (one.dial, one.dial))
            found[one.band] = min(low, one.dial), max(high, one.dial)
    return {name: configured.get(name, edges) for name, edges in found.items()}


def _passes(entries: Sequence[Entry]) -> tuple[Passes, ...]:
    took: dict[str, list[float]] = {}
    for entry in entries:
        if isinstance(entry.event, e.PassCompleted):
            took.setdefault(entry.event.sweep, []).append(entry.event.seconds)
    return tuple(
        Passes(sweep=sweep, count=len(all_), mean=sum(all_) / len(all_), longest=max(all_))
        for sweep, all_ in took.items()
    )


def _moves(entries: Sequence[Entry]) -> tuple[Move, ...]:
    found: list[Move] = []
    for entry in entries:
        match entry.event:
            case e.DialTuned(dial=dial, by=by):
                who = visible(str(by))
            case e.KnobTurned(dial=dial):
                who = "knob"
                if found and found[-1].who == who and entry.time - found[-1].ends <= _ONE_MOVE:
                    again = found[-1].times + 1
                    found[-1] = replace(found[-1], ends=entry.time, to=dial, times=again)
                    continue
            case _:
                continue
        found.append(Move(begins=entry.time, ends=entry.time, who=who, to=dial, times=1))
    return tuple(found)
