"""A line has the parts that the document's grammar gives it, and no others."""

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.wire.abnf import Grammar
from tests.wire.reference import VECTORS
from tests.wire.test_checksum import bitwise
from vfod.errors import WireError
from vfod.wire.grammar import Kind, believable_tag, is_answer, parse, write

DOCUMENT = (Path(__file__).parents[2] / "docs" / "protocol.md").read_text("utf-8")
ABNF = Grammar(DOCUMENT.partition("```abnf\n")[2].partition("```")[0])
LINE = ABNF.compile("line")

sound = [vector for vector in VECTORS["lines"] if "kind" in vector]
unsound = [vector for vector in VECTORS["lines"] if "error" in vector]


def by_id(vector: dict[str, Any]) -> str:
    return str(vector["id"])


@pytest.mark.parametrize("vector", sound, ids=by_id)
def test_sound_lines(vector: dict[str, Any]) -> None:
    """Sound lines of the vectors have the parts that stand there."""
    line = parse(vector["line"].encode("latin-1"))
    tag = int(vector["tag"], 16) if "tag" in vector else None
    assert (Kind(vector["kind"]), tag, vector.get("number"), vector["verb"], vector["fields"]) == (
        line.kind,
        line.tag,
        line.number,
        line.verb,
        line.fields,
    )


@pytest.mark.parametrize("vector", unsound, ids=by_id)
def test_unsound_lines(vector: dict[str, Any]) -> None:
    """Unsound lines have the error that stands there, and carry the line."""
    raw = vector["line"].encode("latin-1")
    with pytest.raises(WireError) as caught:
        parse(raw)
    assert (vector["error"], raw) == (caught.value.box_code, caught.value.line)
    if not vector.get("silent"):
        tag = believable_tag(raw)
        assert vector["answered"] == ("none" if tag is None else f"{tag:04X}")


@pytest.mark.parametrize("vector", VECTORS["lines"], ids=by_id)
def test_silence(vector: dict[str, Any]) -> None:
    """A box is silent on its own lines and on no others."""
    assert vector.get("silent", False) == is_answer(vector["line"].encode("latin-1"))


@pytest.mark.parametrize("vector", VECTORS["lines"], ids=by_id)
def test_vectors_keep_to_the_abnf(vector: dict[str, Any]) -> None:
    """The document's ABNF takes the sound lines of the vectors and refuses the others.

    What ABNF cannot say is left out: a right checksum, a key only once, the range of a number,
    and that the verb of a request is not `ok` or `err`.
    """
    beyond = {
        "reply-without-checksum",
        "wrong-checksum",
        "changed-digit",
        "typed-wrong-checksum",
        "head-lost",
    }
    beyond |= {"reply-damaged", "key-twice", "unknown-key-twice", "event-zero", "event-beyond"}
    matches = LINE.fullmatch(vector["line"].encode("latin-1") + b"\n") is not None
    assert ("kind" in vector or vector["id"] in beyond) == matches


@pytest.mark.parametrize(
    ("rule", "good", "bad"),
    [
        ("hertz", ["0", "9875000.000", "1.5", "999999999.999"], ["1.", ".5", "1.2345", "1e6", ""]),
        ("whole", ["0", "000000001", "999999999"], ["", "-1", "1000000000", "+1", "1.0"]),
        ("signed", ["-125", "215"], ["--1", "-", "+1"]),
        ("hex", ["0", "FFFFFFFF", "1a2b"], ["", "123456789", "G"]),
        ("list", ["none", "knob,touch"], ["", "knob,", ",knob", "knob touch"]),
    ],
)
def test_values_of_the_abnf(rule: str, good: list[str], bad: list[str]) -> None:
    """The forms of values in the document take and refuse what they should."""
    form = ABNF.compile(rule)
    assert good == [text for text in good + bad if form.fullmatch(text.encode())]


shapes = st.lists(
    st.sampled_from(
        [
            *("#3F2A", "#3f2", "!19", "!", "ok", "err", "tune", "f=1", "f=2", "code=busy", "y=="),
            *("x9=a*b", "=", " ", " ", " ", "  ", "A", "é", "*", "*1234", "0"),
        ]
    )
    | st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=3),
    max_size=7,
).map("".join)


@given(shapes, st.booleans())
def test_abnf_and_codec_agree(text: str, sealed: bool) -> None:
    """The ABNF and the codec take the same lines, whatever the text.

    They are derived independently: one from the document's text, the other written by hand.
    """
    raw = text.encode("latin-1")
    if not raw.strip() or any(mark in raw[1:] for mark in b"#!"):
        return  # an empty line is nothing, and a mark begins another line: framing sees to both
    if sealed:
        raw += b" *%04X" % bitwise(raw)
    try:
        parse(raw)
        said = ""
    except WireError as error:
        said = error.message
    if said == "no checksum" and is_answer(raw) and raw[:1] not in b"#!":
        return  # a reply that would do as a typed request, were its verb another
    if said in ("checksum differs", "key given twice", "event number out of range"):
        return
    assert (LINE.fullmatch(raw + b"\n") is not None) == (said == "")


def test_written_lines_have_a_checksum_and_an_end() -> None:
    """A written line is the document's own example, byte for byte but for the checksum's value."""
    body = b"#3F2A tune f=9875000.000 h=17"
    expected = body + b" *%04X\n" % bitwise(body)
    assert expected == write("tune", ["f=9875000.000", "h=17"], tag=0x3F2A)
    assert expected.decode() in DOCUMENT.replace("> ", "")


@pytest.mark.parametrize(
    ("verb", "fields"),
    [("TUNE", []), ("tune", ["f"]), ("tune", ["f=a b"]), ("tune", ["f=1#"]), ("a\n", [])],
)
def test_nothing_unsound_is_written(verb: str, fields: list[str]) -> None:
    """What is outside the grammar raises instead of going over the wire."""
    with pytest.raises(WireError):
        write(verb, fields, tag=1)


def test_nothing_too_long_is_written() -> None:
    """120 bytes with the line end are written, 121 are not."""
    longest = "x=" + "y" * (120 - len("#0001 ping x= *0000\n"))
    assert 120 == len(write("ping", [longest], tag=1))
    with pytest.raises(WireError, match="longer than 120 bytes"):
        write("ping", [longest + "y"], tag=1)
