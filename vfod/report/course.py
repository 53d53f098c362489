"""Why the sweep stood still: the journal's events turned into stretches with a reason each.

Three things can keep a sweep from its channels: there is no daemon, there is no VFO, or somebody
or something has the dial. They are followed one beside the other, and the first of them that holds
is the reason.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from vfod import events as e
from vfod.state import say
from vfod.state.say import visible
from vfod.store import Entry
from vfod.units import format_frequency

#: Events that begin or end a reason, by what they are about.
DAEMON = ("daemon-started", "daemon-stopped")
LINK = ("link-greeted", "link-lost")
SWEEP = (
    *("sweep-started", "sweep-ended", "sweep-yielded", "sweep-resumed", "sweep-paused"),
    *("sweep-refused", "hold-began", "hold-ended"),
)
#: Tells afterwards why nothing was done, where nobody was there to tell it at the time.
MISSED = "window-missed"
KINDS = (*DAEMON, *LINK, *SWEEP, MISSED)

_NOBODY = "the daemon did not run"
_GONE = "the daemon was gone without a word (power cut or crash)"
_UNKNOWN = "the journal does not say why"


@dataclass(frozen=True, slots=True)
class Change:
    """From `at` on the reason is this one; None while the sweep is at work."""

    at: float
    reason: str | None


def changes(before: Iterable[Entry], entries: Sequence[Entry]) -> list[Change]:
    """The reasons over time; `before` are the last words of each kind from before the entries."""
    course = _Course()
    newest = float("-inf")
    for entry in sorted(before, key=lambda entry: entry.time):
        course.take(entry.event)
        newest = entry.time
    found = [Change(float("-inf"), course.reason)]
    for entry in entries:
        if isinstance(entry.event, e.DaemonStarted) and course.daemon is None:
            # The last run ended without its last word: nobody was there since its last event.
            found.append(Change(newest, _GONE))
        if isinstance(entry.event, e.WindowMissed) and found[-1].at <= entry.event.since:
            found.append(Change(entry.event.since, say.MISSED.get(entry.event.reason)))
            found.append(Change(entry.event.until, course.reason))
        course.take(entry.event)
        if course.reason != found[-1].reason:
            found.append(Change(entry.time, course.reason))
        newest = entry.time
    return found


#: A stretch that the daemon itself told as missed: from, to, why.
Missed = tuple[float, float, str]


def missed(entries: Iterable[Entry]) -> list[Missed]:
    """What the daemon told as missed, with the reasons that events alone do not tell."""
    return [
        (event.since, event.until, say.MISSED.get(event.reason, visible(event.reason)))
        for entry in entries
        if isinstance(event := entry.event, e.WindowMissed)
    ]


def reasons(
    course: Sequence[Change], told: Sequence[Missed], begins: float, ends: float
) -> tuple[tuple[str, float], ...]:
    """What stood in the way between two times, with the seconds of each, the longest first.

    Where the events say nothing, what the daemon told as missed is the reason: a machine that
    slept, a clock that could not be believed.
    """
    total: dict[str, float] = {}
    last = Change(float("inf"), None)
    for change, following in pairwise([*course, last]):
        seconds = min(ends, following.at) - max(begins, change.at)
        if seconds > 0 and change.reason is not None:
            total[change.reason] = total.get(change.reason, 0.0) + seconds
        elif seconds > 0:
            for since, until, why in told:
                part = min(ends, following.at, until) - max(begins, change.at, since)
                if part > 0:
                    total[why] = total.get(why, 0.0) + part
    if not total:
        return ((_UNKNOWN, ends - begins),)
    return tuple(sorted(total.items(), key=lambda item: -item[1]))


class _Course:
    def __init__(self) -> None:
        self.daemon: str | None = _NOBODY
        self._link: str | None = None
        self._sweep: str | None = None

    @property
    def reason(self) -> str | None:
        return self.daemon or self._link or self._sweep

    def take(self, event: e.Event | None) -> None:
        match event:
            case e.DaemonStarted():
                self.daemon, self._link, self._sweep = None, None, None
            case e.DaemonStopped():
                self.daemon = "the daemon was stopped"
            case e.LinkLost(reason=reason):
                self._link = f"the VFO was not reached: {visible(reason)}"
            case e.LinkGreeted():
                self._link = None
            case e.SweepStarted() | e.SweepResumed() | e.HoldLeft() | e.HoldEnded():
                self._sweep = None
            case e.SweepEnded(reason=reason):
                self._sweep = f"the sweep had ended: {visible(reason)}"
            case e.SweepYielded(to=to):
                self._sweep = f"gave way to {visible(str(to))}"
            case e.SweepPaused(reason=reason):
                self._sweep = f"waited: {visible(reason)}"
            case e.SweepRefused(reason=reason):
                self._sweep = f"the sweep cannot run: {visible(reason)}"
            case e.HoldBegan(dial=dial) | e.HoldResumed(dial=dial):
                self._sweep = f"stayed on {format_frequency(dial)}"
