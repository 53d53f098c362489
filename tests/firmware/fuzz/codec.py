"""The codec in Python under hypothesis: any bytes, at either end, in pieces of any size."""

import contextlib
import time
from collections.abc import Callable
from typing import Any

import hypothesis
from hypothesis import strategies as st

from tests.firmware.fuzz.inputs import sealed
from tests.wire.test_framing import noisy
from vfod.errors import WireError
from vfod.wire.box import BoxSession
from vfod.wire.framing import LineReader
from vfod.wire.grammar import parse, write
from vfod.wire.host import HostSession
from vfod.wire.messages import Ability, Answered, Ping

_TEXT = st.binary(max_size=110).map(lambda data: "".join(chr(32 + byte % 95) for byte in data))
_REPLY = st.builds(
    lambda head, fields: " ".join([head, *fields]),
    st.sampled_from(
        ["#0001 ok", "#0001 err", "ok", "!1 knob", "!2 boot", "#0001 ping", "#0002 ok"]
    ),
    st.lists(
        st.sampled_from(
            ["boot=1A", "e=0", "h=0", "e=1", "h=x", "f=1.5", "code=busy", "why=x", "x=1", "b=up"]
        ),
        max_size=6,
    ),
)
#: Bytes of which some are lines with a right checksum.
_BYTES = st.lists(
    noisy
    | st.binary(max_size=130)
    | (_TEXT | _REPLY).map(lambda one: sealed(one).encode() + b"\n"),
    max_size=6,
).map(b"".join)


def cut(data: bytes, size: int) -> None:
    """Lines do not depend on how the bytes are cut, and the memory held is bounded (2.4)."""
    whole, pieces = LineReader(), LineReader()
    found = []
    for at in range(0, len(data), size):
        found += pieces.feed(data[at : at + size])
        assert pieces.held <= 119
    assert whole.feed(data) == found


def read(raw: bytes) -> None:
    """A line has parts, which written again have the same parts, or a WireError."""
    try:
        line = parse(raw)
    except WireError:
        return
    fields = [f"{key}={value}" for key, value in line.fields.items()]
    again = write(line.verb, fields, tag=line.tag, number=line.number)
    assert line == parse(again[:-1])


def heard(data: bytes) -> None:
    """A host takes at most one answer for its question, and raises at nothing (10.5)."""
    host = HostSession(1)
    host.ask(Ping())
    assert len([one for one in host.receive(data) if isinstance(one, Answered)]) <= 1


def asked(data: bytes) -> None:
    """A box answers with lines and hands out requests one at a time, and raises at nothing."""
    box = BoxSession(frozenset(Ability))
    for one in box.receive(data):
        box.refuse(one, "busy", "told to")
    sent = box.to_send()
    assert [] == [piece for piece in LineReader().feed(sent) if not isinstance(piece, bytes)]


#: Each claim and what it is tried on.
PROPERTIES: tuple[tuple[Callable[..., None], tuple[st.SearchStrategy[Any], ...]], ...] = (
    (cut, (_BYTES, st.integers(1, 20))),
    (read, (st.binary(max_size=119) | _TEXT.map(lambda one: sealed(one).encode()),)),
    (heard, (_BYTES,)),
    (asked, (_BYTES,)),
)
#: Examples of a property before it is the next one's turn.
_ROUND = 200


def explore(seconds: float, seed: int) -> int:
    """Try the properties in turn for so long; how many inputs that were. A failure is raised.

    An interrupt ends it early.
    """
    inputs = 0
    until = time.monotonic() + seconds
    with contextlib.suppress(KeyboardInterrupt):
        while time.monotonic() < until:
            for claim, on in PROPERTIES:
                settings = hypothesis.settings(
                    max_examples=_ROUND,
                    database=None,
                    deadline=None,
                    derandomize=False,
                    suppress_health_check=list(hypothesis.HealthCheck),
                )
                hypothesis.seed(seed)(settings(hypothesis.given(*on)(claim)))()
                inputs += _ROUND
                seed += 1
    return inputs
