"""The log: one line an incident, none for a quiet night."""

import logging
from collections.abc import AsyncIterator

import pytest

from tests.test_vocabulary import sample
from vfod import events as e
from vfod.outputs.log import Log
from vfod.state import State, initial

MISSING = e.LinkLost(port="/dev/vfo0", reason="missing", detail="/dev/vfo0 is not there")


async def _feed(events: list[e.Event]) -> AsyncIterator[tuple[e.Stamped, State]]:
    for number, event in enumerate(events):
        yield e.Stamped(sequence=number, time=0.0, vfo="main", event=event), initial(["main"])


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
    assert "main: link down: /dev/vfo0 is not there" == lines[0]
    assert lines[1].startswith("main: link up")


async def test_doors_are_told_like_links(caplog: pytest.LogCaptureFixture) -> None:
    """A broker that comes and goes."""
    failed = e.DoorFailed(door="mqtt", reason="refused", detail="the broker refused")
    opened = e.DoorOpened(door="mqtt", where="127.0.0.1:1883")
    lines = await _lines([opened, failed, failed, opened, opened, failed], caplog)
    assert [
        "mqtt does not work: the broker refused",
        "mqtt works at 127.0.0.1:1883",
        "mqtt does not work: the broker refused",
    ] == lines
