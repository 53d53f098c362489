"""Opening a link: the greeting, boxes that are slow, strange or too new.

The promises are those of docs/protocol.md sections 7, 9 and 10; the times are computed from the
numbers written there.
"""

import asyncio
import contextlib

import pytest

from tests.device.tiny import tune
from tests.device.watched_link import Bench, refused
from vfod.errors import (
    LineError,
    LineLostError,
    NoReplyError,
    PortMissingError,
)
from vfod.wire import messages as m

pytestmark = pytest.mark.no_leaks


async def test_greeting_is_three_questions_and_a_reading(bench: Bench) -> None:
    """An opened link knows who the box is, its range, its abilities, and where it stands."""
    bench.box.frequency = 7_205_000_000
    link = await bench.open()
    assert [m.Who(), m.Range(), m.Can()] == bench.box.asked[:3]
    assert m.Read() == bench.box.asked[-1]
    assert bench.box.identity == link.greeting.identity
    assert (1_000_000_000, 60_000_000_000) == (
        link.greeting.limits.low,
        link.greeting.limits.high,
    )
    assert frozenset(m.Ability) == link.greeting.abilities.can
    assert link.reading.frequency == 7_205_000_000
    assert link.newest_hand == 0
    assert bench.told == []


async def test_a_line_feed_comes_first(bench: Bench) -> None:
    """10.1: one LF ends any half line that is on its way already; then `who` with the first tag."""
    await bench.open()
    assert bench.port.written.startswith(b"\n#1000 who *")


async def test_a_hand_before_the_greeting_is_known_by_number(bench: Bench) -> None:
    """What a hand did earlier is in the reading and in the number, and is told to nobody."""
    bench.box.turn(9_000_000_000)
    bench.box.press("band")
    link = await bench.opened()
    assert link.newest_hand == 2
    assert link.reading.frequency == 9_000_000_000
    assert bench.told == []
    assert m.Tuned(frequency=9_500_000_000) == await link.ask(tune(9.5, hand=2))


async def test_a_board_that_resets_at_opening(bench: Bench) -> None:
    """A box that boots for two seconds and babbles meanwhile is greeted when it says it is up."""
    box = bench.box
    box.deaf = True
    loop = asyncio.get_running_loop()
    loop.call_later(0.1, lambda: box.say(b"\x00\xff\xfeloader v2\r\nwaiting... "))

    def start() -> None:
        box.deaf = False
        box.reset(0xB008)

    loop.call_later(2.0, start)
    link = await bench.open()
    assert link.greeting.identity.boot == 0xB008
    assert 2.0 < bench.clock.monotonic() < 2.1


async def test_a_slow_silent_board_is_found(bench: Bench) -> None:
    """A box that is ready after the three seconds of 7.1, without a word, is greeted."""
    bench.box.deaf = True
    asyncio.get_running_loop().call_later(3.0, setattr, bench.box, "deaf", False)
    await bench.open()
    assert bench.clock.monotonic() < 5.0


async def test_silence(bench: Bench) -> None:
    """A port where nothing answers is given up after some seconds, with a remedy."""
    bench.box.deaf = True
    error = await refused(bench.open(), NoReplyError)
    assert 5.0 < bench.clock.monotonic() < 6.0
    assert "memory: no answer to who, asked 5 times" in str(error)
    assert "switched on" in str(error)


async def test_something_else_answers(bench: Bench) -> None:
    """What does not speak the protocol is shown, so that a person can recognise it."""
    bench.box.deaf = True
    for second in range(6):
        asyncio.get_running_loop().call_later(second, bench.box.say, b"$GPRMC,,V\r\n")
    error = await refused(bench.open(), NoReplyError)
    assert "$GPRMC,,V" in str(error)
    assert "speed" in str(error)


@pytest.mark.parametrize(
    ("protocol", "oldest", "what"), [(3, 2, "this program"), (0, 0, "firmware")]
)
async def test_no_common_version(bench: Bench, protocol: int, oldest: int, what: str) -> None:
    """9.4: a box that is too new or too old is refused, and the error says which side is behind."""
    bench.box.identity = m.Identity(
        protocol=protocol, oldest=oldest, model="x", firmware="1", serial="1", boot=1
    )
    error = await refused(bench.open(), LineError)
    assert isinstance(error, LineError)
    assert error.reason == "version"
    assert f"update {what}" in str(error).replace("the firmware", "firmware")
    assert [m.Who()] == bench.box.asked


async def test_a_newer_box_that_speaks_the_old_words_too(bench: Bench) -> None:
    """9.4: the highest version both speak is taken."""
    bench.box.identity = m.Identity(
        protocol=7, oldest=1, model="x", firmware="1", serial="1", boot=1
    )
    assert (await bench.open()).greeting.identity.protocol == 7


async def test_a_box_that_refuses_the_greeting(bench: Bench) -> None:
    """A box that cannot say its range is of no use, and says why."""
    bench.box.refuses[m.Range] = "hardware"
    error = await refused(bench.open(), LineError)
    assert isinstance(error, LineError)
    assert error.reason == "refused"
    assert "range" in str(error)


async def test_missing(bench: Bench) -> None:
    """What the port says is passed on."""
    bench.port.plugged = False
    await refused(bench.open(), PortMissingError)


async def test_unplugged_during_the_greeting(bench: Bench) -> None:
    """A line lost before the greeting is over ends the opening at once."""
    bench.box.deaf = True
    asyncio.get_running_loop().call_later(0.5, bench.port.unplug)
    await refused(bench.open(), LineLostError)
    assert bench.clock.monotonic() < 0.6


async def test_opening_may_be_cancelled(bench: Bench) -> None:
    """The line is closed when nobody waits for the opening any more."""
    bench.box.deaf = True
    opening = asyncio.create_task(bench.open())
    await bench.passes(1.0)
    opening.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await opening
    bench.box.deaf = False
    await bench.open()  # the port's own check: the old line is closed
