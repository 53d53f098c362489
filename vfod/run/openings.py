"""Which window of one VFO is open, whether its sweep may run in it, and what is told of it."""

from collections.abc import Callable

from vfod import events as e
from vfod.plan.slots import Slot, is_moved, is_same
from vfod.run.missed import Missed
from vfod.run.stream import Emit
from vfod.state import VfoState


class Openings:
    """The one that is open; `vfo` is what is the case now."""

    def __init__(self, emit: Emit, missed: Missed, vfo: Callable[[], VfoState]) -> None:
        self._emit = emit
        self._missed = missed
        self._vfo = vfo
        #: The opening under way.
        self.slot: Slot | None = None
        #: The opening whose sweep was stopped by a person, or could not be made: it is not started
        #: again in it.
        self._declined: Slot | None = None

    @property
    def next_edge(self) -> float:
        """When the next one opens or this one closes, wall clock."""
        window = self._vfo().window
        edges = [t for t in (window.closes, window.next_opens) if t is not None]
        return min(edges, default=float("inf"))

    @property
    def declined(self) -> bool:
        """Whether the sweep of this opening is not to be started."""
        return is_same(self.slot, self._declined)

    def decline(self, why: str) -> None:
        """Start it no more in this opening; `why` as in events.WindowMissed."""
        self._declined, self._missed.why = self.slot, why

    def reconsider(self) -> None:
        """What could not be made by one configuration may be possible by another."""
        if self._missed.why == "refused":
            self._declined, self._missed.why = None, ""

    def expect(self, coming: Slot | None) -> None:
        """It opens next; None where there is none. Told where it was not known."""
        known = self._vfo().window
        name, opens = (coming.window.name, coming.opens) if coming else (None, None)
        if (known.next_opens, known.next_name) != (opens, name):
            self._emit(
                e.WindowAwaited(
                    window=name,
                    sweep=coming.window.sweep if coming else None,
                    opens=opens,
                    closes=coming.closes if coming else None,
                )
            )

    def open(self, slot: Slot, wall: float) -> None:
        """It opens, or is joined."""
        self.slot = slot
        self._missed.opened(wall)
        self._emit(
            e.WindowOpened(
                window=slot.window.name,
                sweep=slot.window.sweep,
                night=slot.night.isoformat(),
                opens=slot.opens,
                closes=slot.closes,
            )
        )

    def follow(self, slot: Slot | None) -> None:
        """If it is the one that is open by other times than before, go by those."""
        if slot is None or not is_moved(slot, self.slot):
            return
        if self.declined:
            self._declined = slot
        self.slot = slot
        self._emit(
            e.WindowMoved(
                window=slot.window.name,
                sweep=slot.window.sweep,
                opens=slot.opens,
                closes=slot.closes,
            )
        )

    def close(self) -> Slot:
        """It is over; what its end brings about comes before `closed`."""
        assert self.slot is not None
        slot, self.slot = self.slot, None
        return slot

    def closed(self, slot: Slot, wall: float, *, yielded: bool) -> None:
        """All is done that its end brings about; `yielded` says that somebody has the dial."""
        self._emit(e.WindowClosed(window=slot.window.name, sweep=slot.window.sweep))
        self._missed.closed(slot, wall, yielded=yielded)
