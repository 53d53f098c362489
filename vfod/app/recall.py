"""What the journal remembers of the last run of the daemon, so that a restart goes on with it."""

import dataclasses
from dataclasses import dataclass
from pathlib import Path

from vfod import events as e
from vfod.errors import StoreError
from vfod.run.keeper import BATTERY, LeftOff
from vfod.store.reader import Reader

#: How far back a sweep left off is looked for, seconds: a person's sweep from days ago is no longer
#: what anybody expects.
MEMORY = 86400.0

_SWEEP_KINDS = ("sweep-started", "sweep-ended", "sweep-yielded", "sweep-resumed", "sweep-paused")


@dataclass(frozen=True, kw_only=True, slots=True)
class Recalled:
    """For one VFO: the sweep that was left off, and the quiet time that still holds."""

    left_off: LeftOff | None = None
    quiet_until: float | None = None
    quiet_for: e.Origin | None = None
    home: int | None = None
    #: When a person last stopped a sweep, wall clock: its window is not to start it again.
    stopped_at: float | None = None
    #: Volts at which the battery was told to be low, where it was not charged since.
    battery_low_at: float | None = None


def recall(path: Path, vfo: str, now: float) -> Recalled:
    """What the journal says of a VFO; nothing where there is no journal or it cannot be read."""
    if not path.exists():
        return Recalled()
    try:
        with Reader(path) as reader:
            found = _recall(reader, vfo, now)
            return dataclasses.replace(found, battery_low_at=_battery_low_at(reader, vfo))
    except StoreError:
        # The writer finds the same trouble, deals with it and says so.
        return Recalled()


def _recall(reader: Reader, vfo: str, now: float) -> Recalled:
    since = now - MEMORY
    entries = reader.events(since=since, vfo=vfo, kinds=_SWEEP_KINDS)
    events = [(entry.time, entry.event) for entry in entries]
    started = next(((t, ev) for t, ev in reversed(events) if isinstance(ev, e.SweepStarted)), None)
    if started is None:
        return Recalled(home=_home(reader, vfo, since))
    began, start = started
    after = [ev for t, ev in events if t >= began]
    ended = next(((t, ev) for t, ev in reversed(events) if isinstance(ev, e.SweepEnded)), None)
    if ended is not None and ended[0] >= began and ended[1].by.door is not e.Door.DAEMON:
        by_window = ended[1].by.door is e.Door.WINDOW
        return Recalled(home=_home(reader, vfo, since), stopped_at=None if by_window else ended[0])
    if ended is not None and ended[0] >= began and ended[1].reason == BATTERY:
        return Recalled(home=_home(reader, vfo, since))
    last = began
    dial = start.dial
    for seen in reader.observations(since=began, vfo=vfo):
        if seen.observed.sweep == start.sweep:
            last, dial = seen.time, seen.observed.dial
    quiet: e.SweepYielded | None = None
    for event in after:
        if isinstance(event, e.SweepYielded):
            quiet, dial = event, event.dial
        elif isinstance(event, e.SweepResumed):
            quiet = None
    holds = quiet is not None and (quiet.until is None or quiet.until > now)
    return Recalled(
        left_off=LeftOff(
            sweep=start.sweep,
            dial=dial,
            time=max(last, began),
            by_person=start.by.door.is_person or start.by.door is e.Door.MQTT,
        ),
        quiet_until=(quiet.until or float("inf")) if holds and quiet else None,
        quiet_for=quiet.to if holds and quiet else None,
        home=_home(reader, vfo, since),
    )


def _battery_low_at(reader: Reader, vfo: str) -> float | None:
    low: float | None = None
    for entry in reader.events(vfo=vfo, kinds=("battery-low", "battery-fine"), newest=100):
        match entry.event:
            case e.BatteryLow(battery=volts):
                low = volts if low is None else max(low, volts)
            case e.BatteryFine():
                low = None
    return low


def _home(reader: Reader, vfo: str, since: float) -> int | None:
    for entry in reversed(
        reader.events(since=since, vfo=vfo, kinds=("dial-tuned", "knob-turned"), newest=50)
    ):
        match entry.event:
            case e.KnobTurned(dial=dial) if dial is not None:
                return dial
            case e.DialTuned(dial=dial, by=by) if by.door.is_person or by.door is e.Door.MQTT:
                return dial
    return None
