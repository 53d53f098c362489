"""Bytes become lines however they are cut, and garbage costs only itself."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.wire.reference import VECTORS
from vfod.wire.framing import LINE_LIMIT, Fault, Garbage, LineReader

#: Bytes that matter to the reader come often.
noisy = st.lists(
    st.sampled_from([b"\n", b"\r", b"#", b"!", b"ping", b" ", b"\xff", b"\x00", b"x" * 70])
    | st.binary(max_size=4),
    max_size=60,
).map(b"".join)


def told(item: bytes | Garbage) -> object:
    """As the vectors write it."""
    if isinstance(item, Garbage):
        return "cut" if item.kind is Fault.CUT else "bad"
    return {"line": item.decode("latin-1")}


@pytest.mark.parametrize("vector", VECTORS["framing"], ids=lambda vector: vector["id"])
@pytest.mark.parametrize("way", ["whole", "byte by byte", "with a tail"])
def test_vectors(vector: dict[str, Any], way: str) -> None:
    """The framing vectors of the document."""
    data = vector["bytes"].encode("latin-1")
    expected = list(vector["gives"])
    reader = LineReader()
    if way == "byte by byte":
        found = [item for byte in data for item in reader.feed(bytes([byte]))]
    else:
        found = reader.feed(data + b"#0001 who" if way == "with a tail" else data)
    if way == "with a tail" and found and len(found) > len(expected):
        assert Fault.CUT is getattr(found.pop(), "kind", None)  # the unfinished line of the vector
    assert expected == [told(item) for item in found]


def test_faults_are_told_apart() -> None:
    """Garbage says why it is garbage, and shows its beginning."""
    reader = LineReader()
    long = b"x" * LINE_LIMIT
    assert [
        Garbage(Fault.OVERLONG, long[:119]),
        Garbage(Fault.UNPRINTABLE, b"a\tb"),
        Garbage(Fault.CUT, b"half"),
        b"#1",
    ] == reader.feed(long + b"\na\tb\nhalf#1\n")


@given(noisy, st.data())
def test_cuts_do_not_matter(data: bytes, draw: st.DataObject) -> None:
    """Any way of cutting the stream into pieces gives the same lines."""
    whole = LineReader().feed(data)
    reader = LineReader()
    found = []
    rest = data
    while rest:
        size = draw.draw(st.integers(1, len(rest)))
        found += reader.feed(rest[:size])
        rest = rest[size:]
    assert whole == found


@given(noisy)
def test_the_next_good_line_works(garbage: bytes) -> None:
    """After any bytes, a line that begins with a mark is read."""
    assert b"#3F2A ping *AB27" == LineReader().feed(garbage + b"#3F2A ping *AB27\n")[-1]


@given(noisy)
def test_nothing_is_lost_unsaid(data: bytes) -> None:
    """Every byte that is not a line end is in a line, in garbage, or still held."""
    reader = LineReader()
    found = reader.feed(data)
    shown = sum(len(item.sample if isinstance(item, Garbage) else item) for item in found)
    ends = data.count(b"\n") + data.count(b"\r")
    hidden = len(data) - ends - shown - reader.held
    overlong = any(
        isinstance(item, Garbage) and len(item.sample) == LINE_LIMIT - 1 for item in found
    )
    assert 0 == hidden or overlong or reader.held == LINE_LIMIT - 1


def test_memory_is_bounded() -> None:
    """A megabyte without a line end holds no more than one line."""
    reader = LineReader()
    for _ in range(1000):
        assert [] == reader.feed(b"y" * 1000)
        assert LINE_LIMIT - 1 >= reader.held
    assert [Garbage(Fault.OVERLONG, b"y" * 119), b"ping"] == reader.feed(b"\nping\n")
