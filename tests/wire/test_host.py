"""The asking side: only the right reply is taken, and nothing received raises."""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.wire.reference import VECTORS, millihertz
from tests.wire.test_framing import noisy
from vfod.wire.grammar import write
from vfod.wire.host import HostSession, Received, agreed_version
from vfod.wire.messages import (
    Alive,
    Answered,
    BatteryLow,
    Booted,
    Can,
    Identity,
    Missed,
    Ping,
    Pressed,
    Refused,
    Request,
    Stray,
    StrayReason,
    Tune,
    Turned,
    Who,
)

EVENT_WORDS = {Turned: "knob", Pressed: "button", BatteryLow: "battery", Booted: "boot"}
PONG = ["boot=1", "e=1", "h=0"]


def question(text: str) -> Request:
    """The request of a vector."""
    verb, *words = text.split()
    fields = dict(word.split("=") for word in words)
    if verb == "tune":
        hand = int(fields["h"]) if "h" in fields else None
        return Tune(frequency=millihertz(fields["f"]), hand=hand)
    plain: dict[str, Request] = {"ping": Ping(), "who": Who(), "can": Can()}
    return plain[verb]


def told(item: Received) -> str:
    """A received thing as the vectors write it."""
    match item:
        case Answered():
            return "answered"
        case Refused(code=code):
            return f"refused {code}"
        case Missed(hand=hand):
            return "missed hand" if hand else "missed"
        case Stray(reason=reason):
            return f"stray {reason}"
        case event:
            return f"event {EVENT_WORDS[type(event)]}"


@pytest.mark.parametrize("vector", VECTORS["host"], ids=lambda vector: vector["id"])
@pytest.mark.parametrize("way", ["whole", "byte by byte"])
def test_vectors(vector: dict[str, Any], way: str) -> None:
    """The host vectors of the document."""
    tag = int(vector["tag"], 16)
    host = HostSession(tag - 1)
    if "e" in vector:
        host.ask(Ping())
        known = ["boot=1", f"e={vector['e']}", f"h={vector['h']}"]
        assert ["answered"] == [told(x) for x in host.receive(write("ok", known, tag=tag - 1))]
    else:
        host.ask(Ping())
        host.drop()
    host.ask(question(vector["ask"]))
    if vector.get("again"):
        host.again()
    data = vector["receive"].encode("latin-1")
    pieces = [data] if way == "whole" else [bytes([byte]) for byte in data]
    assert vector["gives"] == [told(item) for piece in pieces for item in host.receive(piece)]


def test_repeat_has_the_same_bytes_after_a_line_feed() -> None:
    """A repeat is the question again, tag and checksum and all (10.4)."""
    host = HostSession(0x3F2A)
    asked = host.ask(Ping())
    assert b"\n" + asked == host.again() == host.again()


def test_tags_go_round() -> None:
    """After FFFF comes 0000 (10.3)."""
    host = HostSession(0xFFFF)
    assert [b"#FFFF ping", b"#0000 ping"] == [host.ask(Ping())[:10], host.ask(Ping())[:10]]


def test_nothing_to_repeat() -> None:
    """Without an open question there is nothing to send."""
    host = HostSession(1)
    assert b"" == host.again()
    host.ask(Ping())
    host.drop()
    assert b"" == host.again()


def test_given_up_means_late() -> None:
    """An answer to a question that was given up, or to one before, is never taken (10.5)."""
    host = HostSession(1)
    host.ask(Ping())
    host.drop()
    host.ask(Ping())
    late, right = write("ok", PONG, tag=1), write("ok", PONG, tag=2)
    received = host.receive(late + right + right)
    assert ["stray late", "answered", "stray late"] == [told(item) for item in received]


@given(st.integers(0, 65535), st.integers(0, 65535), noisy)
def test_only_the_open_tag_is_taken(tag: int, other: int, noise: bytes) -> None:
    """Whatever comes before, a reply is taken exactly when it carries the open tag."""
    host = HostSession(tag)
    host.ask(Ping())
    received = host.receive(noise + write("ok", PONG, tag=other))
    taken = [item for item in received if isinstance(item, Answered)]
    expected = Answered(tag=tag, answer=Alive(boot=1), newest_event=1, newest_hand=0)
    assert ([expected] if tag == other else []) == taken


@given(st.lists(st.binary(max_size=40) | noisy, max_size=5), st.booleans())
def test_any_bytes_are_stray(pieces: list[bytes], asked: bool) -> None:
    """Bytes without a checksum are strays, at most one for each line, and never raise."""
    host = HostSession(0)
    if asked:
        host.ask(Ping())
    received = [item for piece in pieces for item in host.receive(piece)]
    assert all(isinstance(item, Stray) for item in received)


def damaged(line: bytes) -> Iterator[bytes]:
    """The line with each bit of its body turned over, each byte lost, each byte doubled."""
    for at in range(len(line) - 1):
        for bit in range(8):
            yield line[:at] + bytes([line[at] ^ 1 << bit]) + line[at + 1 :]
        yield line[:at] + line[at + 1 :]
        yield line[:at] + line[at : at + 1] + line[at:]


def test_damage_is_noticed() -> None:
    """No single wrong bit, lost byte or doubled byte of a reply changes what is taken.

    The two kinds of damage that leave the meaning alone (a letter of the checksum or the tag in
    lower case, a line end made of CR) are taken with the right meaning.
    """
    line = write("ok", ["boot=1A2B", "e=18", "h=17"], tag=0x3F2A)
    right = Answered(tag=0x3F2A, answer=Alive(boot=0x1A2B), newest_event=18, newest_hand=17)
    for wrong in damaged(line):
        host = HostSession(0x3F2A)
        host.ask(Ping())
        taken = [item for item in host.receive(wrong) if isinstance(item, Answered | Refused)]
        assert taken in ([], [right])


@pytest.mark.parametrize(
    ("protocol", "oldest", "agreed"),
    [(1, 1, 1), (2, 1, 1), (99, 1, 1), (2, 2, None), (0, 0, None), (1, 0, 1)],
)
def test_versions(protocol: int, oldest: int, agreed: int | None) -> None:
    """The highest version both speak, by 9.4; none when the box is too new or too old."""
    identity = Identity(
        protocol=protocol, oldest=oldest, model="m", firmware="f", serial="s", boot=1
    )
    assert agreed == agreed_version(identity)


def test_missed_once() -> None:
    """A lost event is said once, not with every reply that follows."""
    host = HostSession(0)
    said = []
    for counters in (["e=1", "h=0"], ["e=4", "h=3"], ["e=4", "h=3"]):
        host.ask(Ping())
        tag = host.outstanding
        said += host.receive(write("ok", ["boot=1", *counters], tag=tag))
    assert [Missed(newest_event=4, newest_hand=3, hand=True)] == [
        item for item in said if isinstance(item, Missed)
    ]


def test_reasons_are_words() -> None:
    """Reasons serve as labels: few, fixed, without spaces."""
    assert all(reason.replace("-", "").isalpha() for reason in StrayReason)
