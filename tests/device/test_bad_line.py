"""A line that loses, doubles, delays and babbles."""

import asyncio
import contextlib
import random
import re

import pytest

from tests.device.tiny import TinyBox, tune
from tests.device.watched_link import Bench, refused
from vfod.errors import (
    LineError,
    NoReplyError,
    OutOfRangeError,
)
from vfod.wire import messages as m

pytestmark = pytest.mark.no_leaks


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


def damaged(data: bytes) -> bytes:
    """One byte of every line is another."""
    return data.replace(b"e=", b"a=")


async def test_a_damaged_answer_is_asked_for_again_soon(bench: Bench) -> None:
    """10.6: 50 ms after the question, not when the time for an answer is over."""
    link = await bench.opened()
    answers: list[bytes] = []

    def damage_two(data: bytes) -> bytes:
        answers.append(data)
        return damaged(data) if len(answers) <= 2 else data

    bench.box.mangle = damage_two
    began = bench.clock.monotonic()
    assert m.Reading(frequency=10_000_000_000, level=500) == await link.ask(m.Read())
    assert 2 * 0.05 + 0.008 == pytest.approx(bench.clock.monotonic() - began)
    assert 3 == len(answers)
    assert 1 == len(set(answers))
    assert bench.tally.strays == {"checksum": 2}


async def test_a_sound_answer_behind_a_damaged_line_is_taken(bench: Bench) -> None:
    """10.6: within the 50 ms nothing is repeated."""
    link = await bench.opened()
    bench.port.delay = 0.015
    asking = asyncio.create_task(link.ask(m.Read()))
    await bench.passes(0.001)
    bench.box.say(b"!9 knob f=7000000.000 *0000\n")
    assert m.Reading(frequency=10_000_000_000, level=500) == await asking
    assert (0, {"checksum": 1}) == (bench.tally.retries, bench.tally.strays)


async def test_noise_is_no_silence(bench: Bench) -> None:
    """7.2: a box of which only damaged lines come is given 3 s, not three misses."""
    link = await bench.opened()
    bench.box.mangle = damaged
    began = bench.clock.monotonic()
    error = await refused(link.ask(m.Read()), NoReplyError)
    assert 3.0 == pytest.approx(bench.clock.monotonic() - began, abs=0.05)
    assert 50 < bench.tally.retries <= 60
    assert "what came instead ended with" in str(error)
    assert "silent" == (await bench.end()).reason


async def test_noise_before_silence_does_not_prolong_it(bench: Bench) -> None:
    """7.2: 3 s of one question, whatever they were filled with."""
    bench.box.settle = 0.6
    link = await bench.opened()
    bench.box.mangle = damaged
    began = bench.clock.monotonic()
    asyncio.get_running_loop().call_later(2.5, setattr, bench.box, "deaf", True)
    await refused(link.ask(m.Read()), NoReplyError)
    assert 3.0 == pytest.approx(bench.clock.monotonic() - began, abs=0.01)


async def test_a_question_that_is_never_read(bench: Bench) -> None:
    """10.6: the box says so, and is not asked faster than it must answer."""
    link = await bench.opened()
    bench.port.damage = lambda data: data.replace(b"tune", b"tnue")
    began = bench.clock.monotonic()
    await refused(link.ask(tune(9)), NoReplyError)
    assert 3.0 == pytest.approx(bench.clock.monotonic() - began, abs=0.05)
    assert 50 < bench.tally.retries <= 61


async def test_events_do_not_excuse_from_an_answer(bench: Bench) -> None:
    """7.2: a box that tells of its knob and answers nothing has missed three times as well."""
    link = await bench.opened()
    bench.port.damage = lambda data: b""
    asking = asyncio.create_task(refused(link.ask(m.Read()), NoReplyError))
    began = bench.clock.monotonic()
    for kilohertz in range(7000, 7009):
        await bench.passes(0.1)
        bench.box.turn(kilohertz * 1_000_000)
    await asking
    assert 3 * 0.3 == pytest.approx(bench.clock.monotonic() - began)


async def test_another_devices_noise_is_no_box(bench: Bench) -> None:
    """Before anything sound was ever answered, what comes damaged may be anything's: five tries."""
    bench.box.mangle = damaged
    await refused(bench.open(), NoReplyError)
    assert 5 * b"who" == b"".join(re.findall(b"who", bench.port.written))


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
