"""Rosters: the sweeps of one window as one sequence of visits.

The window's own sweep fills the time; its guests, if there are any, come in between.
A guest with a revisit time has a whole pass in one go, begun just in time: before the visit that
would make it late.
Its channels are left out of the window's own sweep.
A guest with a share has stretches of some minutes, as soon as it is half a stretch behind.
Both keep changes of range and filter few, which hopping from visit to visit would not.
Where the guests ask for more than there is, the window's own sweep still has a visit after each
pass and each stretch, so that it is late and not lost.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from vfod.plan.sweep import Sweep, SweepPlan, Visit, plan_sweep
from vfod.plan.windows import Guest, Window
from vfod.radio.bands import Band
from vfod.radio.receiver import Range, Receiver

#: Seconds of a share in one go: long enough that changing over costs nothing to speak of, short
#: enough that the share is right after a quarter of an hour.
STRETCH = 120.0

#: What many visits of tenths of a second add up to is off by less.
_ROUNDING = 1e-6


def nothing_lost() -> float:
    """A walk that is never held up."""
    return 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Roster:
    """A window's own sweep, and its guests."""

    main: SweepPlan
    guests: tuple[tuple[Guest, SweepPlan], ...] = ()

    @property
    def plans(self) -> tuple[SweepPlan, ...]:
        """Those of all its sweeps, the window's own first."""
        return (self.main, *(plan for _, plan in self.guests))

    def walk(
        self,
        pass_number: int = 0,
        index: int = 0,
        coming_from: int | None = None,
        lost: Callable[[], float] = nothing_lost,
    ) -> "Walk":
        """Visits without end; the place is one of the window's own sweep.

        `lost` tells the seconds so far that went by unplanned, in holds and yields: a guest that
        became due in them comes next.
        """
        return Walk(self, pass_number, index, coming_from, lost)


def roster_of(
    window: Window,
    sweeps: Mapping[str, Sweep],
    receiver: Receiver,
    bands: tuple[Band, ...] = (),
) -> Roster:
    """The roster of a window over a receiver; raises what plan_sweep raises."""
    guests = [(guest, sweeps[guest.sweep]) for guest in window.guests]
    return laid_over(sweeps[window.sweep], guests, receiver, bands)


def laid_over(
    own: Sweep,
    guests: Sequence[tuple[Guest, Sweep]],
    receiver: Receiver,
    bands: tuple[Band, ...] = (),
) -> Roster:
    """A sweep and its guests over a receiver; raises what plan_sweep raises."""
    plans = tuple((guest, plan_sweep(sweep, receiver, bands)) for guest, sweep in guests)
    timed = {
        channel.dial
        for guest, plan in plans
        if guest.every is not None
        for channel in plan.channels
    }
    main = plan_sweep(replace(own, skip=(*own.skip, *sorted(timed))), receiver, bands)
    # Observations go under the sweep as the listener wrote it.
    return Roster(main=replace(main, sweep=own), guests=plans)


@dataclass(slots=True)
class _Part:
    """A sweep under way; `due` and `used` are seconds."""

    plan: SweepPlan
    guest: Guest | None
    number: int = 0
    index: int = 0
    due: float = 0.0
    used: float = 0.0
    #: Whether something else had a visit since its last turn.
    may_come: bool = True

    @property
    def share(self) -> float:
        return (self.guest.share or 0.0) if self.guest else 0.0

    @property
    def slack(self) -> float:
        """How far behind a share begins a stretch, and how far ahead it ends it."""
        return STRETCH / 2 * (1 - self.share)

    def visit(self, before: Range | None) -> Visit:
        return self.plan.visit(self.number, self.index, before)


class Walk:
    """The visits of a roster one after the other; see Roster.walk."""

    def __init__(
        self,
        roster: Roster,
        number: int,
        index: int,
        coming_from: int | None,
        lost: Callable[[], float],
    ) -> None:
        self._roster = roster
        self._main = _Part(roster.main, None, number, index)
        parts = [_Part(plan, guest) for guest, plan in roster.guests]
        self._timed = [p for p in parts if p.guest is not None and p.guest.every is not None]
        self._sharing = [p for p in parts if p.share]
        self._before = roster.main.range_of(coming_from)
        self._lost = lost
        self._spent = 0.0
        #: Who has the time between the timed guests, and since when.
        self._base, self._base_since = self._main, 0.0
        self._visits = self._walk()

    def __iter__(self) -> Iterator[Visit]:
        return self

    def __next__(self) -> Visit:
        return next(self._visits)

    def interlude(self, guest: SweepPlan, held: Visit, coming: Visit) -> list[Visit]:
        """What comes now if a guest with a revisit time is not to wait for the end of a hold.

        A whole pass of it, and back to `held`, at which the sweep stays; `coming` was given out
        last and is not begun yet. It comes after that, unless it began that pass by itself.
        """
        part = next(part for part in self._timed if part.plan is guest)
        host = next(plan for plan in self._roster.plans if plan.sweep is held.sweep)
        here = host.range_at(held.pass_number, held.index)
        after: Range | None = here
        now = self._now - coming.duration
        if coming.sweep is guest.sweep:
            visits = [coming]
            while not visits[-1].ends_pass:
                visits.append(next(self))
        else:
            # What was given out last is where the walk will go on from.
            after, self._before = self._before, here
            visits = [*self._whole_pass(part)]
        assert part.guest is not None
        part.due = now + (part.guest.every or 0.0)
        last = visits[-1]
        back = host.visit(
            held.pass_number, held.index, guest.range_at(last.pass_number, last.index)
        )
        self._before = after
        return [*visits, back]

    @property
    def _now(self) -> float:
        return self._spent + self._lost()

    def _walk(self) -> Iterator[Visit]:
        while True:
            self._choose_base()
            visit = self._base.visit(self._before)
            due = self._due_before(self._now + visit.duration)
            if due is not None:
                yield from self._whole_pass(due)
                continue
            base = self._base
            yield self._take(base, visit)
            for part in self._timed if base is not self._main else self._timed + self._sharing:
                part.may_come = True

    def _take(self, part: _Part, visit: Visit) -> Visit:
        self._before = part.plan.range_at(part.number, part.index)
        self._spent += visit.duration
        part.used += visit.duration
        part.index += 1
        if visit.ends_pass:
            part.number, part.index = part.number + 1, 0
        return visit

    def _due_before(self, when: float) -> _Part | None:
        """The timed guest that has to begin now, lest a visit that ends at `when` make one late.

        Of several, the first due that makes none of the others late; else the first due.
        """
        waiting = sorted((part for part in self._timed if part.may_come), key=lambda p: p.due)
        if _all_in_time(waiting, when):
            return None
        for part in waiting:
            others = [other for other in waiting if other is not part]
            if _all_in_time(others, self._now + part.plan.pass_duration):
                return part
        return waiting[0]

    def _whole_pass(self, part: _Part) -> Iterator[Visit]:
        assert part.guest is not None
        assert part.guest.every is not None
        part.may_come = False
        part.due = self._now + part.guest.every
        number = part.number
        while part.number == number:
            yield self._take(part, part.visit(self._before))

    def _choose_base(self) -> None:
        now, base = self._now, self._base
        if base is not self._main:
            ahead = base.used - base.share * now
            if ahead < base.slack and self._spent - self._base_since < 2 * STRETCH:
                return
            base.may_come = False
            self._base = self._main
            return
        behind = [
            part
            for part in self._sharing
            if part.may_come and part.share * now - part.used >= part.slack
        ]
        if behind:
            self._base = max(behind, key=lambda part: part.share * now - part.used)
            self._base_since = self._spent


def _all_in_time(waiting: Sequence[_Part], when: float) -> bool:
    """Whether all begin when they are due or before, one after the other from `when`."""
    for part in waiting:
        if when > part.due + _ROUNDING:
            return False
        when += part.plan.pass_duration
    return True
