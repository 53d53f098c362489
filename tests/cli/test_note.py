"""`vfod note`: what is sent, and what is complained of before anything is sent."""

import pytest

from tests.cli.conftest import Stub, success
from vfod.__main__ import main


def test_what_is_sent(stub: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """Words become one text, options parameters; the daemon's words are printed."""
    stub.answers = [success("noted: drums, then talk")]
    words = ["note", "drums,", "then", "talk", "--sinpo", "4534x", "--heard", "Radio Haldrun"]
    assert 0 == main([*words, "--vfo", "attic"])
    assert "noted: drums, then talk\n" == capsys.readouterr().out
    asked = stub.asked[0]
    assert "note" == asked["method"]
    assert {
        "text": "drums, then talk",
        "sinpo": "4534X",
        "heard": "Radio Haldrun",
        "vfo": "attic",
    } == asked["params"]


def test_when_it_was(stub: Stub, config: object) -> None:
    """A time is local, and sent as seconds since 1970 UTC."""
    assert 0 == main(["note", "drums", "--at", "2026-11-24 22:00"])
    # 22:00 in Berlin in winter is 21:00 UTC (IANA time zone database).
    assert 1_795_554_000 == stub.asked[0]["params"]["at"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["drums", "--sinpo", "45346"], "'45346' is no SINPO report"),
        (["drums", "--sinpo", "4534"], "'4534' is no SINPO report"),
        (["two\nlines"], "a note is one line"),
        (["\x1b[31mred"], "a note is one line"),
        (["x" * 1001], "a note of 1001 characters is too long"),
        (["drums", "--heard", " "], "the name of a station needs some words"),
        (["drums", "--at", "tomorrow"], "'tomorrow' is not a time"),
    ],
)
def test_mistakes(
    stub: Stub, capsys: pytest.CaptureFixture[str], words: list[str], says: str
) -> None:
    """One line that says what is wrong, and nothing is sent."""
    assert 2 == main(["note", *words])
    assert says in capsys.readouterr().err
    assert [] == stub.lines


def test_letters_that_need_joiners_are_fine(stub: Stub) -> None:
    """Some scripts cannot be written without U+200C."""
    assert 0 == main(["note", "می\u200cشنوم"])
    assert "می\u200cشنوم" == stub.asked[0]["params"]["text"]
