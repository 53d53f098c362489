"""What went by of a VFO's windows without their sweep, told once each: whole windows and gaps.

Windows pass unseen while the daemon does not run, while the machine sleeps or its clock cannot be
believed, and where the clock leaps over them: those are found in the agenda, from the moment up to
which everything is accounted for. A window that was open all right, and in which no channel was
visited, is told when it closes; a thousand attempts at a VFO that is not there are one entry.
"""

from collections.abc import Callable, Sequence

from vfod import events as e
from vfod.plan.slots import DAY, Slot, resolve
from vfod.plan.windows import Window
from vfod.run.clockwatch import ClockWatch
from vfod.state import LinkPhase, VfoState

#: Windows further back are not told, seconds: what was missed a month ago needs no entry each.
LOOK_BACK = 31 * DAY

#: A gap shorter than this is none, seconds: so long takes a restart of the daemon or of a box.
GAP = 5.0

_CAUSES = {"suspended": "asleep", "set": "clock-set"}


class Missed:
    """The account of one VFO; `emit` tells, `vfo` is what is the case now."""

    def __init__(
        self, watch: ClockWatch, emit: Callable[[e.Event], object], vfo: Callable[[], VfoState]
    ) -> None:
        #: Up to when everything is accounted for, wall clock; None: nothing was before.
        self.accounted: float | None = None
        #: Why the open window goes without its sweep, where that is decided.
        self.why = ""
        self._watch = watch
        self._emit = emit
        self._vfo = vfo
        self._looked = False
        self._leapt, self._doubts = watch.leapt, watch.doubts
        self._opened = 0.0
        self._visits = self._losses = 0
        self._absent = False

    def look(self, windows: Sequence[Window], wall: float, *, declined_at: float | None) -> None:
        """The agenda is about to be kept; tell what it lost since the last look.

        `declined_at` is when a person last stopped a sweep before the daemon's start.
        """
        watch = self._watch
        if not watch.trusted:
            return
        leapt, self._leapt = watch.leapt - self._leapt, watch.leapt
        doubted = watch.doubts != self._doubts
        self._doubts = watch.doubts
        first, self._looked = not self._looked, True
        since, self.accounted = self.accounted, wall
        if since is None or not (first or doubted or leapt > 0):
            return
        if not (first or doubted):
            # Between two looks the sweep ran on; only the leap is lost.
            since = max(since, wall - leapt)
        for slot in resolve(windows, max(since, wall - LOOK_BACK), wall).slots:
            begin, end = max(slot.opens, since), min(slot.closes, wall)
            if declined_at is not None and slot.opens <= declined_at < slot.closes:
                continue
            in_doubt = max(0.0, end - max(begin, wall - watch.doubted)) if doubted else 0.0
            if in_doubt > (end - begin) / 2:
                reason = "clock-doubted"
            else:
                reason = "daemon-down" if first else _CAUSES.get(watch.cause, "clock-doubted")
            self._tell(slot, begin, end, reason)

    def opened(self, wall: float) -> None:
        """A window has opened, or was joined."""
        vfo = self._vfo()
        self.why = ""
        self._opened = wall
        self._visits, self._losses = vfo.visits, vfo.link.losses
        self._absent = vfo.link.phase is LinkPhase.DOWN

    def started(self, slot: Slot, wall: float) -> None:
        """The sweep of the open window begins: had it to wait for the VFO?"""
        if self._absent:
            self._tell(slot, self._opened, wall, "vfo-absent")
            self._opened = wall

    def closed(self, slot: Slot, wall: float, *, yielded: bool) -> None:
        """The window has closed; `yielded` says that somebody has the dial."""
        vfo = self._vfo()
        if not self._watch.trusted or vfo.visits != self._visits:
            return
        is_down = vfo.link.phase is LinkPhase.DOWN
        absent = self._absent and is_down and vfo.link.losses == self._losses
        if absent:
            reason = "vfo-absent"
        elif vfo.battery_low:
            reason = "battery"
        else:
            reason = "yielded" if yielded else "unfinished"
        self._tell(slot, self._opened, min(wall, slot.closes), self.why or reason)

    def _tell(self, slot: Slot, since: float, until: float, reason: str) -> None:
        if until - since < GAP:
            return
        self._emit(
            e.WindowMissed(
                window=slot.window.name,
                sweep=slot.window.sweep,
                night=slot.night.isoformat(),
                opens=slot.opens,
                closes=slot.closes,
                since=since,
                until=until,
                reason=reason,
            )
        )
