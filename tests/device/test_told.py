"""What the box says by itself, and what becomes of it when it gets lost.

The promises are those of docs/protocol.md sections 9 and 10.
"""

import asyncio

import pytest

from tests.device.tiny import tune
from tests.device.watched_link import Bench, refused
from vfod.errors import (
    HandError,
)
from vfod.wire import messages as m
from vfod.wire.grammar import write

pytestmark = pytest.mark.no_leaks


async def test_events_in_order(bench: Bench) -> None:
    """Events are told once each, in the order of the line, and number the newest hand."""
    link = await bench.opened()
    bench.box.turn(9_000_000_000)
    bench.box.press("band")
    bench.box.say(bench.box.session.tell(m.BatteryLow(millivolts=3300)))
    await bench.passes(0.1)
    assert [
        m.Turned(frequency=9_000_000_000, number=1),
        m.Pressed(button="band", number=2),
        m.BatteryLow(millivolts=3300, number=3),
    ] == bench.told
    assert link.newest_hand == 2


async def test_events_wait_until_the_link_is_taken_over(bench: Bench) -> None:
    """What is said between the greeting and the first use is kept."""
    link = await bench.open()
    bench.box.turn(9_000_000_000)
    await bench.passes(0.5)
    assert (bench.told, link.newest_hand) == ([], 0)
    await link.ask(m.Ping())
    assert [m.Turned(frequency=9_000_000_000, number=1)] == bench.told


async def test_an_event_that_comes_twice(bench: Bench) -> None:
    """A doubled line is one event."""
    await bench.opened()
    bench.box.mangle = lambda data: data + data
    bench.box.turn(9_000_000_000)
    await bench.passes(0.1)
    assert [m.Turned(frequency=9_000_000_000, number=1)] == bench.told


async def test_an_answer_comes_before_what_followed_it(bench: Bench) -> None:
    """In one chunk: the one who asked has the answer before the later event is told."""
    link = await bench.opened()
    order: list[object] = []
    bench.tell = order.append

    async def note() -> None:
        order.append(await link.ask(tune(8)))

    chunk: list[bytes] = []
    bench.box.mangle = chunk.append
    noting = asyncio.create_task(note())
    await bench.passes(0.01)
    bench.box.turn(9_000_000_000)
    bench.box.send(b"".join(chunk))
    await noting
    await bench.passes(0.01)
    assert [
        m.Tuned(frequency=8_000_000_000),
        m.Turned(frequency=9_000_000_000, number=1),
    ] == order


async def test_a_lost_event_is_found_by_the_next_ping(bench: Bench) -> None:
    """10.7: the last turn of the knob got lost; within 2 s the hand and its place are told."""
    link = await bench.opened()
    bench.box.mangle = lambda data: None
    bench.box.turn(9_000_000_000)
    bench.box.mangle = lambda data: data
    await bench.passes(1.5)
    assert (bench.told, link.newest_hand) == ([], 0)
    await bench.passes(0.6)
    assert [
        m.Turned(frequency=9_000_000_000, number=1),
        m.Reading(frequency=9_000_000_000, level=500),
    ] == bench.told
    assert link.newest_hand == 1
    assert bench.tally.gaps == 1


async def test_a_gap_in_the_numbers_is_found_at_once(bench: Bench) -> None:
    await bench.opened()
    bench.box.mangle = lambda data: None
    bench.box.press("band")
    bench.box.mangle = lambda data: data
    bench.box.turn(9_000_000_000)
    await bench.passes(0.1)
    assert m.Turned(frequency=9_000_000_000, number=2) == bench.told[0]
    assert m.Reading(frequency=9_000_000_000, level=500) == bench.told[-1]


async def test_a_tune_does_not_cross_a_turn_nobody_has_heard_of(bench: Bench) -> None:
    """A turn got lost, and a reply gives its number away: a tune still carries the old one."""
    link = await bench.opened()
    bench.box.mangle = lambda data: None
    bench.box.turn(9_000_000_000)
    bench.box.mangle = lambda data: data
    _, error = await asyncio.gather(
        link.ask(m.Mute(on=True)),
        refused(link.ask(tune(8, hand=link.newest_hand)), HandError),
    )
    assert isinstance(error, HandError)
    assert bench.box.frequency == 9_000_000_000
    assert [
        m.Turned(frequency=9_000_000_000, number=1),
        m.Reading(frequency=9_000_000_000, level=500),
    ] == bench.told
    assert m.Tuned(frequency=8_000_000_000) == await link.ask(tune(8, hand=link.newest_hand))


async def test_a_turn_while_an_answer_is_repeated(bench: Bench) -> None:
    """10.7: an event that came between the two is newer than the answer, so the box is read."""
    link = await bench.opened()

    def lose_the_answer(data: bytes) -> bytes | None:
        return None if b" ok " in data else data

    bench.box.mangle = lose_the_answer
    asking = asyncio.create_task(link.ask(tune(8)))
    await bench.passes(0.1)
    bench.box.mangle = lambda data: data
    bench.box.turn(9_000_000_000)
    assert m.Tuned(frequency=8_000_000_000) == await asking
    await bench.passes(0.1)
    assert m.Turned(frequency=9_000_000_000, number=1) == bench.told[0]
    assert m.Reading(frequency=9_000_000_000, level=500) == bench.told[-1]


async def test_an_unknown_event_is_followed_by_a_ping(bench: Bench) -> None:
    """9.6: it cannot be told whether a hand was there, so the box is asked."""
    await bench.opened()
    bench.box.asked.clear()
    bench.box.session.newest_event = bench.box.session.newest_hand = 1
    bench.box.say(write("gesture", ["kind=wave"], number=1))
    await bench.passes(0.1)
    assert m.Ping() == bench.box.asked[0]
    assert m.Turned(frequency=10_000_000_000, number=1) == bench.told[0]
    assert bench.tally.strays == {"unknown-event": 1}
