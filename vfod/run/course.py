"""Where a sweeper is in its roster: this visit, the next one, and the passes under way."""

from dataclasses import dataclass

from vfod import events as e
from vfod.plan.roster import Roster
from vfod.plan.sweep import Visit


@dataclass(slots=True)
class _Pass:
    """The pass of one sweep that is under way; `began` on the monotonic clock."""

    began: float
    number: int = 0
    visits: int = 0
    held: float = 0.0


class Course:
    """A walk of a roster from a place (pass number, index) of the window's own sweep."""

    def __init__(self, roster: Roster, start: tuple[int, int], dial: int | None) -> None:
        self.name = roster.main.sweep.name
        #: What holds, yields and overruns shifted the visits by, seconds.
        self.shift = 0.0
        #: When the first visit began, monotonic.
        self.began = 0.0
        self._passes: dict[str, _Pass] = {}
        self._begin(roster, start, dial)

    def _begin(self, roster: Roster, place: tuple[int, int], dial: int | None) -> None:
        self.roster = roster
        self._visits = roster.walk(*place, coming_from=dial, lost=lambda: self.shift)
        self.visit: Visit = next(self._visits)
        #: The one after it, for who wants to know what comes.
        self.coming: Visit = next(self._visits)
        #: The own sweep's visit that is under way or comes next, also while a guest has the dial.
        self.own: Visit = roster.main.visit(*place, None)

    @property
    def passes(self) -> int:
        """Completed passes of the window's own sweep."""
        known = self._passes.get(self.name)
        return known.number if known else 0

    def hold(self, seconds: float) -> None:
        """A hold took so long, of every pass that is under way."""
        self._under_way(self.visit)
        for known in self._passes.values():
            known.held += seconds

    def _under_way(self, visit: Visit) -> _Pass:
        return self._passes.setdefault(visit.sweep.name, _Pass(began=self.began))

    def count(self, now: float) -> e.PassCompleted | None:
        """The visit is over: the pass that it ended, if any."""
        visit = self.visit
        known = self._under_way(visit)
        known.visits += 1
        if not visit.ends_pass:
            return None
        known.number += 1
        ended = e.PassCompleted(
            sweep=visit.sweep.name,
            number=known.number,
            visits=known.visits,
            seconds=round(now - known.began, 3),
            held=round(known.held, 3),
        )
        known.began, known.visits, known.held = now, 0, 0.0
        return ended

    def guest_waits(self, now: float) -> bool:
        """Whether a guest with a revisit time should have begun its next pass by now."""
        for guest, plan in self.roster.guests:
            known = self._passes.get(plan.sweep.name)
            if guest.every is None or known is None or self.visit.sweep is plan.sweep:
                continue
            if now >= known.began - plan.pass_duration + guest.every:
                return True
        return False

    def advance(self) -> None:
        """On to the next visit."""
        self.visit, self.coming = self.coming, next(self._visits)
        if self.visit.sweep.name == self.name:
            self.own = self.visit

    def go_by(self, roster: Roster, dial: int | None) -> None:
        """On by another roster, from where this visit of the own sweep is."""
        self._begin(roster, (self.own.pass_number, self.own.index), dial)

    def then_by(self, roster: Roster) -> None:
        """By another roster from the next pass on: this visit ended the one before."""
        self.roster = roster
        number, dial = self.own.pass_number + 1, self.own.dial
        self._visits = roster.walk(number, coming_from=dial, lost=lambda: self.shift)
        self.coming = next(self._visits)
