"""What a metrics server scrapes: a view of the state, taken when it is asked for.

Gauges are read from the state of that moment; counters are kept here, from every event and every
request. Names and units follow OpenMetrics 1.0 and the naming guide of its text format. A
frequency is never a label; the bands are those of the configuration, so the number of series does
not grow with time.
"""

import bisect
import collections
from collections.abc import Callable, Iterator, Mapping, Sequence
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
from vfod.device.tally import Tally
from vfod.events import ChannelObserved, Door, DoorFailed, LinkLost, Stamped
from vfod.events.plain import kind
from vfod.outputs.door import Opened, Snapshot, Subscribe, keep_open
from vfod.outputs.metrics_of_state import of_state
from vfod.state import State, Tell

NAME = "metrics"

#: Upper bounds of the histogram of lateness, seconds: a loop's timer is a millisecond late, a slow
#: board some; beyond a second something is wrong.
LATENESS_BOUNDS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5, 1.0)

#: The same of an answer of the box: a line at 115200 baud takes 10 ms each way, a tune its
#: settle time more, and what took longer than a second is lost.
ANSWER_BOUNDS = (0.005, 0.01, 0.02, 0.03, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0)

#: The label of a visit in no band.
_OUTSIDE = "outside"

_Labels = tuple[str, ...]


#: Of each queue that events wait in, by the name of the part: how many wait, how many were lost.
Queues = Callable[[], Mapping[str, tuple[int, int]]]


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


class Histogram:
    """Counts per bucket, by its upper bound, and the sum."""

    def __init__(self, bounds: Sequence[float]) -> None:
        self._bounds = bounds
        self._counts = [0] * (len(bounds) + 1)
        self.sum = 0.0

    def observe(self, value: float) -> None:
        """Count a value."""
        self._counts[bisect.bisect_left(self._bounds, value)] += 1
        self.sum += value

    def cumulated(self) -> list[tuple[str, float]]:
        """For each bound as text, how many values were not above it."""
        texts = [*(str(bound) for bound in self._bounds), "+Inf"]
        return [(bound, sum(self._counts[: n + 1])) for n, bound in enumerate(texts)]


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
        queues: Queues = dict,
    ) -> None:
        self._subscribe = subscribe
        self._snapshot = snapshot
        self._tell = tell
        self._clock = clock
        self._version = version
        self._journal = journal
        self._queues = queues
        self._tallies: dict[str, Tally] = {}
        self._questions: collections.Counter[_Labels] = collections.Counter()
        self._answers: dict[str, Histogram] = {}
        self._events: collections.Counter[_Labels] = collections.Counter()
        self._requests: collections.Counter[_Labels] = collections.Counter()
        self._losses: collections.Counter[_Labels] = collections.Counter()
        self._known_losses: dict[str, int] = {}
        self._failures: collections.Counter[_Labels] = collections.Counter()
        self._visits: collections.Counter[_Labels] = collections.Counter()
        self._active: collections.Counter[_Labels] = collections.Counter()
        self._lateness: dict[str, Histogram] = {}
        self.registry = CollectorRegistry()
        self.registry.register(self)
        ProcessCollector(registry=self.registry)
        GCCollector(registry=self.registry)

    def count(self, door: Door, method: str, result: str) -> None:
        """A request was answered; see `vfod.outputs.door.Count`."""
        self._requests[door, method, result] += 1

    def tally(self, vfo: str) -> Tally:
        """What the line to a VFO is to be counted in; the same for every line to it."""
        if vfo not in self._tallies:
            histogram = self._answers[vfo] = Histogram(ANSWER_BOUNDS)

            def measured(verb: str, seconds: float, result: str) -> None:
                self._questions[vfo, verb, result] += 1
                histogram.observe(seconds)

            self._tallies[vfo] = Tally(measured=measured)
        return self._tallies[vfo]

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
            case DoorFailed():
                self._failures[event.door, event.reason] += 1
            case ChannelObserved():
                band = event.band or _OUTSIDE
                self._visits[vfo, band] += 1
                self._active[vfo, band] += bool(event.active)
                self._lateness.setdefault(vfo, Histogram(LATENESS_BOUNDS)).observe(event.lateness)

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
        yield from of_state(state)
        yield from self._counters()
        yield from self._of_the_lines()
        yield from self._of_the_queues()
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
            (
                "vfod_door_failures",
                "Times that a door failed, by reason; while it is tried again, each reason once.",
                ["door", "reason"],
                self._failures,
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
        yield _histograms("vfod_visit_lateness", "How late a visit began.", self._lateness)

    def _of_the_lines(self) -> Iterator[Metric]:
        questions = CounterMetricFamily(
            "vfod_line_questions",
            "Questions put to the box, by verb and result.",
            labels=["vfo", "verb", "result"],
        )
        for values, number in self._questions.items():
            questions.add_metric(values, number)
        yield questions
        yield _histograms("vfod_line_answer", "How long the box took to answer.", self._answers)
        strays = CounterMetricFamily(
            "vfod_line_strays", "Bytes that were for nobody, by kind.", labels=["vfo", "kind"]
        )
        retries = CounterMetricFamily(
            "vfod_line_retries", "Questions put again, since no answer came.", labels=["vfo"]
        )
        gaps = CounterMetricFamily(
            "vfod_line_gaps", "Times that what the box told was not the whole.", labels=["vfo"]
        )
        for vfo, tally in self._tallies.items():
            for stray, number in tally.strays.items():
                strays.add_metric([vfo, stray], number)
            retries.add_metric([vfo], tally.retries)
            gaps.add_metric([vfo], tally.gaps)
        yield from (strays, retries, gaps)

    def _of_the_queues(self) -> Iterator[Metric]:
        length = GaugeMetricFamily(
            "vfod_queue_length", "Events that wait for a part, by its name.", labels=["queue"]
        )
        dropped = CounterMetricFamily(
            "vfod_queue_dropped",
            "Events that a part lost, because too many waited.",
            labels=["queue"],
        )
        for name, (waiting, lost) in self._queues().items():
            length.add_metric([name], waiting)
            dropped.add_metric([name], lost)
        yield from (length, dropped)

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


def _histograms(name: str, says: str, of: Mapping[str, Histogram]) -> Metric:
    family = HistogramMetricFamily(name, says, labels=["vfo"], unit="seconds")
    for vfo, histogram in of.items():
        family.add_metric([vfo], histogram.cumulated(), histogram.sum)
    return family
