"""Slots: who has the dial when windows overlap.

Of the windows that are open, the one with the highest priority has it, of equals the one listed
first; a window that is cut says by which other.
Every function takes the windows of one VFO, because those of another do not compete with them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from vfod.plan.windows import Idle, Occurrence, Window, nights_between, occurrences

DAY = 86400.0

#: How far ahead the next opening is looked for: a year and more, so that a window which opens
#: once a year is found.
HORIZON = 400 * DAY


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """A part of an occurrence in which its window has the dial.

    `after` and `before` are the windows that hold the dial just before and just after it, where
    they made the slot begin later or end earlier than its occurrence.
    """

    occurrence: Occurrence
    opens: float
    closes: float
    after: Window | None = None
    before: Window | None = None

    @property
    def window(self) -> Window:
        """The window it belongs to."""
        return self.occurrence.window

    @property
    def night(self) -> date:
        """The night it belongs to."""
        return self.occurrence.night


@dataclass(frozen=True, slots=True, kw_only=True)
class Covered:
    """An occurrence for which no slot was left, and the windows that have the dial instead."""

    occurrence: Occurrence
    by: tuple[Window, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Resolution:
    """Slots without overlap, and what none was left for, in order of time."""

    slots: tuple[Slot, ...]
    covered: tuple[Covered, ...]


def resolve(windows: Sequence[Window], since: float, until: float) -> Resolution:
    """Who has the dial at each instant of [since, until).

    Slots are whole, also where they reach over `since` or `until`.
    """
    # Two days more on either side: what overlaps an occurrence in question is seen whole.
    seen = occurrences(windows, since - 2 * DAY, until + 2 * DAY)
    # By identity, because two entries of the list may be equal.
    rank = {id(window): (-window.priority, place) for place, window in enumerate(windows)}
    edges = sorted({edge for item in seen for edge in (item.opens, item.closes)})
    slots: list[Slot] = []
    running: list[Occurrence] = []
    waiting = seen[::-1]
    for begin, finish in pairwise(edges):
        running = [item for item in running if item.closes > begin]
        while waiting and waiting[-1].opens <= begin:
            running.append(waiting.pop())
        if running:
            winner = min(running, key=lambda item: rank[id(item.window)])
            _append(slots, Slot(occurrence=winner, opens=begin, closes=finish))
    served = {id(slot.occurrence) for slot in slots}
    return Resolution(
        slots=tuple(item for item in slots if item.opens < until and item.closes > since),
        covered=tuple(
            Covered(occurrence=item, by=_holders(item, slots))
            for item in seen
            if id(item) not in served and item.opens < until and item.closes > since
        ),
    )


def _holders(item: Occurrence, slots: Sequence[Slot]) -> tuple[Window, ...]:
    held = (slot for slot in slots if slot.opens < item.closes and slot.closes > item.opens)
    return tuple({id(slot.window): slot.window for slot in held}.values())


def idle_nights(windows: Sequence[Window], since: float, until: float) -> list[Idle]:
    """The nights in which a window was to open in [since, until) and does not."""
    found = (
        window.idle_in(night)
        for window in windows
        for night in nights_between(since, until, window.zone)
    )
    return [item for item in found if item is not None and since <= item.when < until]


def _append(slots: list[Slot], slot: Slot) -> None:
    """Add the next slot in time: grown onto the last one, or with what each owes the other."""
    if slots and slots[-1].closes == slot.opens:
        last = slots[-1]
        if last.occurrence is slot.occurrence:
            slots[-1] = replace(last, closes=slot.closes)
            return
        if last.closes < last.occurrence.closes:
            slots[-1] = replace(last, before=slot.window)
        if slot.opens > slot.occurrence.opens:
            slot = replace(slot, after=last.window)
    slots.append(slot)


def open_at(windows: Sequence[Window], when: float) -> Slot | None:
    """The slot that is open at an instant; its closing instant no longer belongs to it."""
    for slot in resolve(windows, when, when + 1).slots:
        if slot.opens <= when < slot.closes:
            return slot
    return None


def next_opening(windows: Sequence[Window], when: float) -> Slot | None:
    """The first slot that opens after an instant, None where none does within the horizon."""
    return next(openings(windows, when), None)


def openings(windows: Sequence[Window], when: float) -> Iterator[Slot]:
    """The slots that open after an instant, in order of time, as far as the horizon."""
    since, step = when, 4 * DAY
    while windows and since < when + HORIZON:
        until = min(since + step, when + HORIZON)
        for slot in resolve(windows, since, until + 1).slots:
            if since < slot.opens <= until:
                yield slot
        # Few want more than the next one, so the first steps are small.
        since, step = until, min(2 * step, 64 * DAY)


def is_same(one: Slot | None, other: Slot | None) -> bool:
    """Whether it is the same opening, also by another configuration."""
    return (
        one is not None
        and other is not None
        and (one.opens, one.closes) == (other.opens, other.closes)
        and _names(one) == _names(other)
    )


def is_moved(one: Slot | None, other: Slot | None) -> bool:
    """Whether it is the same window in the same night, but by other times."""
    return (
        one is not None
        and other is not None
        and not is_same(one, other)
        and one.night == other.night
        and _names(one) == _names(other)
    )


def _names(slot: Slot) -> tuple[str, str]:
    return slot.window.name, slot.window.sweep
