"""A minute of any bytes; `make fuzz` takes an hour."""

import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.firmware.cbox import LibraryBox
from tests.firmware.fuzz import codec, libfuzzer
from tests.firmware.fuzz.differential import answers, compare
from tests.firmware.fuzz.moves import seeds

#: Of each of the three, in seconds.
SECONDS = 20

#: Inputs on which one of the two was wrong once, and what it was.
FOUND = {
    "byte 00 after an outcome: C read on behind its own text": b"\0ok\0\0\x7f\n\0err\0\n",
    "a line of spaces only, too long: Python answered": b"\0" + b" " * 130 + b"\n",
    "spaces, and something behind the 119th: Python answered": b"\0" + b" " * 125 + b"ping\n",
}

fuzz = pytest.mark.fuzz


@pytest.fixture
def seed() -> int:
    """Another one each time."""
    return random.SystemRandom().randrange(1, 2**31)


@fuzz
def test_the_responder_survives_any_bytes(
    tmp_path: Path, functions: Callable[..., Any], seed: int
) -> None:
    """Sanitizers and the rules of target.c find nothing, and both sides agree on the inputs that
    reached new code.
    """
    ran = libfuzzer.run(libfuzzer.build(tmp_path / "fuzzer"), tmp_path, SECONDS, seed)
    assert (0, 0) == (ran.crashes, ran.hangs), ran.log[-4000:]
    assert ran.inputs > 1000
    corpus = [file.read_bytes() for file in (tmp_path / "corpus").iterdir()]
    found = compare(functions(), 0, seed, corpus)
    assert [] == found.disagreements
    assert found.inputs > len(seeds())


@fuzz
def test_the_codec_survives_any_bytes(seed: int) -> None:
    """The claims of codec.py hold."""
    assert codec.explore(SECONDS, seed) > 500


@fuzz
def test_both_agree_on_any_bytes(functions: Callable[..., Any], seed: int) -> None:
    """The same replies to the same bytes, whatever a hand does in between."""
    found = compare(functions(), SECONDS, seed, seeds())
    assert [] == found.disagreements, f"seed {seed}"
    assert found.replies > found.inputs > 1000


@pytest.mark.parametrize("data", FOUND.values(), ids=FOUND)
def test_what_was_found_stays_away(functions: Callable[..., Any], data: bytes) -> None:
    """Both agree on what fuzzing found before."""
    one, other = answers(LibraryBox(functions()), data)
    assert one == other


def test_a_disagreement_is_seen(functions: Callable[..., Any]) -> None:
    """The comparison can fail: a box without abilities answers otherwise."""
    found = compare(functions(()), 0, 1, seeds())
    assert len(found.disagreements) > 10
