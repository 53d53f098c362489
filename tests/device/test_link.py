"""The link on a line in memory: questions, answers, events, and how it ends.

The promises are those of docs/protocol.md sections 7 and 10; the times are computed from the
numbers written there.
"""

import asyncio
import contextlib
import random

import pytest

from tests.device.conftest import Bench, refused
from tests.device.tiny import TinyBox
from vfod.errors import (
    BoxRefusedError,
    HandError,
    LineError,
    LineLostError,
    NoReplyError,
    OutOfRangeError,
    PortMissingError,
)
from vfod.wire import messages as m

pytestmark = pytest.mark.no_leaks


def tune(megahertz: float, hand: int | None = None) -> m.Tune:
    return m.Tune(frequency=round(megahertz * 1e9), hand=hand)


# --- opening -------------------------------------------------------------------------------------


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


# --- asking --------------------------------------------------------------------------------------


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


# --- what the box says by itself -----------------------------------------------------------------


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
    from vfod.wire.grammar import write

    await bench.opened()
    bench.box.asked.clear()
    bench.box.session.newest_event = bench.box.session.newest_hand = 1
    bench.box.say(write("gesture", ["kind=wave"], number=1))
    await bench.passes(0.1)
    assert m.Ping() == bench.box.asked[0]
    assert m.Turned(frequency=10_000_000_000, number=1) == bench.told[0]
    assert bench.tally.strays == {"unknown-event": 1}


# --- watching ------------------------------------------------------------------------------------


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


# --- a bad line ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("garbage", "reason"),
    [
        (b"\x80\x00\xff\n", "unprintable"),
        (b"x" * 300 + b"\n", "overlong"),
        (b"booting...", "cut"),
        (b"Guru meditation\n", "syntax"),
        (b"#1003 ok f=1 e=0 h=0 *0000\n", "checksum"),
        (b"AT\r\n", "syntax"),
    ],
)
async def test_garbage_in_mid_stream(bench: Bench, garbage: bytes, reason: str) -> None:
    """Whatever comes between two lines, the next one is read, and the garbage is counted."""
    link = await bench.opened()
    bench.box.say(garbage)
    assert m.Tuned(frequency=9_000_000_000) == await link.ask(tune(9))
    assert bench.tally.retries == 0
    assert reason in bench.tally.strays


@pytest.mark.parametrize("pieces", [1, 2, 7])
async def test_answers_in_pieces(bench: Bench, pieces: int) -> None:
    """An answer that comes in pieces is the same answer."""
    link = await bench.opened()

    def chop(data: bytes) -> None:
        for at in range(0, len(data), pieces):
            bench.box.send(data[at : at + pieces])

    bench.box.mangle = chop
    for megahertz in (7.0, 8.0, 9.0):
        frequency = round(megahertz * 1e9)
        assert m.Tuned(frequency=frequency) == await link.ask(tune(megahertz))


@pytest.mark.parametrize("seed", range(6))
async def test_no_answer_is_taken_for_anothers(seed: int) -> None:
    """On a line that loses, doubles and delays, an answer is right or there is none."""
    dice = random.Random(seed)
    bench = Bench(TinyBox())
    box = bench.box
    loop = asyncio.get_running_loop()

    def maul(data: bytes) -> bytes | None:
        left = b"".join(bytes([byte]) * dice.choices([0, 1, 2], [1, 198, 1])[0] for byte in data)
        if dice.random() < 0.05:
            loop.call_later(dice.uniform(0.2, 0.9), box.send, left)
            return None
        return left

    asked = right = 0
    while asked < 300:
        link = await bench.open()
        box.mangle = maul
        with contextlib.suppress(LineError):
            while asked < 300:
                frequency = 7_000_000_000 + asked * 1_000_000
                asked += 1
                answer = await link.ask(m.Tune(frequency=frequency))
                assert m.Tuned(frequency=frequency) == answer
                right += 1
        link.close()
        box.mangle = lambda data: data
        await bench.passes(1.0)
    assert right > 280
    assert bench.tally.retries > 10
    assert bench.tally.strays.total() > 10


async def test_what_a_question_took_is_measured(bench: Bench) -> None:
    """Verb, seconds and result of every question, for a histogram."""
    bench.box.settle = 0.2
    link = await bench.opened()
    bench.measured.clear()
    await link.ask(tune(9))
    await refused(link.ask(tune(61)), OutOfRangeError)
    assert ["tune ok", "tune range"] == [f"{verb} {result}" for verb, _, result in bench.measured]
    assert [0.208, 0.208] == pytest.approx([seconds for _, seconds, _ in bench.measured])
