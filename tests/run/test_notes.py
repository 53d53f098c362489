"""Notes of the listener are stamped by the daemon: time, dial, level, band."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from tests.run.shack import BANDS, MQTT, NOON, RECEIVER, SHELL, Shack, shack, sweep
from vfod import events as e
from vfod import requests as r
from vfod.errors import RefusedError, RequestError
from vfod.radio.bands import band_at
from vfod.radio.levels import Source
from vfod.run.desk import AUTOMATION_BURST
from vfod.run.hearing import Ears
from vfod.run.notes import Notebook, Stood
from vfod.state import SweepPhase


@asynccontextmanager
async def with_notes(**settings: object) -> AsyncIterator[Shack]:
    """A shack whose desk takes notes; of the past it remembers 9420 kHz at -70 dBm."""

    async def remember(vfo: str, at: float) -> Stood:
        assert "main" == vfo
        return Stood(dial=9_420_000, level=-70.0, unit="dBm")

    async with shack(**settings) as it:  # type: ignore[arg-type]  # handed on as they come
        table = it.world.receiver.level_table()
        ears = Ears(Source.BOX, lambda _, counts: table.level(counts), RECEIVER)
        book = Notebook(it.tuner, it.stream, it.clock, BANDS, ears, remember)
        it.desk.take_note = book.take
        yield it


async def note(it: Shack, request: r.TakeNote) -> e.NoteTaken:
    feed = it.stream.subscribe("note")
    await it.ask(request)
    stamped, _ = await anext(aiter(feed))
    assert isinstance(stamped.event, e.NoteTaken)
    return stamped.event


async def test_a_note_is_stamped_by_itself() -> None:
    """UTC, dial, band and a level measured now; the words as they were given."""
    async with with_notes() as it:
        await it.ask(r.Tune(frequency=7_300_000))
        taken = await note(it, r.TakeNote(text="drums", sinpo="45344", heard="Radio Haldrun"))
        assert ("drums", "45344", "Radio Haldrun") == (taken.text, taken.sinpo, taken.heard)
        assert it.clock.wall() == pytest.approx(taken.at, abs=1)
        band = band_at(7_300_000, BANDS)
        assert (7_300_000, band.name if band else None) == (taken.dial, taken.band)
        assert "dBm" == taken.unit
        assert taken.level is not None
        assert -130 <= taken.level <= -10
        assert SHELL == taken.by


async def test_a_sweep_does_not_yield_for_a_note() -> None:
    """Writing is not touching; the note has the channel that the sweep is on."""
    async with with_notes(sweeps=[sweep()]) as it:
        await it.ask(r.StartSweep(sweep="evening"))
        await it.wait(1)
        before = it.dial
        taken = await note(it, r.TakeNote(text="something"))
        assert before == taken.dial
        assert SweepPhase.SWEEPING is it.phase()


async def test_automation_writes_notes_also_while_a_person_has_the_dial() -> None:
    """The button beside the knob: moving the dial is refused just then, a note is not."""
    async with with_notes() as it:
        await it.ask(r.Tune(frequency=7_300_000))
        with pytest.raises(RefusedError, match="a person has the dial"):
            await it.ask(r.Nudge(steps=1), MQTT)
        for _ in range(int(AUTOMATION_BURST)):
            await it.ask(r.TakeNote(text="drums"), MQTT)
        with pytest.raises(RefusedError, match="asks too often"):
            await it.ask(r.TakeNote(text="drums"), MQTT)


async def test_a_note_about_earlier_has_what_was_remembered() -> None:
    """The dial of then, not of now; its band follows from it."""
    async with with_notes() as it:
        taken = await note(it, r.TakeNote(text="late", at=NOON - 60))
        assert (NOON - 60, 9_420_000, -70.0, "dBm") == (
            taken.at,
            taken.dial,
            taken.level,
            taken.unit,
        )


async def test_a_note_about_the_future_is_refused() -> None:
    """Nobody has heard it yet."""
    async with with_notes() as it:
        with pytest.raises(RequestError, match="still to come"):
            await it.ask(r.TakeNote(text="soon", at=NOON + 3600))


@pytest.mark.parametrize("at", [-1.0, -1e12, -1e300])
async def test_a_note_about_a_time_that_no_date_can_tell_is_refused(at: float) -> None:
    """One such note would be in every export for ever."""
    async with with_notes() as it:
        with pytest.raises(RequestError, match="before 1970"):
            await it.ask(r.TakeNote(text="long ago", at=at))


async def test_a_note_without_a_box() -> None:
    """What is not known is not made up; the note is taken all the same."""
    async with with_notes(connect=False) as it:
        taken = await note(it, r.TakeNote(text="the power is gone"))
        assert (None, None, None, None) == (taken.dial, taken.band, taken.level, taken.unit)
