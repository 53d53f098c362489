"""A calibration taken by the daemon: what it changes, when, and what it leaves alone.

The oscillators are those of the law in docs/standards.md: divided by 1 + y.
"""

from pathlib import Path

import pytest

from tests.app.reloading import EVENING, attended
from vfod import events as e
from vfod import requests as r
from vfod.app.recall import Memory
from vfod.errors import RequestError

MEASURED = ("correction: 0ppm", "correction: measured")


def taken(error: float = 10.0) -> r.TakeCalibration:
    """A calibration of so many ppm."""
    return r.TakeCalibration(
        error=error,
        deviation=0.01,
        low=error - 0.02,
        high=error + 0.02,
        measurements=3,
        against="9996 kHz",
    )


def oscillator(dial: int, ppm: float) -> int:
    """By the law, millihertz; intermediate frequency 455 kHz, high injection."""
    return round((dial + 455_000) * 1000 / (1 + ppm * 1e-6))


async def test_the_sweep_goes_by_it_from_the_next_visit_on(tmp_path: Path) -> None:
    """No pass ends, no line is opened anew, no visit is made twice."""
    async with attended(tmp_path, MEASURED) as it:
        it.mark = len(it.seen)
        answer = await it.ask(taken())
        assert "crystal-calibrated" == answer["event"]
        tuned = await it.until(e.DialTuned, that=lambda event: event.by.door is e.Door.SWEEP)
        assert oscillator(tuned.dial, 10.0) == tuned.oscillator
        done = await it.until(e.PassCompleted)
        assert (1, 7) == (done.number, done.visits)
        assert [] == it.since(e.LinkLost) + it.since(e.SweepEnded)
        (correction,) = it.since(e.CorrectionTaken)
        assert (10.0, "measured") == (correction.correction, correction.source)
        assert 10.0 == it.vfo().correction


async def test_the_dial_is_set_right_where_it_stands(tmp_path: Path) -> None:
    """Who listens while calibrating hears the same frequency, now truly."""
    async with attended(tmp_path, MEASURED) as it:
        await it.ask(r.Tune(frequency=7_321_000))
        await it.ask(taken())
        assert (7_321_000, oscillator(7_321_000, 10.0)) == (it.vfo().dial, it.vfo().oscillator)


async def test_a_figure_in_the_file_goes_before_it(tmp_path: Path) -> None:
    """It is remembered, and gone by as soon as the file says so."""
    async with attended(tmp_path) as it:
        it.mark = len(it.seen)
        await it.ask(taken())
        tuned = await it.until(e.DialTuned)
        assert oscillator(tuned.dial, 0.0) == tuned.oscillator
        assert [] == it.since(e.CorrectionTaken)
        await it.reload(MEASURED)
        tuned = await it.until(e.DialTuned)
        assert oscillator(tuned.dial, 10.0) == tuned.oscillator


async def test_a_restart_finds_it(tmp_path: Path) -> None:
    """In the journal, the newest of each VFO; with the temperature of the box then."""
    async with attended(tmp_path, MEASURED) as it:
        await it.ask(taken(3.0))
        await it.ask(taken(-4.5))
        temperature = it.worlds["main"].box.temperature
    memory = Memory(tmp_path / "journal.sqlite")
    found = memory.calibrated("main")
    assert found is not None
    assert -4.5 == found.error
    assert temperature == pytest.approx(found.temperature, abs=0.5)
    assert memory.calibrated("attic") is None
    async with attended(tmp_path, MEASURED, wall=EVENING + 60, memory=memory) as it:
        assert -4.5 == it.vfo().correction
        tuned = await it.until(e.DialTuned)
        assert oscillator(tuned.dial, -4.5) == tuned.oscillator


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"error": 2000.0, "low": 1999.0, "high": 2001.0}, "more than any crystal is off"),
        ({"deviation": 0.0}, "a deviation above 0"),
        ({"low": 11.0}, "an interval around its error"),
        ({"measurements": 0}, "at least one measurement"),
        ({"against": "two\nlines"}, "one line"),
    ],
)
def test_what_is_no_calibration(fields: dict[str, object], says: str) -> None:
    """Refused before anything goes by it."""
    given = {"error": 10.0, "deviation": 0.1, "low": 9.8, "high": 10.2, "measurements": 1}
    with pytest.raises(RequestError, match=says):
        r.make_request("calibration", {**given, "against": "9996 kHz", **fields})
