"""The log: one line an incident, none for a quiet night."""

import logging
from collections.abc import AsyncIterator
from dataclasses import replace

import pytest

from tests.test_vocabulary import sample
from vfod import events as e
from vfod.errors import PortMissingError
from vfod.events.plain import KINDS
from vfod.outputs.log import Log
from vfod.state import State, initial

#: The kinds that a person is told of in the log.
INCIDENTS = {
    "audio-judged", "audio-lost", "battery-low", "box-reset", "clock-doubted", "config-refused",
    "config-reloaded",
    "door-failed", "encoder-jittered", "journal-set-aside", "link-lost", "output-held-off",
    "sweep-ended", "sweep-refused", "window-missed",
}  # fmt: skip

MISSING = e.LinkLost(port="/dev/vfo0", reason="missing", detail="/dev/vfo0 is not there")


async def _feed(events: list[e.Event]) -> AsyncIterator[tuple[e.Stamped, State]]:
    for number, event in enumerate(events):
        vfo = "" if type(event).__module__ == "vfod.events.daemon" else "main"
        yield e.Stamped(sequence=number, time=0.0, vfo=vfo, event=event), initial(["main"])


async def _lines(events: list[e.Event], caplog: pytest.LogCaptureFixture) -> list[str]:
    with caplog.at_level(logging.DEBUG, "vfod"):
        await Log().run(_feed(events))
    return [record.getMessage() for record in caplog.records]


async def test_a_quiet_night_writes_nothing(caplog: pytest.LogCaptureFixture) -> None:
    """A link that comes up, sweeps, observations: all that is for the journal."""
    quiet: list[e.Event] = [
        sample(kind)
        for kind in (e.DaemonStarted, e.LinkGreeted, e.DoorOpened, e.WindowOpened, e.SweepStarted,
                     e.ChannelObserved, e.PassCompleted, e.KnobTurned, e.SweepEnded)
    ]  # fmt: skip
    assert [] == await _lines(quiet, caplog)


async def test_an_outage_is_two_lines_however_long_it_lasts(
    caplog: pytest.LogCaptureFixture,
) -> None:
    """One when it begins, with what to do, and one when it is over."""
    greeted = sample(e.LinkGreeted)
    lines = await _lines([MISSING] * 50 + [greeted, greeted], caplog)
    assert 2 == len(lines)
    assert "main: link down: /dev/vfo0 is not there; it is tried again all the time" in lines[0]
    assert lines[1].startswith("main: link up")


async def test_doors_are_told_like_links(caplog: pytest.LogCaptureFixture) -> None:
    """A broker that comes and goes."""
    failed = e.DoorFailed(door="mqtt", reason="refused", detail="the broker refused")
    opened = e.DoorOpened(door="mqtt", where="127.0.0.1:1883")
    lines = await _lines([opened, failed, failed, opened, opened, failed], caplog)
    again = "; it is tried again all the time, and the rest goes on"
    assert [
        f"mqtt does not work: the broker refused{again}",
        "mqtt works at 127.0.0.1:1883",
        f"mqtt does not work: the broker refused{again}",
    ] == lines


@pytest.mark.parametrize("kind", list(KINDS))
async def test_an_incident_is_a_line_that_says_what_to_do(
    kind: str, caplog: pytest.LogCaptureFixture
) -> None:
    """Of every kind of event there is: nothing, or one warning or error with a remedy in it."""
    event = sample(KINDS[kind])
    if isinstance(event, e.SweepEnded):
        event = replace(event, reason="failed: a defect")
    if isinstance(event, e.AudioJudged):
        event = replace(event, soundness="silent")
    lines = await _lines([event], caplog)
    assert (kind in INCIDENTS) == bool(lines)
    for line in lines:
        assert "\n" not in line
        assert "; " in line


async def test_sound_that_is_no_longer_wanted_is_not_missed(
    caplog: pytest.LogCaptureFixture,
) -> None:
    """By a reload; what a later one brings is news again."""
    lost = e.AudioLost(source="parec rx", reason="lost", detail="parec ended")
    heard = e.AudioHeard(source="parec rx")
    lines = await _lines([lost, e.AudioEnded(source="parec rx"), heard, lost], caplog)
    assert ["main: no sound from parec rx: parec ended"] * 2 == [
        line.partition(";")[0] for line in lines
    ]


async def test_a_remedy_is_said_once(caplog: pytest.LogCaptureFixture) -> None:
    """An error that brought its own is not given another."""
    error = PortMissingError("/dev/vfo0: it is not there", remedy="plug it in", port="/dev/vfo0")
    lost = e.LinkLost(port="/dev/vfo0", reason=error.reason, detail=str(error))
    lines = await _lines([lost], caplog)
    assert ["main: link down: /dev/vfo0: it is not there; plug it in"] == lines


async def test_levels(caplog: pytest.LogCaptureFixture) -> None:
    """What a person must mend is a warning, a defect an error, that it is over is information."""
    ended = sample(e.SweepEnded)
    assert isinstance(ended, e.SweepEnded)
    defect = replace(ended, reason="failed: a defect")
    await _lines([MISSING, sample(e.LinkGreeted), defect], caplog)
    assert ["WARNING", "INFO", "ERROR"] == [record.levelname for record in caplog.records]


async def test_a_low_battery_is_told_until_it_is_charged(caplog: pytest.LogCaptureFixture) -> None:
    """However often the box repeats it."""
    low, fine = e.BatteryLow(battery=3.5), e.BatteryFine(battery=4.1)
    lines = await _lines([fine, low, low, low, fine], caplog)
    assert [
        "main: battery low: 3.50 V; charge it or change it; no window starts a sweep until then",
        "main: battery fine again: 4.10 V",
    ] == lines
