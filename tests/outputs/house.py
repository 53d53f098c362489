"""What doors are tested in: the real stream, and a desk that only tunes.

The desk answers as the real one does: a query from the snapshot, a change with the event it
caused, a refusal with an error of the tree.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from vfod import events as e
from vfod import requests as r
from vfod.clock import Clock
from vfod.errors import LinkDownError, OutOfRangeError
from vfod.outputs.door import Subscribe
from vfod.run.stream import Stream
from vfod.state import Feed, State, show

#: Limits of this house's dial, hertz.
LOW, HIGH = 150_000, 30_000_000

GREETED = e.LinkGreeted(
    port="/dev/vfo",
    protocol=1,
    model="attic",
    firmware="1.0",
    serial="7",
    boot="0A0B0C0D",
    low=595_000_000,
    high=30_455_000_000,
    resolution=1000,
    settle=0.01,
    abilities=("battery", "knob", "level", "temperature"),
)


class House:
    """One VFO, `main`."""

    def __init__(self, clock: Clock, *vfos: str) -> None:
        self.clock = clock
        self.stream = Stream(clock, list(vfos or ("main",)))
        self.asked: list[r.Asked] = []
        self.counted: list[tuple[str, str, str]] = []
        self.told: list[e.Event] = []
        #: What is remarked to whoever starts a sweep.
        self.remark = ""

    def snapshot(self) -> State:
        return self.stream.state

    @property
    def subscribe(self) -> Subscribe:
        @contextmanager
        def subscription() -> Iterator[Feed]:
            queue = self.stream.subscribe("test")
            try:
                yield queue
            finally:
                self.stream.unsubscribe(queue)

        return subscription

    def tell(self, event: e.Event) -> None:
        self.told.append(event)
        self.stream.emit(event)

    def count(self, door: e.Door, method: str, result: str) -> None:
        self.counted.append((door, method, result))

    def happen(self, *events: e.Event, vfo: str = "main") -> None:
        for event in events:
            self.stream.emit(event, vfo=vfo)

    async def submit(self, asked: r.Asked) -> dict[str, Any]:
        self.asked.append(asked)
        match asked.request:
            case r.ShowStatus():
                return show.to_plain(self.stream.state)
            case r.Tune(frequency=dial):
                if not LOW <= dial <= HIGH:
                    raise OutOfRangeError(f"{dial} Hz is out of range", remedy="stay inside")
                return self._tuned(dial, asked)
            case r.Resume():
                raise RuntimeError("a defect")
            case r.SetStep(step=step):
                event: e.Event = e.StepChanged(step=step, by=asked.origin)
            case r.StartSweep(sweep=sweep):
                event = e.SweepStarted(sweep=sweep, channels=3, dial=LOW, by=asked.origin)
                return self._answer(event, asked, self.remark)
            case _:
                raise LinkDownError("the VFO is not reachable", remedy="plug it in")
        return self._answer(event, asked)

    def _tuned(self, dial: int, asked: r.Asked) -> dict[str, Any]:
        return self._answer(tuned(dial, asked.origin), asked)

    def _answer(self, event: e.Event, asked: r.Asked, remark: str = "") -> dict[str, Any]:
        stamped = self.stream.emit(event, vfo=asked.vfo or "main", cause=asked.id)
        return show.answer(stamped, self.stream.state.place, remark)


def tuned(dial: int, by: e.Origin | e.Door = e.Door.SHELL) -> e.DialTuned:
    """The dial moved; the oscillator runs 455 kHz above it, exactly."""
    oscillator = (dial + 455_000) * 1000
    origin = by if isinstance(by, e.Origin) else e.Origin(door=by)
    return e.DialTuned(dial=dial, oscillator=oscillator, produced=oscillator, by=origin)


def observed(dial: int, *, active: bool = False, lateness: float = 0.0) -> e.ChannelObserved:
    """A visit of the sweep `evening`."""
    return e.ChannelObserved(
        sweep="evening",
        dial=dial,
        band="31m",
        readings=8,
        level=-70.0 if active else -103.5,
        highest=-60.0 if active else -101.0,
        unit="dBm",
        floor=-104.0,
        active=active,
        lateness=lateness,
    )
