"""The answering side: the vectors of the document, and bytes of any kind."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.wire.reference import VECTORS, ReferenceBox
from tests.wire.test_framing import noisy
from vfod.wire.box import BoxSession
from vfod.wire.framing import LINE_LIMIT, LineReader
from vfod.wire.grammar import Kind, Line, parse, write
from vfod.wire.messages import Ability, Alive, Done, Ping, Turned

Meaning = tuple[Kind, int | None, int | None, str, dict[str, str]]


def lines_of(data: bytes) -> list[bytes]:
    """What a box sent, each of them a line."""
    found = LineReader().feed(data)
    lines = [item for item in found if isinstance(item, bytes)]
    assert len(found) == len(lines)
    assert not data or data.endswith(b"\n")
    return lines


def meaning(line: Line) -> Meaning:
    """A line as the vectors compare it: a refusal has a word for a person, which does not count."""
    fields = dict(line.fields)
    if line.kind is Kind.ERR:
        assert 1 <= len(fields.pop("why")) <= 40
    return line.kind, line.tag, line.number, line.verb, fields


def expected(text: str) -> Meaning:
    """A line of the vectors, which has neither checksum nor `why`."""
    words = text.split()
    tag = int(words.pop(0)[1:], 16) if text[0] == "#" else None
    number = int(words.pop(0)[1:]) if text[0] == "!" else None
    verb = words.pop(0)
    kind = Kind.EVENT if number is not None else Kind(verb)
    return kind, tag, number, verb, dict(word.split("=", 1) for word in words)


@pytest.mark.parametrize("case", VECTORS["box"], ids=lambda case: case["id"])
@pytest.mark.parametrize("way", ["whole", "byte by byte"])
def test_vectors(case: dict[str, Any], way: str) -> None:
    """The box vectors of the document, with the bytes in one piece and one at a time."""
    box = ReferenceBox(case)
    sent: list[bytes] = []
    compared = 0
    for step in case["steps"]:
        ((word, value),) = step.items()
        if word == "send" and way == "byte by byte":
            out = b"".join(box.step(word, character) for character in value)
            sent += lines_of(out)
        elif word != "expect":
            sent += lines_of(box.step(word, value))
        else:
            got = sent[compared:]
            assert len(value) == len(got), (value, got)
            for wanted, line in zip(value, got, strict=True):
                if isinstance(wanted, dict):
                    assert sent[wanted["same"]] == line
                else:
                    assert expected(wanted) == meaning(parse(line))
            compared = len(sent)
    assert compared == len(sent)


def test_every_code_is_in_a_vector() -> None:
    """No error code of version 1 lacks a case in the vectors."""
    told = str(VECTORS["box"])
    codes = ("syntax", "checksum", "range", "unknown", "busy", "hand", "hardware")
    assert [code for code in codes if f"code={code} " in told] == list(codes)


#: Lines that are nearly right, and right ones, among noise.
tempting = st.lists(
    st.sampled_from(
        [
            *(b"ping\n", b"#0001 ping *0000\n", b"tune f=7000000\r\n", b"read\n", b"ok\n"),
            *(b"!1 boot\n", b"select n=99\n", write("ping", [], tag=1)),
            write("tune", ["f=7100000.000"], tag=2),
        ]
    )
    | noisy,
    max_size=12,
).map(b"".join)


@given(tempting)
def test_any_bytes_are_answered_or_ignored(data: bytes) -> None:
    """No bytes raise; every line that comes out is a sound one; the next good line works."""
    box = ReferenceBox({})
    for line in lines_of(box.send(data)):
        assert parse(line).kind in (Kind.OK, Kind.ERR)
    answer = lines_of(box.send(write("ping", [], tag=0xFFFF)))[-1]
    assert (Kind.OK, 0xFFFF) == meaning(parse(answer))[:2]


@given(tempting)
def test_echo_dies_out(data: bytes) -> None:
    """What a box says, sent back to it by a terminal that echoes, makes it say nothing more."""
    box = ReferenceBox({})
    out = box.send(data) + box.step("turn", "7010000.000")
    box.send(b"\n")
    assert b"" == box.send(out)


@given(st.lists(tempting, min_size=1, max_size=3))
def test_one_answer_for_each_line(pieces: list[bytes]) -> None:
    """No line is answered twice and none but nothing, echoes and cut lines goes unanswered."""
    box = ReferenceBox({})
    data = b"".join(pieces)
    most = data.count(b"\n") + data.count(b"\r")
    assert most >= len(lines_of(b"".join(box.send(piece) for piece in pieces)))


def test_repeats_do_not_do_the_deed_again() -> None:
    """A repeated tag yields the same bytes, and the box is not asked."""
    box = BoxSession(frozenset(Ability))
    line = write("output", ["on=1"], tag=5)
    (asked,) = box.receive(line)
    answer = box.answer(asked, Done())
    assert [] == list(box.receive(line))
    assert answer == box.to_send()


def test_requests_are_taken_one_at_a_time() -> None:
    """Many lines in one piece are each answered before the next is judged, none as busy."""
    box = BoxSession(frozenset())
    data = b"".join(write("ping", [], tag=tag) for tag in range(50))
    replies = [box.answer(asked, Alive(boot=1)) for asked in box.receive(data)]
    assert 50 == len(replies)
    assert all(b" ok boot=1 " in reply for reply in replies)


def test_what_was_not_taken_comes_with_the_next_call() -> None:
    """A caller that stops in the middle loses nothing."""
    box = BoxSession(frozenset())
    first = next(box.receive(b"ping\nping\n"))
    box.answer(first, Alive(boot=1))
    assert [Ping(), Ping()] == [
        (box.answer(asked, Alive(boot=1)), asked.request)[1] for asked in box.receive(b"ping\n")
    ]


def test_numbers_of_events_go_round() -> None:
    """After 65535 comes 1, and a hand's number goes with it; 0 is never used."""
    box = BoxSession(frozenset())
    for number in [*range(1, 65536), 1, 2]:
        line = box.tell(Turned(frequency=0))
        assert line.startswith(b"!%d " % number)
        assert (number, number) == (box.newest_event, box.newest_hand)


def test_the_longest_line_is_answered_and_one_more_is_not() -> None:
    """120 bytes with the line end are read, 121 are refused (2.4)."""
    empty = len(write("ping", ["x=y"], tag=1)) - 1
    line = write("ping", ["x=" + "y" * (LINE_LIMIT - empty)], tag=1)
    assert LINE_LIMIT == len(line)
    assert 1 == len(list(BoxSession(frozenset()).receive(line)))
    box = BoxSession(frozenset())
    assert [] == list(box.receive(b" " * (LINE_LIMIT - 4) + b"ping\n"))
    assert b"err code=syntax why=overlong" in box.to_send()
