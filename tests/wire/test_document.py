"""docs/protocol.md says what the code does: its exchanges, its tables, its paragraphs."""

import re
from collections.abc import Iterator

import pytest

from tests.wire.reference import VECTORS
from tests.wire.test_checksum import bitwise
from tests.wire.test_grammar import DOCUMENT, LINE
from vfod.errors import WireError
from vfod.wire import timing, verbs
from vfod.wire.box import BoxSession
from vfod.wire.grammar import believable_tag, parse, write
from vfod.wire.host import HostSession
from vfod.wire.messages import Ability, Answered, Code, Refused, Request, Stray, StrayReason
from vfod.wire.values import Value

EXCHANGES = re.findall(r"```exchange\n(.*?)```", DOCUMENT, re.DOTALL)
PARAGRAPHS = re.findall(r"^\*\*(\d+\.\d+)\*\*", DOCUMENT, re.MULTILINE)


def table(paragraph: str) -> Iterator[list[str]]:
    """The rows of the first table after a paragraph's number, without the heading."""
    after = DOCUMENT.partition(f"**{paragraph}**")[2]
    lines = after[after.index("\n| ") + 1 :].split("\n")
    for line in lines[2:]:
        if not line.startswith("|"):
            return
        yield [cell.strip() for cell in line.strip("|").split("|")]


def codes(cell: str) -> list[str]:
    return re.findall(r"`([a-z]+)`", cell)


def judged(raw: bytes) -> Request | str:
    """What the box of section 11 makes of a line by itself: the request, or its error code."""
    box = BoxSession(frozenset(Ability) - {Ability.MUTE})
    asked = list(box.receive(raw + b"\n"))
    return asked[0].request if asked else parse(box.to_send()[:-1]).fields["code"]


@pytest.mark.parametrize("exchange", EXCHANGES, ids=lambda text: text.split("\n")[0])
def test_exchanges(exchange: str) -> None:
    """Each worked exchange: in the grammar, right checksums, and each reply fits its question."""
    waiting: dict[int | None, Request | str] = {}
    for shown in exchange.splitlines():
        mark, raw = shown[:2], shown[2:].encode("ascii")
        assert LINE.fullmatch(raw + b"\n")
        if b"*" in raw:
            assert (b"%04X" % bitwise(raw[:-6]) == raw[-4:]) == (mark != "= ")
        tag = believable_tag(raw)
        if mark in ("> ", "= "):
            waiting[tag] = judged(raw)
        elif raw.startswith(b"!"):
            (event,) = HostSession(0).receive(raw + b"\n")
            newer = isinstance(event, Stray) and event.reason is StrayReason.UNKNOWN_EVENT
            assert newer == (b"fan" in raw)
        else:
            check_reply(raw, waiting[tag])


def check_reply(raw: bytes, question: Request | str) -> None:
    """A host that asked this takes the reply; a refusal has the code of the box's judgement."""
    line = parse(raw)
    if isinstance(question, str):
        assert question == line.fields["code"]
    elif line.tag is None:
        verbs.read_fields(line, verbs.VERB_OF_REQUEST[type(question)].answer_fields)
    else:
        host = HostSession(line.tag)
        host.ask(question)
        (reply,) = host.receive(raw + b"\n")
        assert isinstance(reply, Answered | Refused)


def test_a_wrong_exchange_is_seen() -> None:
    """The check above can fail: a wrong checksum, another's answer, another code."""
    for wrong in (
        "> #0001 ping *0000\n",
        "> ping\n< " + write("ok", ["f=1", "e=0", "h=0"]).decode(),
        "> dance\n< " + write("err", ["code=range", "why=x", "e=0", "h=0"]).decode(),
    ):
        with pytest.raises((AssertionError, WireError)):
            test_exchanges(wrong)


def test_requests_table() -> None:
    """4.1 has the verbs, fields and abilities of the code's table."""
    rows = [
        (codes(verb)[0], codes(fields), codes(answer), codes(ability))
        for verb, fields, answer, ability in table("4.1")
    ]
    read = next(row for row in verbs.VERBS if row.word == "read")
    assert rows == [
        (
            verb.word,
            [field.key for field in verb.fields],
            ["f"] if verb is read else [field.key for field in verb.answer_fields],
            [str(verb.ability)] if verb.ability else [],
        )
        for verb in verbs.VERBS
    ]
    assert codes(DOCUMENT.partition("**4.9**")[2].partition("exactly")[0])[1:] == [
        field.key for field in read.answer_fields
    ]


def limits(value: Value) -> str:
    """The limits of a kind of value as the table of 4.3 writes them."""
    text = {(0, 1): "0, 1"}.get((value.low or 0, value.high or 0), f"{value.low} to {value.high}")
    if value.widest.startswith("w"):
        return f"{value.high} characters"
    return {"FFFFFFFF": "8 digits", "60000": "0 to 60000", "-1000": "−1000 to 2000"}.get(
        value.widest, text
    )


def test_fields_table() -> None:
    """4.3 has every field of the code's table with its limits, and no other."""
    rows = {
        (key, place): cells[3]
        for cells in table("4.3")
        for key in codes(cells[0])
        for place in re.findall(r"[a-z]+", cells[1])
    }
    for verb in verbs.VERBS:
        for field in verb.fields + verb.answer_fields:
            shown = rows.pop((field.key, verb.word), None)
            if shown is None:  # `tune` has f twice, in the request and in the answer
                assert (field.key, verb.word) == ("f", "tune")
            elif shown and shown != "section 8":
                assert limits(field.value) == shown, field.key
    for event in verbs.EVENTS:
        for field in event.fields:
            shown = rows[field.key, "event"]
            assert shown in ("", limits(field.value))
    rows = {key: shown for key, shown in rows.items() if key[1] != "event"}
    assert {"e", "h", "code", "why", "f"} == {key for key, _ in rows}
    assert {"replies", "err"} == {place for _, place in rows}


def test_events_table() -> None:
    """6.1 has the events of the code's table."""
    assert [
        (event.word, [field.key for field in event.fields], "yes" if event.by_hand else "no")
        for event in sorted(verbs.EVENTS, key=lambda event: event.word)
    ] == sorted((codes(row[0])[0], codes(row[1]), row[2]) for row in table("6.1"))


def test_codes_and_abilities() -> None:
    """8.1 has the codes and 4.7 the abilities, all of them in order."""
    assert list(Code) == [codes(row[0])[0] for row in table("8.1")]
    assert list(Ability) == [codes(row[0])[0] for row in table("4.7")]


def test_times() -> None:
    """7.1, 7.2, 6.4, 10.10 and 1.1 have the code's numbers."""
    for sentence in (
        f"at {timing.BAUD // 1000} {timing.BAUD % 1000} baud",
        f"| any reply, also a refusal of `tune` | {timing.ANSWER_WITHIN * 1000:.0f} ms |",
        f"{1 / timing.EVENT_SPACING:.0f} a second, {timing.EVENT_SPACING * 1000:.0f} ms apart",
        f"should be {timing.READY_WITHIN:.0f} s",
        f"| waits for a reply | {timing.REPLY_TIMEOUT} s + `settle`; "
        f"{timing.REPLY_TIMEOUT + timing.ASSUMED_SETTLE} s until it knows `settle` |",
        f"{timing.MISSES} misses of one question",
        f"{timing.NOISE_LIMIT:.0f} s of one question, when what came was damaged",
        f"may do so {timing.ANSWER_WITHIN * 1000:.0f} ms after it put the question last",
        f"every {timing.PING_EVERY:.0f} s",
    ):
        assert sentence in DOCUMENT
    assert (3, 60.0) == (timing.RESETS, timing.RESET_WINDOW)
    assert "After three resets within a minute" in DOCUMENT


def test_paragraphs_are_numbered_through() -> None:
    """Paragraphs can be cited: each number once, in order, none left out."""
    sections: dict[str, int] = {}
    for number in PARAGRAPHS:
        section, _, place = number.partition(".")
        assert sections.get(section, 0) + 1 == int(place), number
        sections[section] = int(place)
    assert [str(section) for section in range(1, 13)] == list(sections)


def test_references_exist() -> None:
    """Every paragraph that is cited, here or by a vector, is there."""
    cited = re.findall(r"(?:\(|by |of |against |outside |from |by )(\d{1,2}\.\d{1,2})\b", DOCUMENT)
    known = set(PARAGRAPHS)
    assert {"2.1", "5.6"} <= set(cited)
    assert set() == {number for number in cited if number not in known} - {"1.0"}
    vectors = [one for part in VECTORS.values() if isinstance(part, list) for one in part]
    assert set() == {one["see"] for one in vectors} - known


def test_vectors_are_many_and_named_once() -> None:
    """At least eighty vectors, each with a name of its own."""
    names = [one["id"] for part in VECTORS.values() if isinstance(part, list) for one in part]
    assert len(names) >= 80
    assert len(names) == len(set(names))
