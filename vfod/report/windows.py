"""Windows planned and kept: what the agenda wanted, what came of it, and why not all of it."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import NamedTuple

from vfod import events as e
from vfod.plan.agenda import coming
from vfod.report.course import DAEMON, LINK, SWEEP, Change, Missed, changes, missed, reasons
from vfod.report.facts import Gap, Kept, Revisit
from vfod.report.setting import Setting
from vfod.store import Entry, Reader

#: A gap is so many times as long as visits usually are apart, and not shorter than this, seconds.
_TIMES, _LEAST = 5, 60.0
#: How far back the reasons of the evening are looked for, seconds.
_BACK = 31 * 86400.0
#: How long after a night it may be told what was missed of it, seconds: the daemon was down.
_LATER = 7 * 86400.0


def windows(
    reader: Reader,
    setting: Setting,
    night: date,
    frame: tuple[float, float],
    entries: Sequence[Entry],
) -> tuple[Kept, ...]:
    """The windows of a night, those of the configuration and those of the journal, by opening."""
    begins, ends = frame
    whole = reader.sums(since=begins, until=ends, vfo=setting.vfo)
    longest = max(_LEAST, _TIMES * quantile(whole.intervals(), 0.5))
    before = [
        entry
        for kinds in (DAEMON, LINK, SWEEP)
        for entry in reader.events(
            since=begins - _BACK, until=begins, vfo=setting.vfo, kinds=kinds, newest=1
        )
    ]
    course = changes(before, entries)
    told = missed(
        reader.events(since=begins, until=ends + _LATER, vfo=setting.vfo, kinds=("window-missed",))
    )
    opened = [
        (entry.time, entry.event)
        for entry in entries
        if isinstance(entry.event, e.WindowOpened) and entry.event.night == night.isoformat()
    ]
    wanted: list[_Wanted] = []
    for entry in coming(setting.windows, begins, ends):
        if entry.night == night:
            wanted.append(
                _Wanted(
                    entry.window,
                    entry.sweep,
                    entry.opens,
                    entry.closes,
                    True,
                    entry.runs,
                    entry.reasons,
                )
            )
    known = {(one.window, round(one.opens)) for one in wanted}
    for _, event in opened:
        if (event.window, round(event.opens)) not in known:
            known.add((event.window, round(event.opens)))
            wanted.append(
                _Wanted(event.window, event.sweep, event.opens, event.closes, False, True, ())
            )
    found = []
    for one in sorted(wanted, key=lambda one: one.opens):
        at = [
            time
            for time, event in opened
            if event.window == one.window and abs(event.opens - one.opens) < 1
        ]
        found.append(_kept(reader, setting, (course, told), longest, one, min(at, default=None)))
    return tuple(found)


class _Wanted(NamedTuple):
    """A window as the configuration, or else the journal, has it."""

    window: str
    sweep: str
    opens: float
    closes: float
    planned: bool
    runs: bool
    remarks: tuple[str, ...]


def _kept(
    reader: Reader,
    setting: Setting,
    why: tuple[Sequence[Change], Sequence[Missed]],
    longest: float,
    one: _Wanted,
    opened: float | None,
) -> Kept:
    until = min(one.closes, max(setting.now, one.opens)) if one.runs else one.opens
    sums = reader.sums(since=one.opens, until=until, vfo=setting.vfo)
    span = sums.span()
    pauses: list[tuple[float, float]] = []
    if span is None:
        pauses = [(one.opens, until)] if until > one.opens else []
    else:
        pauses = sums.pauses(longest)
        if span.begins - one.opens > longest:
            pauses.insert(0, (one.opens, span.begins))
        if until - span.ends > longest:
            pauses.append((span.ends, until))
    gaps = tuple(
        Gap(begins=begin, ends=end, reasons=reasons(*why, begin, end)) for begin, end in pauses
    )
    due = until - one.opens
    return Kept(
        window=one.window,
        sweep=one.sweep,
        opens=one.opens,
        closes=one.closes,
        planned=one.planned,
        opened=opened,
        visits=span.visits if span else 0,
        first=span.begins if span else None,
        last=span.ends if span else None,
        due=due,
        swept=due - sum(gap.ends - gap.begins for gap in gaps),
        gaps=gaps,
        remarks=one.remarks,
    )


def revisit(
    reader: Reader, setting: Setting, kept: Sequence[Kept], span: tuple[float, float] | None
) -> Revisit | None:
    """The revisit time really kept, within windows; None where no channel was visited twice."""
    stretches = [(one.opens, one.closes) for one in kept if one.visits]
    if not stretches and span is not None:
        stretches = [(span[0], span[1] + 1)]
    total: dict[int, int] = {}
    for begins, ends in stretches:
        sums = reader.sums(since=begins, until=ends, vfo=setting.vfo)
        for seconds, times in sums.revisits().items():
            total[seconds] = total.get(seconds, 0) + times
    if not total:
        return None
    return Revisit(
        median=quantile(total, 0.5), most=quantile(total, 0.95), longest=float(max(total))
    )


def quantile(counts: Mapping[int, int], part: float) -> float:
    """The value below which that part of the counted values lies; 0 of none."""
    wanted = part * sum(counts.values())
    seen = 0
    for value in sorted(counts):
        seen += counts[value]
        if seen >= wanted:
            return float(value)
    return 0.0
