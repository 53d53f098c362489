"""Questions to the journal are answered rightly and in order."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from tests.store.samples import EVENING, observed, stamped, started, tuned
from vfod import events as e
from vfod.store import ChannelSummary, Reader, Writer
from vfod.store.reader import PIECE

T = EVENING


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[Writer]:
    writer = Writer(tmp_path / "journal.sqlite3")
    writer.open(T)
    with closing(writer):
        yield writer


def written(writer: Writer, *rows: e.Stamped) -> Reader:
    for row in rows:
        writer.add(row)
    writer.commit()
    return Reader(writer.path)


def test_events_between_times(writer: Writer) -> None:
    """From `since` up to before `until`; the newest so many, in the order they happened."""
    rows = [stamped(n, tuned(9_000_000 + n), time=T + n) for n in range(1, 11)]
    with written(writer, *rows) as reader:

        def asked(**limits: Any) -> list[int]:
            return [entry.sequence for entry in reader.events(**limits)]

        assert list(range(1, 11)) == asked()
        assert [3, 4, 5] == asked(since=T + 3, until=T + 6)
        assert [9, 10] == asked(newest=2)
        assert [4, 5] == asked(until=T + 6, newest=2)
        assert [] == asked(since=T + 100)
        assert [] == asked(newest=0)


def test_events_of_a_kind_and_of_a_vfo(writer: Writer) -> None:
    """A VFO's events come with the daemon's own; kinds are the names that every door uses."""
    rows = [
        stamped(1, started(), vfo=""),
        stamped(2, tuned(9_420_000), vfo="attic"),
        stamped(3, e.KnobTurned(number=1, dial=7_200_000, oscillator=1), vfo="shed"),
        stamped(4, tuned(7_205_000), vfo="shed", cause="q"),
    ]
    with written(writer, *rows) as reader:
        assert [1, 3, 4] == [entry.sequence for entry in reader.events(vfo="shed")]
        assert [2, 4] == [entry.sequence for entry in reader.events(kinds=["dial-tuned"])]
        some = reader.events(kinds=["dial-tuned", "knob-turned"], vfo="shed", newest=1)
        assert [(4, "shed", "q", rows[3].event)] == [
            (entry.sequence, entry.vfo, entry.cause, entry.event) for entry in some
        ]


def test_a_clock_set_back_does_not_change_the_order(writer: Writer) -> None:
    """What happened later stands later, whatever the clock said."""
    rows = [stamped(n, tuned(9_420_000), time=T - n) for n in range(5)]
    with written(writer, *rows) as reader:
        assert [0, 1, 2, 3, 4] == [entry.sequence for entry in reader.events()]
        assert [1, 2] == [entry.sequence for entry in reader.events(since=T - 2, until=T)]


def test_observations_between_times(writer: Writer) -> None:
    """Every observation once, by time, across the pieces in which they are fetched."""
    count = 2 * PIECE + 10
    rows = [stamped(n, observed(n % 7 + 1), time=T + n, vfo="ab"[n % 2]) for n in range(count)]
    with written(writer, *rows) as reader:
        assert [T + n for n in range(count)] == [seen.time for seen in reader.observations()]
        some = reader.observations(since=T + 10, until=T + 15, vfo="a")
        assert [(T + n, "a", n % 7 + 1) for n in (10, 12, 14)] == [
            (seen.time, seen.vfo, seen.observed.dial) for seen in some
        ]


def test_the_summary_of_a_night(writer: Writer) -> None:
    """Visits, judged and active ones, strongest level and times, over sweeps, by channel."""
    rows = [
        stamped(1, observed(9_420_000, level=-80.0, active=False, sweep="one"), time=T),
        stamped(2, observed(9_420_000, level=-60.5, sweep="one"), time=T + 10),
        stamped(3, observed(9_420_000, level=-70.0, sweep="two"), time=T + 20.5),
        stamped(4, observed(9_420_000, level=-50.0, active=None), time=T + 30),
        stamped(5, observed(9_420_000, level=None, active=None), time=T + 31),
        stamped(6, observed(9_425_000, level=None, active=None, band=None), time=T + 40),
        stamped(7, observed(9_430_000, level=40.0, unit="dB"), time=T + 41),
        stamped(8, observed(9_420_000, level=-10.0), time=T + 50),
        stamped(9, observed(9_420_000, level=-90.0, active=False), time=T + 15, vfo="attic"),
    ]

    def summary(vfo: str, dial: int, counts: str, **more: Any) -> ChannelSummary:
        given: dict[str, Any] = {"band": "31m", "unit": "dBm", "strongest": None}
        given |= {"first_active": None, "last_active": None} | more
        visits, judged, active = map(int, counts.split())
        given |= {"visits": visits, "judged_visits": judged, "active_visits": active}
        return ChannelSummary(vfo=vfo, dial=dial, **given)

    twice = {"first_active": T + 10, "last_active": T + 20.5}
    once = {"first_active": T + 41, "last_active": T + 41}
    main = [
        summary("main", 9_420_000, "5 3 2", strongest=-50.0, **twice),
        summary("main", 9_425_000, "1 0 0", band=None),
        summary("main", 9_430_000, "1 1 1", unit="dB", strongest=40.0, **once),
    ]
    with written(writer, *rows) as reader:
        assert main == reader.channels(since=T, until=T + 50, vfo="main")
        attic = summary("attic", 9_420_000, "1 1 0", strongest=-90.0)
        assert [attic, *main] == reader.channels(until=T + 50)
        assert -10.0 == reader.channels(vfo="main")[0].strongest
        assert [] == reader.channels(since=T + 1000)


def test_an_empty_journal_answers_with_nothing(writer: Writer) -> None:
    """No run, no event, no observation: no error either."""
    with written(writer) as reader:
        assert ([], [], [], []) == (
            reader.events(),
            list(reader.observations()),
            reader.channels(),
            reader.runs(),
        )


def test_what_was_written_by_a_clock_from_the_past_is_marked(writer: Writer) -> None:
    """Its times may lie within a night that was right: such visits are in no summary of it."""
    rows = [
        stamped(1, tuned(9_420_000), time=T),
        stamped(2, observed(9_420_000), time=T + 1),
        stamped(3, tuned(9_425_000), time=T - 50, doubted=True),
        stamped(4, observed(9_420_000, level=-20.0), time=T + 0.5, doubted=True),
        stamped(5, observed(9_425_000), time=T + 5, doubted=True),
    ]
    with written(writer, *rows) as reader:
        assert [(1, False), (3, True)] == [(n.sequence, n.doubted) for n in reader.events()]
        assert [(T + 0.5, True), (T + 1, False), (T + 5, True)] == [
            (seen.time, seen.doubted) for seen in reader.observations()
        ]
        assert [(9_420_000, 1, -73.2)] == [
            (channel.dial, channel.visits, channel.strongest) for channel in reader.channels()
        ]
        last = reader.last_event()
        assert last is not None
        assert (1, T) == (last.sequence, last.time)


def test_the_last_observation(writer: Writer) -> None:
    """Of a VFO and perhaps of one sweep, before a time, whose own time can be believed."""
    rows = [
        stamped(1, observed(9_420_000, sweep="one"), time=T),
        stamped(2, observed(9_425_000, sweep="two"), time=T + 1),
        stamped(3, observed(9_430_000), time=T + 2, vfo="attic"),
        stamped(4, observed(9_435_000, sweep="two"), time=T + 3, doubted=True),
    ]
    with written(writer, *rows) as reader:

        def dial(**asked: Any) -> int | None:
            given: dict[str, Any] = {"until": T + 10, "vfo": "main"} | asked
            found = reader.last_observation(**given)
            return None if found is None else found.observed.dial

        assert 9_425_000 == dial()
        assert 9_420_000 == dial(sweep="one") == dial(until=T + 1)
        assert 9_430_000 == dial(vfo="attic")
        assert dial(since=T + 2) is None
