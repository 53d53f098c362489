"""The C responder against docs/protocol-vectors.yaml, under the sanitizers.

What a reader makes of a line is seen in how the box answers it; the host's half of the vectors is
for hosts.
"""

from collections.abc import Callable
from typing import Any

import pytest

from tests.firmware.build import ABILITIES
from tests.firmware.cbox import ProcessBox, Steps
from tests.wire.reference import VECTORS
from tests.wire.test_box import expected, lines_of, meaning
from vfod.wire.grammar import Kind, parse

Start = Callable[..., ProcessBox]


def started(process: Start, case: dict[str, Any]) -> Steps:
    """The reference box with the abilities of a case."""
    words = case.get("abilities", ",".join(ABILITIES)).split(",")
    box = process(tuple(one for one in ABILITIES if one in words))
    return Steps(box.do, slow=case.get("slow", False))


@pytest.mark.parametrize("case", VECTORS["box"], ids=lambda case: case["id"])
@pytest.mark.parametrize("way", ["whole", "byte by byte"])
def test_box(process: Start, case: dict[str, Any], way: str) -> None:
    """Every case of a box, with the bytes in one piece and one at a time."""
    box = started(process, case)
    sent: list[bytes] = []
    compared = 0
    for step in case["steps"]:
        ((word, value),) = step.items()
        if word == "send" and way == "byte by byte":
            sent += lines_of(b"".join(box.step(word, character) for character in value))
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


@pytest.mark.parametrize("vector", VECTORS["lines"], ids=lambda one: one["id"])
def test_lines(process: Start, vector: dict[str, Any]) -> None:
    """A sound request is understood, with its tag; what is wrong is answered as the vector says;
    its own kind of line it does not answer.
    """
    box = started(process, {})
    replies = lines_of(box.step("send", vector["line"] + "\n"))
    if vector.get("silent"):
        assert [] == replies
        return
    (reply,) = (parse(line) for line in replies)
    if "error" in vector:
        tag = None if vector["answered"] == "none" else int(vector["answered"], 16)
        assert (Kind.ERR, vector["error"], tag) == (reply.kind, reply.fields["code"], reply.tag)
    else:
        # Some are for other boxes, or cross a hand; none is damaged or out of the grammar.
        assert (int(vector["tag"], 16) if "tag" in vector else None) == reply.tag
        assert reply.fields.get("code") in (None, "unknown", "range", "hand")


@pytest.mark.parametrize("vector", VECTORS["framing"], ids=lambda one: one["id"])
def test_framing(process: Start, vector: dict[str, Any]) -> None:
    """Bytes are cut into lines as the vector says: each is answered as if it had come alone."""
    alone = []
    for item in vector["gives"]:
        if item == "bad":
            alone.append("syntax")
        elif item != "cut":
            box = started(process, {})
            alone += [answer(line) for line in lines_of(box.step("send", item["line"] + "\n"))]
    box = started(process, {})
    assert alone == [answer(line) for line in lines_of(box.step("send", vector["bytes"]))]


def answer(line: bytes) -> str:
    """The code of a refusal, else the line."""
    reply = parse(line)
    return reply.fields.get("code", line.decode("ascii"))


#: A byte 00 cannot stand in a line.
CHECKSUMS = [one for one in VECTORS["checksums"] if one["bytes"] != "\0"]


@pytest.mark.parametrize("vector", CHECKSUMS, ids=lambda one: one["id"])
def test_checksums(process: Start, vector: dict[str, Any]) -> None:
    """The right checksum leaves the line to the grammar, another one does not."""
    box = started(process, {})
    for check, code in ((vector["crc"], "syntax"), ("0000", "checksum")):
        reply = box.step("send", f"{vector['bytes']} *{check}\n")
        assert code == answer(reply[:-1])
