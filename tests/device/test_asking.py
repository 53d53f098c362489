"""Questions and answers of a link on a line in memory.

The promises are those of docs/protocol.md sections 7, 8 and 10; the times are computed from the
numbers written there.
"""

import asyncio
import contextlib

import pytest

from tests.device.tiny import tune
from tests.device.watched_link import Bench, refused
from vfod.errors import (
    BoxRefusedError,
    HandError,
    NoReplyError,
    OutOfRangeError,
)
from vfod.wire import messages as m

pytestmark = pytest.mark.no_leaks


async def test_one_question_at_a_time(bench: Bench) -> None:
    """Questions asked at once are put one after another, in the order they came."""
    bench.box.settle = 0.2
    link = await bench.opened()
    began = bench.clock.monotonic()
    wanted = [tune(7 + n) for n in range(5)]
    answers = await asyncio.gather(*(link.ask(one) for one in wanted))
    assert [m.Tuned(frequency=one.frequency) for one in wanted] == list(answers)
    assert wanted == [one for one in bench.box.asked if isinstance(one, m.Tune)]
    assert 5 * (0.2 + 0.008) == pytest.approx(bench.clock.monotonic() - began)


async def test_each_answer_has_its_type(bench: Bench) -> None:
    link = await bench.opened()
    assert m.Reading(frequency=10_000_000_000, level=500) == await link.ask(m.Read())
    assert m.Alive(boot=0xB007) == await link.ask(m.Ping())
    for done in (m.Output(on=True), m.Select(n=3), m.Mute(on=True), m.Step(hertz=500)):
        assert m.Done() == await link.ask(done)


async def test_a_lost_answer_is_asked_for_again(bench: Bench) -> None:
    """10.4: the repeat has the same bytes, and the deed is done once."""
    link = await bench.opened()
    lost: list[bytes] = []

    def lose_first(data: bytes) -> bytes | None:
        if lost:
            return data
        lost.append(data)
        return None

    bench.box.mangle = lose_first
    bench.port.written = b""
    assert m.Tuned(frequency=9_000_000_000) == await link.ask(tune(9))
    first, again = bench.port.written.rstrip().split(b"\n\n")
    assert first == again
    assert [tune(9)] == [one for one in bench.box.asked if isinstance(one, m.Tune)]
    assert bench.tally.retries == 1


async def test_a_damaged_question_is_repeated_at_once(bench: Bench) -> None:
    """10.6: an error without a tag says that the box could not read the question."""
    link = await bench.opened()
    writes: list[bytes] = []

    def damage_first(data: bytes) -> bytes:
        writes.append(data)
        return data.replace(b"read", b"rxad") if len(writes) == 1 else data

    bench.port.damage = damage_first
    began = bench.clock.monotonic()
    assert m.Reading(frequency=10_000_000_000, level=500) == await link.ask(m.Read())
    assert [b"\n" + writes[0]] == writes[1:]
    assert bench.clock.monotonic() - began < 0.02
    assert bench.tally.strays == {"resend": 1}


async def test_three_misses_are_the_end(bench: Bench) -> None:
    """7.2: after the first time and two repeats, 0.3 s + settle each, the box counts as lost."""
    bench.box.settle = 0.5
    link = await bench.opened()
    bench.box.deaf = True
    began = bench.clock.monotonic()
    await refused(link.ask(tune(9)), NoReplyError)
    assert 3 * (0.3 + 0.5) == pytest.approx(bench.clock.monotonic() - began)
    error = await bench.end()
    assert error.reason == "silent"
    await refused(link.ask(m.Read()), NoReplyError)
    assert [("tune", "lost")] == [(w, r) for w, _, r in bench.measured if w == "tune"]


async def test_a_late_answer_is_nobodys(bench: Bench) -> None:
    """The answer to a question that was given up is never taken for that to the next one."""
    bench.box.settle = 0.25
    link = await bench.opened()
    asking = asyncio.create_task(link.ask(tune(8)))
    await bench.passes(0.1)
    asking.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await asking
    assert m.Tuned(frequency=9_000_000_000) == await link.ask(tune(9))
    assert bench.tally.strays["late"] >= 1


async def test_an_answer_that_comes_when_nobody_asks(bench: Bench) -> None:
    """It is dropped on arrival, and does not lie there until the next question."""
    link = await bench.opened()
    bench.port.delay = 0.1
    asking = asyncio.create_task(link.ask(m.Read()))
    await bench.passes(0.05)
    asking.cancel()
    await bench.passes(0.5)
    assert bench.tally.strays == {"late": 1}
    assert m.Done() == await link.ask(m.Mute(on=True))


async def test_a_cancelled_tune_is_looked_after(bench: Bench) -> None:
    """The box may have moved although nobody waited: where it stands is told, and is no hand."""
    bench.box.settle = 0.25
    link = await bench.opened()
    asking = asyncio.create_task(link.ask(tune(8)))
    await bench.passes(0.1)
    asking.cancel()
    await bench.passes(1.0)
    assert [m.Reading(frequency=8_000_000_000, level=500)] == bench.told
    assert ("tune", "cancelled") in [(word, result) for word, _, result in bench.measured]


async def test_a_cancelled_read_costs_nothing(bench: Bench) -> None:
    link = await bench.opened()
    asking = asyncio.create_task(link.ask(m.Read()))
    await bench.passes(0.001)
    asking.cancel()
    await bench.passes(1.0)
    assert bench.told == []


async def test_one_who_waits_may_leave(bench: Bench) -> None:
    """Cancelling a question that was not put yet leaves the others in their order."""
    bench.box.settle = 0.1
    link = await bench.opened()
    asking = [asyncio.create_task(link.ask(tune(7 + n))) for n in range(3)]
    await bench.passes(0.05)
    asking[1].cancel()
    await bench.passes(1.0)
    assert [tune(7), tune(9)] == [one for one in bench.box.asked if isinstance(one, m.Tune)]


async def test_refusals(bench: Bench) -> None:
    """Each code of docs/protocol.md section 8 is an error of its own kind for the one who asks."""
    link = await bench.opened()
    error = await refused(link.ask(tune(9, hand=7)), HandError)
    assert isinstance(error, HandError)
    assert error.frequency == 10_000_000_000
    error = await refused(link.ask(tune(61)), OutOfRangeError)
    assert "61000000000.000" not in str(error)
    assert "61000000.000 Hz" in str(error)
    bench.box.refuses[m.Output] = "hardware"
    error = await refused(link.ask(m.Output(on=True)), BoxRefusedError)
    assert isinstance(error, BoxRefusedError)
    assert error.box_code == "hardware"
    bench.box.refuses[m.Output] = "novel"
    await refused(link.ask(m.Output(on=True)), BoxRefusedError)
    assert m.Done() == await link.ask(m.Mute(on=True))


async def test_busy_is_asked_again_later(bench: Bench) -> None:
    """8.1: a busy box is asked again with a new tag, within limits."""
    link = await bench.opened()
    bench.box.refuses[m.Output] = "busy"
    asyncio.get_running_loop().call_later(0.4, bench.box.refuses.clear)
    assert m.Done() == await link.ask(m.Output(on=True))
    bench.box.refuses[m.Output] = "busy"
    began = bench.clock.monotonic()
    error = await refused(link.ask(m.Output(on=True)), BoxRefusedError)
    assert "busy" in str(error)
    assert 1.0 < bench.clock.monotonic() - began < 1.2
