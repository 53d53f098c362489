"""What a night came to, counted from the stream while it runs: what is found in the morning."""

from dataclasses import dataclass, field

from vfod import events as e
from vfod.state import Feed, State
from vfod.state.say import event_text

#: What is told one by one; the rest is counted.
_TOLD = (
    *(e.WindowOpened, e.WindowClosed, e.WindowMissed, e.SweepStarted, e.SweepEnded),
    *(e.SweepRefused, e.SweepYielded, e.SweepPaused, e.SweepResumed, e.LinkLost, e.BoxReset),
    *(e.BatteryLow, e.OutputHeldOff, e.ClockJumped, e.EncoderJittered),
    *(e.LevelsMissed, e.LevelsFound),
)


@dataclass
class BandTally:
    """What was heard in a band; `strongest` is (level, dial), None where nothing was measured."""

    visits: int = 0
    active_visits: int = 0
    channels: set[int] = field(default_factory=set)
    active_channels: set[int] = field(default_factory=set)
    strongest: tuple[float, int] | None = None
    unit: str = ""


@dataclass
class SweepTally:
    """What a sweep did; durations in seconds, `late` is the worst beginning of a visit."""

    visits: int = 0
    passes: int = 0
    holds: int = 0
    held: float = 0.0
    yields: int = 0
    lost: float = 0.0
    late: float = 0.0


@dataclass
class VfoTally:
    """One VFO's night."""

    opened: int = 0
    closed: int = 0
    missed: list[e.WindowMissed] = field(default_factory=list)
    sweeps: dict[str, SweepTally] = field(default_factory=dict)
    bands: dict[str, BandTally] = field(default_factory=dict)


@dataclass
class Tally:
    """A night from `since` to `until` (Unix seconds), VFO by VFO.

    `timeline` has (time, VFO, what happened) of everything that is worth a line. Where the
    configuration takes levels from the sound, that is about `readings_by_sound`; without
    `by_sound` they were too many to be made up, and the box's line gave the levels.
    """

    since: float
    until: float
    readings_by_sound: int = 0
    by_sound: bool = False
    vfos: dict[str, VfoTally] = field(default_factory=dict)
    timeline: list[tuple[float, str, str]] = field(default_factory=list)
    visits: int = 0

    async def run(self, feed: Feed) -> None:
        """Count until the feed ends."""
        async for stamped, state in feed:
            self._take(stamped, state)

    def _take(self, stamped: e.Stamped, state: State) -> None:
        event = stamped.event
        if isinstance(event, e.ChannelObserved):
            self._observed(self._vfo(stamped.vfo), event)
            return
        if isinstance(event, _TOLD):
            text = event_text(event, state.place)
            self.timeline.append((stamped.time, stamped.vfo, text))
        match event:
            case e.WindowOpened():
                self._vfo(stamped.vfo).opened += 1
            case e.WindowClosed():
                self._vfo(stamped.vfo).closed += 1
            case e.WindowMissed():
                self._vfo(stamped.vfo).missed.append(event)
            case e.PassCompleted(sweep=sweep):
                self._sweep(stamped.vfo, sweep).passes += 1
            case e.HoldEnded(sweep=sweep, seconds=seconds):
                done = self._sweep(stamped.vfo, sweep)
                done.holds += 1
                done.held += seconds
            case e.SweepYielded(sweep=sweep):
                self._sweep(stamped.vfo, sweep).yields += 1
            case e.SweepResumed(sweep=sweep, lost=lost):
                self._sweep(stamped.vfo, sweep).lost += lost

    def _observed(self, vfo: VfoTally, event: e.ChannelObserved) -> None:
        self.visits += 1
        sweep = vfo.sweeps.setdefault(event.sweep, SweepTally())
        sweep.visits += 1
        sweep.late = max(sweep.late, event.lateness)
        band = vfo.bands.setdefault(event.band or "", BandTally())
        band.visits += 1
        band.channels.add(event.dial)
        if event.active:
            band.active_visits += 1
            band.active_channels.add(event.dial)
        if event.highest is not None and (
            band.strongest is None or event.highest > band.strongest[0]
        ):
            band.strongest, band.unit = (event.highest, event.dial), event.unit

    def _vfo(self, name: str) -> VfoTally:
        return self.vfos.setdefault(name, VfoTally())

    def _sweep(self, vfo: str, name: str) -> SweepTally:
        return self._vfo(vfo).sweeps.setdefault(name, SweepTally())
