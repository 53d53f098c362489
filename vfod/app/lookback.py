"""Where the dial stood at a time in the past, by the journal.

The journal has no row for a tune by the sweep: the observation tells of it, at the end of its
visit. So the visit that was under way at a time is the one observed next, unless somebody had the
dial, or the sweep stayed on a channel.
"""

from vfod import events as e
from vfod.run.notes import Stood
from vfod.store import Observation, Reader

#: Longest visit, and farthest back that something is looked for: a visit with its hold, a night.
_VISIT, _NIGHT = 120.0, 86400.0

_KINDS = (
    *("dial-tuned", "dial-found", "knob-turned"),
    *("hold-began", "hold-left", "hold-resumed", "hold-ended"),
    *("sweep-started", "sweep-resumed", "daemon-stopped"),
)


def stood(reader: Reader, vfo: str, at: float) -> Stood:
    """The dial and the level there, as far as the journal tells."""
    events = reader.events(since=at - _NIGHT, until=at + 0.001, vfo=vfo, kinds=_KINDS, newest=1)
    last = events[0] if events else None
    before = reader.last_observation(until=at + 0.001, vfo=vfo)
    if last is None and before is None:
        return Stood(dial=None)
    if last is not None and (before is None or last.time >= before.time):
        match last.event:
            case (
                e.DialTuned(dial=dial)
                | e.DialFound(dial=dial)
                | e.KnobTurned(dial=dial)
                | e.HoldResumed(dial=dial)
            ):
                return Stood(dial=dial)
            case e.HoldBegan(dial=dial, level=level):
                unit = before.observed.unit if before is not None else None
                return Stood(dial=dial, level=level if unit else None, unit=unit)
            case e.DaemonStopped():
                return Stood(dial=None)
    following = next(reader.observations(since=at, until=at + _VISIT, vfo=vfo), None)
    if following is not None:
        return _seen(following)
    if before is not None and before.time > at - _VISIT:
        return _seen(before)
    return Stood(dial=None)


def _seen(seen: Observation) -> Stood:
    level = seen.observed.level
    return Stood(
        dial=seen.observed.dial, level=level, unit=None if level is None else seen.observed.unit
    )
