"""What the journal remembers of the last run of the daemon, so that a restart goes on with it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from vfod import events as e
from vfod.errors import StoreError
from vfod.run.given import LeftOff
from vfod.run.keeper import BATTERY
from vfod.store import Entry, PastFloor, Reader

#: How far back a sweep left off is looked for, seconds: a person's sweep from days ago is no longer
#: what anybody expects.
MEMORY = 86400.0

_Answer = TypeVar("_Answer")

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
    #: What the bands' floors were through the last day.
    floors: tuple[PastFloor, ...] = ()
    #: The last sign of life of the daemon, wall clock.
    alive: float | None = None


class Memory:
    """The journal as it is when this is made; nothing where there is none or it cannot be read."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        #: Time of the newest entry, wall clock; None where there is none.
        self.newest: float | None = None
        self._newest_id = -1
        last = self._ask(Reader.last_event, None)
        if last is not None:
            self.newest, self._newest_id = last.time, last.id

    def of(self, vfo: str, now: float) -> Recalled:
        """What it says of a VFO; `now` is the wall clock, which can be believed."""
        return self._ask(lambda reader: self._with_floors(reader, vfo, now), Recalled())

    def _with_floors(self, reader: Reader, vfo: str, now: float) -> Recalled:
        floors = reader.floors(since=now - MEMORY, until=now, vfo=vfo)
        return replace(self._recall(reader, vfo, now), floors=tuple(floors))

    def battery_low_at(self, vfo: str) -> float | None:
        """Volts at which the battery was told to be low, where it was not charged since."""
        nothing: list[Entry] = []
        kinds = ("battery-low", "battery-fine")
        low: float | None = None
        for entry in self._ask(lambda it: it.events(vfo=vfo, kinds=kinds, newest=100), nothing):
            match entry.event:
                case e.BatteryLow(battery=volts):
                    low = volts if low is None else max(low, volts)
                case e.BatteryFine():
                    low = None
        return low

    def calibrated(self, vfo: str) -> e.CrystalCalibrated | None:
        """The last calibration of a VFO."""
        nothing: list[Entry] = []
        kinds = ("crystal-calibrated",)
        for entry in self._ask(lambda it: it.events(vfo=vfo, kinds=kinds, newest=1), nothing):
            if isinstance(entry.event, e.CrystalCalibrated):
                return entry.event
        return None

    def own_signals(self, vfo: str) -> list[e.OwnSignalsMeasured]:
        """The lists of what is no station, of each sweep the last one counts."""
        nothing: list[Entry] = []
        kinds = ("own-signals-measured",)
        events = [n.event for n in self._ask(lambda it: it.events(vfo=vfo, kinds=kinds), nothing)]
        return [one for one in events if isinstance(one, e.OwnSignalsMeasured)]

    def _ask(self, question: Callable[[Reader], _Answer], otherwise: _Answer) -> _Answer:
        if self._path is None or not self._path.exists():
            return otherwise
        try:
            with Reader(self._path) as reader:
                return question(reader)
        except StoreError:
            # The writer finds the same trouble, deals with it and says so.
            return otherwise

    def _recall(self, reader: Reader, vfo: str, now: float) -> Recalled:
        since = now - MEMORY
        home = self._home(reader, vfo, since)
        alive = self._alive(reader, vfo, now)
        events = [(n.time, n.event) for n in self._events(reader, vfo, since, _SWEEP_KINDS)]
        started = next(
            ((t, ev) for t, ev in reversed(events) if isinstance(ev, e.SweepStarted)), None
        )
        if started is None:
            return Recalled(home=home, alive=alive)
        began, start = started
        after = [(t, ev) for t, ev in events if t >= began]
        ended = next(((t, ev) for t, ev in reversed(events) if isinstance(ev, e.SweepEnded)), None)
        if ended is not None and ended[0] >= began and ended[1].by.door is not e.Door.DAEMON:
            by_window = ended[1].by.door is e.Door.WINDOW
            return Recalled(home=home, alive=alive, stopped_at=None if by_window else ended[0])
        if ended is not None and ended[0] >= began and ended[1].reason == BATTERY:
            return Recalled(home=home, alive=alive)
        last, dial = began, start.dial
        seen = reader.last_observation(since=began, until=now, vfo=vfo, sweep=start.sweep)
        if seen is not None:
            last, dial = seen.time, seen.observed.dial
        quiet: e.SweepYielded | None = None
        for time, event in after:
            if isinstance(event, e.SweepYielded):
                quiet, dial = event, event.dial if time >= last else dial
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
            home=home,
            alive=alive,
        )

    def _alive(self, reader: Reader, vfo: str, now: float) -> float | None:
        if self.newest is None:
            return None
        seen = reader.last_observation(since=self.newest, until=now, vfo=vfo)
        return self.newest if seen is None else seen.time

    def _home(self, reader: Reader, vfo: str, since: float) -> int | None:
        for entry in reversed(
            self._events(reader, vfo, since, ("dial-tuned", "knob-turned"))[-50:]
        ):
            match entry.event:
                case e.KnobTurned(dial=dial) if dial is not None:
                    return dial
                case e.DialTuned(dial=dial, by=by) if by.door.is_person or by.door is e.Door.MQTT:
                    return dial
        return None

    def _events(
        self, reader: Reader, vfo: str, since: float, kinds: tuple[str, ...]
    ) -> list[Entry]:
        """Those of earlier runs whose time can be believed."""
        return [
            entry
            for entry in reader.events(since=since, vfo=vfo, kinds=kinds)
            if entry.id <= self._newest_id and not entry.doubted
        ]
