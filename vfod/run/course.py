"""Where a sweeper is in its roster: this visit, the next ones, and the passes under way."""

from collections import deque
from dataclasses import dataclass

from vfod import events as e
from vfod.plan.roster import Roster
from vfod.plan.sweep import SweepPlan, Visit


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
        self._walk = roster.walk(*place, coming_from=dial, lost=lambda: self.shift)
        self.visit: Visit = next(self._walk)
        self._ahead = deque([next(self._walk)])
        #: The visit with which the sweep comes back from guests to a hold.
        self.back: Visit | None = None
        #: The own sweep's visit that is under way or comes next, also while a guest has the dial.
        self.own: Visit = roster.main.visit(*place, None)

    @property
    def coming(self) -> Visit:
        """The visit after this one."""
        return self._ahead[0]

    @property
    def is_back(self) -> bool:
        """Whether this visit is the one that comes back to a hold."""
        return self.visit is self.back

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

    def waiting(self, now: float) -> SweepPlan | None:
        """The guest with a revisit time that should have begun its next pass by now."""
        for guest, plan in self.roster.guests:
            known = self._passes.get(plan.sweep.name)
            if guest.every is None or known is None or self.visit.sweep is plan.sweep:
                continue
            if now >= known.began - plan.pass_duration + guest.every:
                return plan
        return None

    def see(self, guest: SweepPlan) -> None:
        """On to a guest that waits, all its channels, and then back to this visit."""
        visits = self._walk.interlude(guest, self.visit, self.coming)
        if self.coming is visits[0]:
            self._ahead.popleft()
        self._ahead.extendleft(reversed(visits))
        self.back = visits[-1]
        self.advance()

    def advance(self) -> None:
        """On to the next visit."""
        self.visit = self._ahead.popleft()
        if not self._ahead:
            self._ahead.append(next(self._walk))
        if self.visit.sweep.name == self.name:
            self.own = self.visit

    def go_by(self, roster: Roster, dial: int | None) -> None:
        """On by another roster, from where this visit of the own sweep is."""
        self._begin(roster, (self.own.pass_number, self.own.index), dial)

    def then_by(self, roster: Roster) -> None:
        """By another roster from the next pass on: this visit ended the one before."""
        self.roster = roster
        number, dial = self.own.pass_number + 1, self.own.dial
        self._walk = roster.walk(number, coming_from=dial, lost=lambda: self.shift)
        self._ahead = deque([next(self._walk)])
