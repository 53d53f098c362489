"""Watches the wall clock: whether it was set, whether the machine slept, whether to believe it.

The wall clock is held against one that nobody can set. Whoever acts on a time of day calls `look`
before, so that nothing is done by a jump that was not told.

A machine without a clock of its own wakes in the past, until network time reaches it. Such a clock
is earlier than what the journal has last, or than this program's release; while it is, no window
runs. A clock that is set while the daemon watches was set by somebody who knows: the journal, which
an earlier wrong clock may have led into the future, is no longer asked then.
"""

from collections.abc import Callable

from vfod import events as e
from vfod.clock import Clock

#: Seconds that the wall clock may differ from the time that passed since the last look. Network
#: time slews by 0.5 ms a second; a step of less than this moves no window that anybody would miss.
TOLERANCE = 2.0

#: The zones reach 14 hours east of UTC: there a release has the next day's date.
_ZONES = 14 * 3600.0


class ClockWatch:
    """The watch of one clock.

    `released` and `newest` are times that are over: of this program's release, of the journal's
    newest entry (None: there is none). `on_trust` is called with the wall clock when it can be
    believed for the first time.
    """

    def __init__(
        self,
        clock: Clock,
        tell: Callable[[e.Event], object],
        *,
        released: float,
        newest: float | None = None,
        on_trust: Callable[[float], None] = lambda _: None,
    ) -> None:
        self._clock = clock
        self._tell = tell
        self._released = released - _ZONES
        self._newest = newest
        self._on_trust: Callable[[float], None] | None = on_trust
        self._slept, self._set = self._differences()
        self._doubted_since: float | None = None
        self._doubt = ""
        #: Seconds of all jumps together, and the cause of the last one.
        self.leapt, self.cause = 0.0, ""
        #: How many doubts are over, and how long the last one was.
        self.doubts, self.doubted = 0, 0.0

    @property
    def trusted(self) -> bool:
        """Whether the wall clock can be believed, as far as looked."""
        return not self._doubt

    def look(self) -> float:
        """The wall clock; what happened to it is told."""
        slept, was_set = self._differences()
        if slept - self._slept > TOLERANCE:
            self._jumped(slept - self._slept, "suspended")
        if abs(was_set - self._set) > TOLERANCE:
            self._newest = None
            self._jumped(was_set - self._set, "set")
        self._slept, self._set = slept, was_set
        wall = self._clock.wall()
        self._judge(wall)
        if self.trusted and self._on_trust is not None:
            on_trust, self._on_trust = self._on_trust, None
            on_trust(wall)
        return wall

    def _differences(self) -> tuple[float, float]:
        boottime = self._clock.boottime()
        return boottime - self._clock.monotonic(), self._clock.wall() - boottime

    def _jumped(self, seconds: float, cause: str) -> None:
        self.leapt += seconds
        self.cause = cause
        self._tell(e.ClockJumped(seconds=round(seconds, 3), cause=cause))

    def _judge(self, wall: float) -> None:
        if wall < self._released:
            doubt, known = "before-release", self._released
        elif self._newest is not None and wall < self._newest:
            doubt, known = "before-journal", self._newest
        else:
            doubt, known = "", 0.0
        now = self._clock.boottime()
        before, self._doubt = self._doubt, doubt
        if doubt and doubt != before:
            self._doubted_since = now if self._doubted_since is None else self._doubted_since
            self._tell(e.ClockDoubted(known=known, reason=doubt))
        elif before and not doubt and self._doubted_since is not None:
            self.doubts += 1
            self.doubted = now - self._doubted_since
            self._tell(e.ClockTrusted(doubted=round(self.doubted, 3)))
            self._doubted_since = None
