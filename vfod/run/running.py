"""The sweep of one VFO that runs: begun, led by another configuration, ended in good order.

There is at most one. It is a task of its own, which ends only by being cancelled; if it fails, that
is our own mistake, and is told as its end.
"""

import asyncio
import contextlib

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import RefusedError, UsageError
from vfod.plan.roster import Roster
from vfod.plan.windows import Window
from vfod.run.desk import Desk
from vfod.run.given import Orders
from vfod.run.repertoire import Repertoire
from vfod.run.stream import Emit
from vfod.run.sweeper import Sweeper
from vfod.run.tuner import Tuner

_DAEMON = e.Origin(door=e.Door.DAEMON)
_WINDOW = e.Origin(door=e.Door.WINDOW)


class Running:
    """The run of a sweep, if there is one."""

    def __init__(
        self, tuner: Tuner, desk: Desk, clock: Clock, emit: Emit, repertoire: Repertoire
    ) -> None:
        self._tuner = tuner
        self._desk = desk
        self._clock = clock
        self._emit = emit
        self._repertoire = repertoire
        self._sweeper: Sweeper | None = None
        self._task: asyncio.Task[None] | None = None
        #: Whether a person started it, so that no window ends it.
        self.by_person = False

    def __bool__(self) -> bool:
        return self._sweeper is not None

    @property
    def roster(self) -> Roster | None:
        """What it walks now; None without one."""
        return None if self._sweeper is None else self._sweeper.course.roster

    @property
    def left_at(self) -> int | None:
        """The channel of the window's own sweep that it is at, hertz; None without one."""
        return None if self._sweeper is None else self._sweeper.course.own.dial

    def poke(self) -> None:
        """Something changed that may concern it."""
        if self._sweeper is not None:
            self._sweeper.poke()

    def ahead(self, of: int | None) -> int | None:
        """The channel that is visited after channel `of`; None without a sweep."""
        if self._sweeper is None:
            return None
        visit, coming = self._sweeper.visit, self._sweeper.course.coming
        return coming.dial if visit.dial == of else visit.dial

    def begin(
        self,
        orders: Orders,
        name: str,
        by: e.Origin,
        cause: str | None,
        *,
        window: Window | None = None,
        from_dial: int | None = None,
        by_person: bool = False,
    ) -> e.Stamped:
        """Start the sweep `name`, of a window or alone; raises what plan_sweep raises."""
        roster = self._repertoire.roster(orders, name, window)
        if self._desk.home is None:
            self._desk.home = self._tuner.dial
        plan = roster.main
        sweeper = Sweeper(
            roster,
            self._tuner,
            self._desk,
            self._clock,
            self._emit,
            orders.ears,
            start=(0, 0) if from_dial is None else plan.resume_at(from_dial),
            mute=orders.mute_in_sweeps,
            detectors=self._repertoire.detectors_of(roster),
        )
        stamped = self._emit(
            e.SweepStarted(sweep=name, channels=len(plan), dial=sweeper.visit.dial, by=by), cause
        )
        self._sweeper = sweeper
        self.by_person = by_person
        self._task = asyncio.create_task(sweeper.run(), name=f"sweep {name}")
        self._task.add_done_callback(self._done)
        return stamped

    async def end(self, reason: str, by: e.Origin, cause: str | None) -> e.Stamped | None:
        """Stop it and let the listener hear again; None where there is none."""
        if self._sweeper is None or self._task is None:
            return None
        sweeper, task = self._sweeper, self._task
        self._sweeper = self._task = None
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        await sweeper.release_speaker()
        return self._ended(sweeper, reason, by, cause)

    async def take(self, orders: Orders, window: Window | None, cause: str | None) -> None:
        """Go by other orders at the next visit or pass; end where they do not have it any more."""
        sweeper = self._sweeper
        if sweeper is None:
            return
        if sweeper.name not in orders.sweeps:
            await self.end("it is no longer in the configuration", _WINDOW, cause)
            return
        try:
            roster = self._repertoire.again(orders, sweeper.course.roster)
            next_pass = self._repertoire.roster(
                orders, sweeper.name, None if self.by_person else window
            )
        except (UsageError, RefusedError) as error:
            await self.end(f"not possible by the new configuration: {error}", _WINDOW, cause)
            return
        detectors = self._repertoire.detectors_of(roster, next_pass)
        sweeper.take(roster, orders.ears, detectors, next_pass)
        await sweeper.take_mute(orders.mute_in_sweeps)

    def skip(self, by: e.Origin, cause: str | None) -> e.Stamped:
        """Leave the channel for the next one; RefusedError when no sweep moves."""
        if self._sweeper is None or not self._desk.sweep_may_move:
            raise RefusedError("no sweep is moving", remedy="start or resume one first")
        stamped = self._emit(
            e.ChannelSkipped(sweep=self._sweeper.name, dial=self._sweeper.visit.dial, by=by), cause
        )
        self._sweeper.skip()
        return stamped

    async def next_word(self, cause: str | None) -> e.Stamped | None:
        """What it says next: that it yields, waits or goes on; None without one."""
        return await self._sweeper.next_word(cause) if self._sweeper is not None else None

    def _done(self, task: asyncio.Task[None]) -> None:
        if not task.cancelled() and (error := task.exception()) is not None:
            sweeper, self._sweeper, self._task = self._sweeper, None, None
            if sweeper is not None:
                self._ended(sweeper, f"failed: {error!r}", _DAEMON, None)

    def _ended(self, sweeper: Sweeper, reason: str, by: e.Origin, cause: str | None) -> e.Stamped:
        return self._emit(
            e.SweepEnded(
                sweep=sweeper.name,
                visits=sweeper.visits,
                passes=sweeper.course.passes,
                reason=reason,
                by=by,
            ),
            cause,
        )
