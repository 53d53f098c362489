"""Every message goes over the wire and comes back, however the bytes are cut."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vfod.errors import WireError
from vfod.wire import verbs
from vfod.wire.box import BoxSession
from vfod.wire.framing import LINE_LIMIT
from vfod.wire.grammar import parse, write
from vfod.wire.host import HostSession, Received
from vfod.wire.messages import (
    Abilities,
    Ability,
    Alive,
    Answer,
    Answered,
    BatteryLow,
    Booted,
    Can,
    Code,
    Done,
    Event,
    Identity,
    Limits,
    Mute,
    Output,
    Ping,
    Pressed,
    Range,
    Read,
    Reading,
    Refused,
    Request,
    Select,
    Step,
    Tune,
    Tuned,
    Turned,
    Who,
)

ALL = frozenset(Ability)
IDENTITY = Identity(protocol=1, model="portable", firmware="1.0.3", serial="0007", boot=0x4A7F)

#: Question, line without checksum, answer, line without checksum; the texts are typed by hand from
#: the tables of docs/protocol.md.
EXCHANGES: list[tuple[Request, str, Answer, str]] = [
    (Who(), "who", IDENTITY, "proto=1 model=portable fw=1.0.3 serial=0007 boot=4A7F"),
    (
        Range(),
        "range",
        Limits(low=100_000_000, high=160_000_000_000, resolution=15, settle=0.02),
        "low=100000.000 high=160000000.000 res=0.015 settle=20",
    ),
    (Can(), "can", Abilities(can=frozenset()), "can=none"),
    (
        Can(),
        "can",
        Abilities(can=frozenset({Ability.LEVEL, Ability.KNOB})),
        "can=knob,level",
    ),
    (Tune(frequency=1), "tune f=0.001", Tuned(frequency=0), "f=0.000"),
    (
        Tune(frequency=9_875_000_000, hand=17),
        "tune f=9875000.000 h=17",
        Tuned(frequency=9_875_000_003),
        "f=9875000.003",
    ),
    (Read(), "read", Reading(frequency=7_000_000_500), "f=7000000.500"),
    (
        Read(),
        "read",
        Reading(
            frequency=7_000_000_000,
            output=True,
            select=15,
            muted=False,
            step=1000,
            level=4095,
            battery=3921,
            temperature=-12.5,
        ),
        "f=7000000.000 out=1 sel=15 mute=0 step=1000 level=4095 battery=3921 temp=-125",
    ),
    (Output(on=True), "output on=1", Done(), ""),
    (Output(on=False), "output on=0", Done(), ""),
    (Select(n=0), "select n=0", Done(), ""),
    (Mute(on=True), "mute on=1", Done(), ""),
    (Step(hertz=5000), "step hz=5000", Done(), ""),
    (Ping(), "ping", Alive(boot=0xFFFFFFFF), "boot=FFFFFFFF"),
]

EVENTS: list[tuple[Event, str]] = [
    (Booted(boot=0x4A7F, number=1), "!1 boot boot=4A7F"),
    (Turned(frequency=9_870_000_000, number=2), "!2 knob f=9870000.000"),
    (Pressed(button="up", number=3), "!3 button b=up"),
    (BatteryLow(millivolts=3300, number=4), "!4 battery mv=3300"),
]


def one_by_one(data: bytes) -> Iterator[bytes]:
    return (bytes([byte]) for byte in data)


#: A good line in three ways: whole, byte by byte, and with the beginning of the next one behind it.
WAYS: dict[str, Callable[[bytes], Iterator[bytes]]] = {
    "whole": lambda data: iter([data]),
    "byte by byte": one_by_one,
    "with a tail": lambda data: iter([data + b"#3F2B pi"]),
}


def body(line: bytes) -> str:
    """A line without checksum and end."""
    return line.decode().rpartition(" *")[0]


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize(("request_", "asked", "answer", "answered"), EXCHANGES)
def test_exchanges(request_: Request, asked: str, answer: Answer, answered: str, way: str) -> None:
    """Each request and each answer is the line of the tables, and the line is it again."""
    host, box = HostSession(0x3F2A), BoxSession(ALL)
    question = host.ask(request_)
    assert f"#3F2A {asked}" == body(question)
    taken = [one for piece in WAYS[way](question) for one in box.receive(piece)]
    assert [request_] == [one.request for one in taken]
    reply = box.answer(taken[0], answer)
    assert " ".join(["#3F2A ok", *answered.split(), "e=0 h=0"]) == body(reply)
    expected = Answered(tag=0x3F2A, answer=answer, newest_event=0, newest_hand=0)
    assert [expected] == [item for piece in WAYS[way](reply) for item in host.receive(piece)]


@pytest.mark.parametrize("way", WAYS)
def test_events(way: str) -> None:
    """Each event is the line of the table with the next number, and the line is it again."""
    host, box = HostSession(0), BoxSession(ALL)
    for event, line in EVENTS:
        told = box.tell(event)
        assert line == body(told)
        received = [item for piece in WAYS[way](told) for item in host.receive(piece)]
        if way == "with a tail":
            host.receive(b"\n")
        assert event == received[-1]
    assert (4, 3) == (box.newest_event, box.newest_hand)


@pytest.mark.parametrize("code", Code)
def test_refusals(code: Code) -> None:
    """Each code reaches the host, with a word for a person and the frequency if given."""
    host, box = HostSession(7), BoxSession(ALL)
    box.tell(Turned(frequency=2))
    (asked,) = box.receive(host.ask(Tune(frequency=1, hand=0)))
    reply = box.refuse(asked, code, "hand moved since", 2)
    assert f"#0007 err code={code} why=hand-moved-since f=0.002 e=1 h=1" == body(reply)
    expected = Refused(
        tag=7, code=code, why="hand-moved-since", newest_event=1, newest_hand=1, frequency=2
    )
    assert [expected] == host.receive(reply)


frequencies = st.integers(0, 10**12 - 1)
flags = st.booleans()
words = st.text(
    st.characters(min_codepoint=0x21, max_codepoint=0x7E, exclude_characters="!#*="),
    min_size=1,
    max_size=12,
)
boots = st.integers(0, 0xFFFFFFFF)
requests: st.SearchStrategy[Request] = st.one_of(
    st.sampled_from([Who(), Range(), Can(), Read(), Ping()]),
    st.builds(Tune, frequency=frequencies, hand=st.none() | st.integers(0, 65535)),
    st.builds(Output, on=flags),
    st.builds(Mute, on=flags),
    st.builds(Select, n=st.integers(0, 15)),
    st.builds(Step, hertz=st.integers(1, 1_000_000)),
)
answers: dict[type, st.SearchStrategy[Answer]] = {
    Who: st.builds(
        Identity,
        protocol=st.integers(0, 99),
        oldest=st.integers(0, 99),
        model=words,
        firmware=words,
        serial=words,
        boot=boots,
    ),
    Range: st.builds(
        Limits,
        low=frequencies,
        high=frequencies,
        resolution=frequencies,
        settle=st.integers(0, 60000).map(lambda ms: ms / 1000),
    ),
    Can: st.builds(Abilities, can=st.frozensets(st.sampled_from(Ability))),
    Tune: st.builds(Tuned, frequency=frequencies),
    Read: st.builds(
        Reading,
        frequency=frequencies,
        output=st.none() | flags,
        select=st.none() | st.integers(0, 15),
        muted=st.none() | flags,
        step=st.none() | st.integers(1, 1_000_000),
        level=st.none() | st.integers(0, 0xFFFFFF),
        battery=st.none() | st.integers(0, 65535),
        temperature=st.none() | st.integers(-1000, 2000).map(lambda tenths: tenths / 10),
    ),
    Ping: st.builds(Alive, boot=boots),
}


@given(requests, st.integers(0, 65535), st.data())
def test_round_trip(request_: Request, tag: int, draw: st.DataObject) -> None:
    """Whatever is asked and answered arrives as it was, on a session of any first tag."""
    host, box = HostSession(tag), BoxSession(ALL)
    (asked,) = box.receive(host.ask(request_))
    assert (request_, tag) == (asked.request, asked.tag)
    answer = draw.draw(answers.get(type(request_), st.just(Done())))
    received = host.receive(box.answer(asked, answer))
    assert [answer] == [item.answer for item in received if isinstance(item, Answered)]
    assert host.outstanding is None


def widest(fields: tuple[verbs.Field, ...]) -> list[str]:
    return [f"{field.key}={field.value.widest}" for field in fields]


def longest_lines() -> Iterator[tuple[str, bytes]]:
    for verb in verbs.VERBS:
        yield verb.word, write(verb.word, widest(verb.fields), tag=0xFFFF)
        answer = widest(verb.answer_fields + verbs.COUNTERS)
        yield f"ok to {verb.word}", write("ok", answer, tag=0xFFFF)
    refusal = widest(verbs.REFUSAL + verbs.WHERE + verbs.COUNTERS)
    yield "err", write("err", refusal, tag=0xFFFF)
    for event in verbs.EVENTS:
        yield event.word, write(event.word, widest(event.fields), number=65535)


def test_longest_lines_fit() -> None:
    """The longest line of each kind fits the limit, and two use it to the last byte (4.3)."""
    sizes = {what: len(line) for what, line in longest_lines()}
    assert LINE_LIMIT >= max(sizes.values())
    assert {"ok to who", "ok to read"} == {what for what, n in sizes.items() if n == LINE_LIMIT}


def test_widest_is_widest() -> None:
    """No value within its limits is written longer than the text the sum above uses."""
    fields = [field for verb in verbs.VERBS for field in verb.fields + verb.answer_fields]
    fields += [field for event in verbs.EVENTS for field in event.fields]
    checked = 0
    for field in fields:
        value: Any
        for value in (field.value.low, field.value.high):
            if value is not None and "w" not in field.value.widest:
                assert len(field.value.widest) >= len(field.value.write(value))
                checked += 1
    assert checked > 40


def test_syntax_comes_before_range() -> None:
    """A text that is no value of its kind outweighs a value beyond its limits (5.8, 5.9)."""
    answer = verbs.VERB_OF_WORD["who"].answer_fields
    for boot, code in (("zz", "syntax"), ("7F", "range")):
        raw = write("ok", ["proto=100", "model=m", "fw=f", "serial=s", f"boot={boot}"])
        with pytest.raises(WireError) as caught:
            verbs.read_fields(parse(raw[:-1]), answer)
        assert code == caught.value.box_code


def test_received_says_everything() -> None:
    """What a host can receive is the union that callers match on."""
    assert {"Answered", "Refused", "Missed", "Stray"} < {one.__name__ for one in Received.__args__}
