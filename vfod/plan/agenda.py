"""The agenda: the windows ahead, in words, with the reason where something is not as written."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import islice
from zoneinfo import ZoneInfo

from vfod.plan.localtime import local
from vfod.plan.slots import Covered, Slot, idle_nights, openings, resolve
from vfod.plan.windows import Idle, Window
from vfod.units import format_duration


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A line of the agenda; `opens` and `closes` are Unix seconds.

    `runs` is False for a window that another one covers wholly, and for one that would end before
    it begins, which is listed with the same instant for both; `reasons` are sentences without a
    full stop, empty where all is as written.
    """

    window: str
    sweep: str
    night: date
    opens: float
    closes: float
    zone: ZoneInfo
    runs: bool
    reasons: tuple[str, ...]
    #: The window that has the dial just before, where this is the rest of an interrupted one.
    after: str | None = None

    def __str__(self) -> str:
        """Local time and UTC in a line: `Sat 2026-03-28 22:00 to Sun 06:00 ...`."""
        start, end = local(self.opens, self.zone), local(self.closes, self.zone)
        utc_start = datetime.fromtimestamp(self.opens, UTC)
        utc_end = datetime.fromtimestamp(self.closes, UTC)
        until = utc_until = length = ""
        if self.closes > self.opens:
            until, utc_until = f" to {end:%a %H:%M}", f" to {utc_end:%H:%M}"
            length = f", {format_duration(self.closes - self.opens)}"
        line = (
            f"{start:%a %Y-%m-%d %H:%M}{until} {self.zone.key} "
            f"({utc_start:%Y-%m-%d %H:%M}{utc_until} UTC){length}: "
            f"{self.window}, sweep {self.sweep}"
        )
        return "; ".join((line, *self.reasons))


def agenda(windows: Sequence[Window], when: float, count: int) -> list[Entry]:
    """The next `count` openings after an instant, and the windows that do not run before the last.

    Hand in the windows of one VFO.
    """
    ahead = list(islice(openings(windows, when), count))
    entries = [_entry(slot) for slot in ahead]
    if ahead:
        found = resolve(windows, when, ahead[-1].closes)
        entries += [_covered(item) for item in found.covered if item.occurrence.opens > when]
        entries += [_closed(item) for item in idle_nights(windows, when, ahead[-1].closes)]
    return sorted(entries, key=lambda entry: entry.opens)


def coming(windows: Sequence[Window], since: float, until: float) -> list[Entry]:
    """Everything that shares time with [since, until), windows already open included."""
    found = resolve(windows, since, until)
    entries = [_entry(slot) for slot in found.slots]
    entries += [_covered(item) for item in found.covered]
    entries += [_closed(item) for item in idle_nights(windows, since, until)]
    return sorted(entries, key=lambda entry: entry.opens)


def _entry(slot: Slot) -> Entry:
    zone = slot.window.zone
    reasons = list(slot.occurrence.remarks())
    if slot.after is not None:
        reasons.append(
            f"not before {local(slot.opens, zone):%H:%M}, until then {slot.after.name} has the dial"
        )
    if slot.before is not None:
        reasons.append(
            f"only until {local(slot.closes, zone):%H:%M}, then {slot.before.name} has the dial, "
            f"which {_goes_first(slot.before, slot.window)}"
        )
    return Entry(
        window=slot.window.name,
        sweep=slot.window.sweep,
        night=slot.night,
        opens=slot.opens,
        closes=slot.closes,
        zone=zone,
        runs=True,
        reasons=tuple(reasons),
        after=None if slot.after is None else slot.after.name,
    )


def _goes_first(one: Window, other: Window) -> str:
    if one.priority > other.priority:
        return f"has priority {one.priority}"
    return "is listed before it"


def _covered(covered: Covered) -> Entry:
    item = covered.occurrence
    by = [window.name for window in covered.by]
    names = f"{' and '.join(by)} {'has' if len(by) == 1 else 'have'}"
    return Entry(
        window=item.window.name,
        sweep=item.window.sweep,
        night=item.night,
        opens=item.opens,
        closes=item.closes,
        zone=item.window.zone,
        runs=False,
        reasons=(f"does not run, because {names} the dial all that time",),
    )


def _closed(idle: Idle) -> Entry:
    item = idle.window
    return Entry(
        window=item.name,
        sweep=item.sweep,
        night=idle.night,
        opens=idle.when,
        closes=idle.when,
        zone=item.zone,
        runs=False,
        reasons=(idle.reason,),
    )
