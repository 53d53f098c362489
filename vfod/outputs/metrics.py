"""What a metrics server scrapes: a view of the state, taken when it is asked for.

Gauges are read from the state of that moment; counters are kept here, from every event and every
request. Names and units follow OpenMetrics 1.0 and the naming guide of its text format. A
frequency is never a label; the bands are those of the configuration, so the number of series does
not grow with time.
"""

import bisect
import collections
from collections.abc import Callable, Iterable, Iterator
from typing import Protocol

from prometheus_client import CollectorRegistry, GCCollector, Metric, ProcessCollector
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    HistogramMetricFamily,
    InfoMetricFamily,
)
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector

from vfod.clock import Clock
from vfod.events import ChannelObserved, Door, LinkLost, Stamped
from vfod.events.plain import kind
from vfod.outputs.door import Opened, Snapshot, Subscribe, keep_open
from vfod.state import LinkPhase, State, SweepPhase, Tell, VfoState
from vfod.units import MILLI

NAME = "metrics"

#: Upper bounds of the histogram of lateness, seconds: a loop's timer is a millisecond late, a slow
#: board some; beyond a second something is wrong.
LATENESS_BOUNDS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5, 1.0)

#: The label of a visit in no band.
_OUTSIDE = "outside"

_Labels = tuple[str, ...]


class JournalView(Protocol):
    """What the journal says of itself."""

    @property
    def queued(self) -> int:
        """Entries that wait to be written."""
        ...

    @property
    def dropped(self) -> int:
        """Observations given up because too many waited."""
        ...

    @property
    def failing(self) -> bool:
        """Whether the disk gives trouble."""
        ...


class Metrics(Collector):
    """Counts while it runs, and renders when asked."""

    def __init__(
        self,
        *,
        subscribe: Subscribe,
        snapshot: Snapshot,
        tell: Tell,
        clock: Clock,
        version: str,
        journal: JournalView | None = None,
    ) -> None:
        self._subscribe = subscribe
        self._snapshot = snapshot
        self._tell = tell
        self._clock = clock
        self._version = version
        self._journal = journal
        self._events: collections.Counter[_Labels] = collections.Counter()
        self._requests: collections.Counter[_Labels] = collections.Counter()
        self._losses: collections.Counter[_Labels] = collections.Counter()
        self._known_losses: dict[str, int] = {}
        self._visits: collections.Counter[_Labels] = collections.Counter()
        self._active: collections.Counter[_Labels] = collections.Counter()
        self._lateness: dict[str, _Histogram] = {}
        self.registry = CollectorRegistry()
        self.registry.register(self)
        ProcessCollector(registry=self.registry)
        GCCollector(registry=self.registry)

    def count(self, door: Door, method: str, result: str) -> None:
        """A request was answered; see `vfod.outputs.door.Count`."""
        self._requests[door, method, result] += 1

    async def run(self) -> None:
        """Count what happens, until cancelled."""
        await keep_open(NAME, self._serve, tell=self._tell, clock=self._clock)

    async def _serve(self, opened: Opened) -> None:
        with self._subscribe() as feed:
            opened("/metrics")
            async for stamped, state in feed:
                self._take(stamped, state)

    def _take(self, stamped: Stamped, state: State) -> None:
        vfo, event = stamped.vfo, stamped.event
        self._events[(kind(event),)] += 1
        match event:
            case LinkLost():
                losses = state.vfos[vfo].link.losses
                # Attempts to open the line again are no further losses.
                if losses > self._known_losses.get(vfo, 0):
                    self._known_losses[vfo] = losses
                    self._losses[vfo, event.reason] += 1
            case ChannelObserved():
                band = event.band or _OUTSIDE
                self._visits[vfo, band] += 1
                self._active[vfo, band] += bool(event.active)
                self._lateness.setdefault(vfo, _Histogram()).observe(event.lateness)

    def render(self, accept: str) -> tuple[bytes, str]:
        """The page in the format that an Accept header asks for, and its content type."""
        try:
            encode, content_type = choose_encoder(accept)
        except (ValueError, TypeError):
            # A version that is no number: the caller gets the format that everybody reads.
            encode, content_type = choose_encoder("")
        return encode(self.registry), content_type

    def collect(self) -> Iterator[Metric]:
        """Everything, as the library asks for it."""
        state = self._snapshot()
        build = InfoMetricFamily("vfod_build", "Version of the daemon.")
        build.add_metric([], {"version": self._version})
        yield build
        yield from _dial(state)
        yield from _link(state)
        yield _filter_switchings(state)
        yield from self._counters()
        yield _sweep_phase(state)
        up = GaugeMetricFamily("vfod_door_up", "Whether a door works.", labels=["door"])
        for name, door in state.doors.items():
            up.add_metric([name], door.up)
        yield up
        yield from self._of_the_journal()

    def _counters(self) -> Iterator[Metric]:
        for name, says, labels, counted in (
            ("vfod_events", "Things that happened, by kind.", ["kind"], self._events),
            (
                "vfod_requests",
                "Requests answered, by door, method and result.",
                ["door", "method", "result"],
                self._requests,
            ),
            (
                "vfod_link_losses",
                "Times the line to a VFO was lost, by reason.",
                ["vfo", "reason"],
                self._losses,
            ),
            ("vfod_visits", "Completed visits, by band.", ["vfo", "band"], self._visits),
            (
                "vfod_active_visits",
                "Completed visits that found a channel active, by band.",
                ["vfo", "band"],
                self._active,
            ),
        ):
            family = CounterMetricFamily(name, says, labels=labels)
            for values, number in counted.items():
                family.add_metric(values, number)
            yield family
        lateness = HistogramMetricFamily(
            "vfod_visit_lateness",
            "How late a visit began.",
            labels=["vfo"],
            unit="seconds",
        )
        for vfo, histogram in self._lateness.items():
            lateness.add_metric([vfo], histogram.cumulated(), histogram.sum)
        yield lateness

    def _of_the_journal(self) -> Iterator[Metric]:
        journal = self._journal
        if journal is None:
            return
        yield GaugeMetricFamily(
            "vfod_journal_queue_length", "Entries that wait for the journal.", journal.queued
        )
        yield CounterMetricFamily(
            "vfod_journal_dropped",
            "Observations that the journal gave up because too many waited.",
            journal.dropped,
        )
        yield GaugeMetricFamily(
            "vfod_journal_failing", "Whether the journal's disk gives trouble.", journal.failing
        )


class _Histogram:
    """Counts per bucket, and the sum."""

    def __init__(self) -> None:
        self._counts = [0] * (len(LATENESS_BOUNDS) + 1)
        self.sum = 0.0

    def observe(self, value: float) -> None:
        self._counts[bisect.bisect_left(LATENESS_BOUNDS, value)] += 1
        self.sum += value

    def cumulated(self) -> list[tuple[str, float]]:
        bounds = [*(str(bound) for bound in LATENESS_BOUNDS), "+Inf"]
        return [(bound, sum(self._counts[: n + 1])) for n, bound in enumerate(bounds)]


def _per_vfo(
    state: State, name: str, says: str, unit: str, read: Callable[[VfoState], float | None]
) -> Metric:
    """A gauge with one sample for each VFO of which the value is known."""
    family = GaugeMetricFamily(name, says, labels=["vfo"], unit=unit)
    for vfo, known in state.vfos.items():
        if (value := read(known)) is not None:
            family.add_metric([vfo], value)
    return family


def _dial(state: State) -> Iterable[Metric]:
    yield _per_vfo(
        state,
        "vfod_dial_frequency",
        "Frequency the receiver is tuned to.",
        "hertz",
        lambda vfo: vfo.dial,
    )
    yield _per_vfo(
        state,
        "vfod_oscillator_frequency",
        "Frequency the VFO says it produces.",
        "hertz",
        lambda vfo: None if vfo.produced is None else vfo.produced / MILLI,
    )


def _link(state: State) -> Iterable[Metric]:
    yield _per_vfo(
        state,
        "vfod_link_up",
        "Whether the line to the VFO works.",
        "",
        lambda vfo: vfo.link.phase is LinkPhase.UP,
    )
    yield _per_vfo(
        state, "vfod_battery", "Voltage of the VFO's battery.", "volts", lambda vfo: vfo.battery
    )
    yield _per_vfo(
        state,
        "vfod_temperature",
        "Temperature in the VFO.",
        "celsius",
        lambda vfo: vfo.temperature,
    )


def _filter_switchings(state: State) -> Metric:
    family = CounterMetricFamily(
        "vfod_filter_switchings", "Times the band filter was switched.", labels=["vfo"]
    )
    for vfo, known in state.vfos.items():
        family.add_metric([vfo], known.filter_switchings)
    return family


def _sweep_phase(state: State) -> Metric:
    family = GaugeMetricFamily(
        "vfod_sweep_phase", "1 for what the sweep is doing, else 0.", labels=["vfo", "phase"]
    )
    for vfo, known in state.vfos.items():
        for phase in SweepPhase:
            family.add_metric([vfo, phase], known.sweep.phase is phase)
    return family
