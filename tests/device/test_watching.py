"""Watching a link: pings, silence, resets, and how it ends.

The promises are those of docs/protocol.md sections 7 and 10.
"""

import asyncio
import contextlib

import pytest

from tests.device.tiny import tune
from tests.device.watched_link import Bench, refused
from vfod.errors import (
    HandError,
    LineError,
    LineLostError,
)
from vfod.wire import messages as m

pytestmark = pytest.mark.no_leaks


async def test_an_idle_line_is_pinged_every_two_seconds(bench: Bench) -> None:
    link = await bench.opened()
    bench.box.asked.clear()
    await bench.passes(60.0)
    assert {m.Ping()} == set(bench.box.asked)
    assert 28 <= len(bench.box.asked) <= 30
    assert bench.clock.monotonic() - link.last_beat <= 2.1


async def test_a_busy_line_is_pinged_less_often(bench: Bench) -> None:
    """A sweep's questions show that the box is there; a ping now and then shows which boot."""
    link = await bench.opened()
    bench.box.asked.clear()
    for second in range(60):
        await link.ask(tune(7 + second % 3))
        await bench.passes(1.0)
    assert 5 <= bench.box.asked.count(m.Ping()) <= 6


async def test_silence_of_an_idle_line(bench: Bench) -> None:
    """A box that falls silent is missed within the 2 s of the ping and three times 0.3 s."""
    await bench.opened()
    bench.box.deaf = True
    began = bench.clock.monotonic()
    error = await bench.end()
    assert error.reason == "silent"
    assert bench.clock.monotonic() - began <= 2.0 + 0.9 + 0.1


async def test_a_reset_that_is_told(bench: Bench) -> None:
    """A boot event with another boot id ends the link at once."""
    await bench.opened()
    bench.box.reset(0xB008)
    error = await bench.end()
    assert isinstance(error, LineLostError)
    assert error.reason == "reset"
    assert bench.clock.monotonic() < 0.5


async def test_a_reset_without_a_word(bench: Bench) -> None:
    """The next ping of an idle line finds it."""
    await bench.opened()
    bench.box.reset(0xB008, silently=True)
    assert (await bench.end()).reason == "reset"
    assert bench.clock.monotonic() < 2.5


async def test_a_reset_without_a_word_during_a_sweep(bench: Bench) -> None:
    """The counters that went back give it away long before the next ping of a busy line."""
    link = await bench.opened()
    bench.box.turn(9_000_000_000)
    await bench.passes(0.1)
    bench.box.reset(0xB008, silently=True)
    with contextlib.suppress(HandError):
        await link.ask(tune(8, hand=1))
    assert (await bench.end()).reason == "reset"
    assert bench.clock.monotonic() < 0.5


async def test_a_reset_while_a_question_is_open(bench: Bench) -> None:
    """The one who asked is told that the box was reset, and never gets a later answer."""
    bench.box.settle = 0.2
    link = await bench.opened()
    asking = asyncio.create_task(link.ask(tune(8)))
    await bench.passes(0.1)
    bench.box.reset(0xB008)
    error = await refused(asking, LineLostError)
    assert isinstance(error, LineLostError)
    assert error.reason == "reset"
    await bench.end()


async def test_a_boot_event_of_the_boot_that_is_known(bench: Bench) -> None:
    """A box that cannot tell its boots apart is looked at and stays in use."""
    link = await bench.opened()
    bench.box.turn(9_000_000_000)
    await bench.passes(0.1)
    bench.box.reset(0xB007)
    await bench.passes(0.1)
    assert m.Reading(frequency=9_000_000_000, level=500) == bench.told[-1]
    assert link.newest_hand == 0
    await link.ask(tune(8, hand=0))


async def test_unplugged_with_a_question_open(bench: Bench) -> None:
    bench.box.settle = 0.2
    link = await bench.opened()
    asking = asyncio.create_task(link.ask(tune(8)))
    await bench.passes(0.1)
    began = bench.clock.monotonic()
    bench.port.unplug()
    await refused(asking, LineLostError)
    assert (await bench.end()).reason == "lost"
    assert bench.clock.monotonic() == began


async def test_a_line_that_gets_stuck(bench: Bench) -> None:
    """A box that takes no more bytes fails the question within its three tries."""
    link = await bench.opened()
    bench.port.stuck = True
    began = bench.clock.monotonic()
    await refused(link.ask(m.Step(hertz=1000)), LineError)
    assert bench.clock.monotonic() - began == pytest.approx(0.9)
    assert (await bench.end()).reason == "silent"


async def test_a_box_that_refuses_to_be_read(bench: Bench) -> None:
    """A ping that is refused for good ends the link instead of being asked for ever."""
    await bench.opened()
    bench.box.refuses[m.Ping] = "hardware"
    error = await bench.end()
    assert error.reason == "refused"
    assert error.port == "memory"


async def test_closing_ends_everybodys_waiting(bench: Bench) -> None:
    bench.box.settle = 0.2
    link = await bench.opened()
    asking = [asyncio.create_task(link.ask(tune(8 + n))) for n in range(3)]
    await bench.passes(0.1)
    link.close()
    for one in asking:
        error = await refused(one, LineLostError)
        assert isinstance(error, LineLostError)
        assert error.reason == "closed"
    await bench.end()
