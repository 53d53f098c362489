"""What is written can be read back, as exactly as the journal promises."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any, get_type_hints

import hypothesis
import pytest
from hypothesis import strategies as st

from tests.store.samples import EVENING, observed, stamped, tuned
from vfod import events as e
from vfod.events.plain import KINDS
from vfod.store import Reader, Writer, is_promised
from vfod.store.rows import is_kept


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[Writer]:
    writer = Writer(tmp_path / "journal.sqlite3")
    writer.open(EVENING)
    with closing(writer):
        yield writer


def level() -> st.SearchStrategy[float | None]:
    return st.none() | st.floats(-400, 400)


OBSERVED = st.builds(
    observed,
    st.integers(1, 2**40),
    level=level(),
    highest=level(),
    floor=level(),
    active=st.sampled_from([True, False, None]),
    # An empty name is written as none, which is what it means.
    band=st.none() | st.text(min_size=1),
    unit=st.sampled_from(["dBm", "dB"]),
    readings=st.integers(0, 127),
    lateness=st.floats(-10, 4000),
)


@hypothesis.given(given=st.lists(OBSERVED, min_size=1, max_size=20))
@hypothesis.settings(
    max_examples=50,
    # One file for all examples: each asks for what it added last.
    suppress_health_check=[hypothesis.HealthCheck.function_scoped_fixture],
)
def test_an_observation_comes_back(writer: Writer, given: list[e.ChannelObserved]) -> None:
    """Levels come back to half of 0.1 dB, lateness to half a millisecond, the rest as it was."""
    for number, event in enumerate(given):
        writer.add(stamped(number, event, time=EVENING))
    writer.commit()
    with Reader(writer.path) as reader:
        back = [seen.observed for seen in reader.observations()][-len(given) :]
    assert len(given) == len(back)
    for one, other in zip(given, back, strict=True):
        for name in ("level", "highest", "floor"):
            assert pytest.approx(getattr(one, name), abs=0.0501) == getattr(other, name)
        assert pytest.approx(one.lateness, abs=0.000501) == other.lateness
        for name in ("sweep", "dial", "band", "readings", "unit", "active"):
            assert getattr(one, name) == getattr(other, name)


def test_what_is_beyond_the_scale_is_kept_as_its_end(writer: Writer) -> None:
    """Nothing off the scale spoils its neighbours in the packed integer, or looks like unknown."""
    wild = [
        observed(level=1e6, highest=-1e6, floor=1e6, readings=1000),
        observed(level=-1e6, highest=1e6, floor=-1e6),
        observed(level=float("nan"), highest=float("inf"), floor=float("-inf")),
    ]
    for number, event in enumerate(wild):
        writer.add(stamped(number, event))
    writer.commit()
    with Reader(writer.path) as reader:
        assert [
            observed(level=409.5, highest=-409.5, floor=409.5, readings=127),
            observed(level=-409.5, highest=409.5, floor=-409.5),
            observed(level=None, highest=None, floor=None),
        ] == [seen.observed for seen in reader.observations()]


def filled(cls: type[e.Event]) -> st.SearchStrategy[e.Event]:
    """Events of a kind, from the types of its fields."""
    floats = st.floats(allow_nan=False, allow_infinity=False)
    plain: dict[Any, st.SearchStrategy[Any]] = {
        float: floats,
        float | None: st.none() | floats,
        tuple[str, ...]: st.lists(st.text()).map(tuple),
    }
    hints = get_type_hints(cls)
    return st.builds(cls, **{name: plain.get(h, st.from_type(h)) for name, h in hints.items()})


ANY_EVENT = st.sampled_from(
    [cls for cls in KINDS.values() if cls is not e.ChannelObserved]
).flatmap(filled)


@hypothesis.given(
    events=st.lists(ANY_EVENT.filter(is_kept), min_size=1), cause=st.none() | st.text()
)
@hypothesis.settings(
    max_examples=100, suppress_health_check=[hypothesis.HealthCheck.function_scoped_fixture]
)
def test_an_event_comes_back(writer: Writer, events: list[e.Event], cause: str | None) -> None:
    """An event of any kind, with whatever text in it, comes back equal."""
    for number, event in enumerate(events):
        writer.add(stamped(number, event, cause=cause))
    writer.commit()
    with Reader(writer.path) as reader:
        back = reader.events(newest=len(events))
    assert events == [entry.event for entry in back]
    assert [cause] * len(events) == [entry.cause for entry in back]
    assert list(range(len(events))) == [entry.sequence for entry in back]


def test_text_that_is_no_unicode_is_written_visibly(writer: Writer) -> None:
    """Half a surrogate pair, which JSON can smuggle in, neither stops the journal nor vanishes."""
    bad = "\ud800"
    writer.add(stamped(1, tuned(9_420_000, who=bad), cause=bad, vfo=bad))
    writer.add(stamped(2, observed(band=bad, sweep=bad, unit=bad)))
    writer.commit()
    with Reader(writer.path) as reader:
        (entry,) = reader.events()
        (seen,) = reader.observations()
    assert tuned(9_420_000, who=bad) == entry.event
    assert ("\\ud800", "\\ud800") == (entry.cause, entry.vfo)
    assert ("\\ud800",) * 3 == (seen.observed.band, seen.observed.sweep, seen.observed.unit)


def test_what_an_older_or_newer_program_wrote_is_still_shown(writer: Writer) -> None:
    """A kind or a field that this program does not know leaves the plain fields to be read."""
    writer.add(stamped(1, tuned(9_420_000)))
    writer.add(stamped(2, tuned(9_425_000)))
    writer.commit()
    writer.close()
    with closing(sqlite3.connect(writer.path)) as db, db:
        db.execute("UPDATE events SET kind = 'dial-dreamt' WHERE sequence = 1")
        db.execute("UPDATE events SET data = json_set(data, '$.more', 1) WHERE sequence = 2")
    with Reader(writer.path) as reader:
        one, other = reader.events()
    assert (None, "dial-dreamt", 9_420_000) == (one.event, one.kind, one.data["dial"])
    assert (None, "dial-tuned", 1) == (other.event, other.kind, other.data["more"])


def test_a_tune_by_the_sweep_is_told_by_its_observation() -> None:
    """Only the sweep's own tunes have no row; where the daemon returns to is a change like any."""
    doors = {door for door in e.Door if not is_kept(tuned(9_420_000, door))}
    assert {e.Door.SWEEP} == doors
    assert is_kept(observed())


def test_what_is_promised() -> None:
    """What a hand or a person caused, or somebody waits for, must be on the disk first."""
    by = e.Origin(door=e.Door.SHELL)
    assert is_promised(stamped(1, tuned(9_420_000)))
    assert is_promised(stamped(1, e.KnobTurned(number=1, dial=1, oscillator=1)))
    assert is_promised(stamped(1, e.ButtonPressed(number=1, button="up")))
    assert is_promised(stamped(1, e.SweepYielded(sweep="s", dial=1, to=by, until=None)))
    assert is_promised(stamped(1, e.SweepResumed(sweep="s", dial=1, lost=1.0), cause="7"))
    assert not is_promised(stamped(1, tuned(9_420_000, e.Door.MQTT)))
    assert not is_promised(stamped(1, tuned(9_420_000, e.Door.WINDOW)))
    assert not is_promised(stamped(1, observed()))
    assert not is_promised(stamped(1, e.SweepResumed(sweep="s", dial=1, lost=1.0)))
