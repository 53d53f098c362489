"""Where the dial stood at a time in the past, from what the journal has of it."""

from pathlib import Path

import pytest

from tests.store.samples import EVENING as T
from tests.store.samples import observed, stamped, started, tuned
from vfod import events as e
from vfod.app.lookback import stood
from vfod.run.notes import Stood
from vfod.store import Reader, Writer

SWEEP = e.Origin(door=e.Door.SWEEP, who="evening")
UNKNOWN = Stood(dial=None)

#: A sweep of three visits of ten seconds, the second one with a hold that is left for a guest; then
#: a hand; then it ends.
COURSE = [
    (0.0, started()),
    (1.0, e.DialFound(dial=7_000_000, oscillator=1)),
    (20.0, e.SweepStarted(sweep="evening", channels=3, dial=9_400_000, by=SWEEP)),
    (30.0, observed(9_400_000, level=-90.0)),
    (40.0, observed(9_405_000, level=-60.0)),
    (40.1, e.HoldBegan(sweep="evening", dial=9_405_000, level=-60.0)),
    (62.0, e.HoldLeft(sweep="evening", dial=9_405_000, guest="few")),
    (64.0, observed(9_600_000, level=-80.0)),
    (65.0, e.HoldResumed(sweep="evening", dial=9_405_000, away=3.0)),
    (70.0, e.HoldEnded(sweep="evening", dial=9_405_000, seconds=26.9, reason="limit")),
    (80.0, observed(9_410_000, level=None)),
    (85.0, e.KnobTurned(number=1, dial=9_500_000, oscillator=1)),
    (700.0, tuned(9_510_000)),
    (900.0, e.DaemonStopped(reason="asked to stop")),
]


@pytest.fixture
def reader(tmp_path: Path) -> Reader:
    writer = Writer(tmp_path / "journal.sqlite")
    writer.open(T)
    for number, (after, event) in enumerate(COURSE, 1):
        daemon = isinstance(event, e.DaemonStarted | e.DaemonStopped)
        writer.add(stamped(number, event, time=T + after, vfo="" if daemon else "main"))
    writer.close()
    return Reader(writer.path)


@pytest.mark.parametrize(
    ("after", "expected"),
    [
        (-10.0, UNKNOWN),
        (5.0, Stood(dial=7_000_000)),
        (25.0, Stood(dial=9_400_000, level=-90.0, unit="dBm")),
        (35.0, Stood(dial=9_405_000, level=-60.0, unit="dBm")),
        (60.0, Stood(dial=9_405_000, level=-60.0, unit="dBm")),
        (63.0, Stood(dial=9_600_000, level=-80.0, unit="dBm")),
        (67.0, Stood(dial=9_405_000)),
        (75.0, Stood(dial=9_410_000)),
        (300.0, Stood(dial=9_500_000)),
        (800.0, Stood(dial=9_510_000)),
        (1000.0, UNKNOWN),
    ],
)
def test_where_it_stood(reader: Reader, after: float, expected: Stood) -> None:
    """Before, in a visit, in a hold, in a hand's time, and when nobody looked."""
    with reader:
        assert expected == stood(reader, "main", T + after)
        assert UNKNOWN == stood(reader, "attic", T + after)
