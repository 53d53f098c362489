"""What vfoline.h promises beyond the vectors: waiting deeds, held events, a clock that overflows.

Written against docs/protocol.md; the times are those of a clock of whole milliseconds, of which one
more must have been counted than a time is long.
"""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.firmware.cbox import LibraryBox
from tests.wire.test_box import expected, lines_of, meaning
from vfod.wire.grammar import parse

BEYOND, BROKEN = -1, -2
BOOT = "!1 boot boot=1A"


class Box:
    """A box that was switched on at a time of its clock."""

    def __init__(self, functions: Any, *, settle: int = 0, clock: int = 0) -> None:
        self._box = LibraryBox(functions)
        self.do("make", settle)
        self.do("now", clock)
        assert says(BOOT) == self.do("reset", "1A")

    def do(self, word: str, value: Any) -> list[Any]:
        """What it says because of this."""
        return [meaning(parse(line)) for line in lines_of(self._box.do(word, value))]

    def send(self, text: str) -> list[Any]:
        return self.do("send", text.encode("ascii"))

    @property
    def deeds(self) -> int:
        count: int = self._box.c.model_deeds(self._box.me)
        return count


def says(*lines: str) -> list[Any]:
    return [expected(line) for line in lines]


@pytest.fixture(params=[0, 2**32 - 120], ids=["", "clock overflows"])
def box(request: pytest.FixtureRequest, functions: Callable[..., Any]) -> Box:
    return Box(functions(), clock=request.param)


@pytest.mark.parametrize("settle", [1, 20, 200])
@pytest.mark.parametrize("clock", [0, 2**32 - 21, 2**32 - 1])
def test_a_tune_is_answered_when_it_has_settled(
    functions: Callable[..., Any], settle: int, clock: int
) -> None:
    """4.8: not a millisecond before, also when the clock overflows meanwhile."""
    box = Box(functions(), settle=settle, clock=clock)
    assert [] == box.send("tune f=7100000\n")
    assert [] == box.do("wait", settle)
    assert says("ok f=7100000.000 e=1 h=0") == box.do("wait", 1)
    assert [] == box.do("wait", settle + 1)


def test_a_repeat_never_gets_an_older_reply(functions: Callable[..., Any]) -> None:
    """5.5: while the reply is still to come, the repeat is dropped, whatever was kept before."""
    box = Box(functions(), settle=20)
    assert says("#0001 ok boot=1A e=1 h=0") == box.send("#0001 ping *93DB\n")
    assert [] == box.send("#0001 tune f=7100000 *448F\n#0001 tune f=7100000 *448F\n")
    assert says("#0001 ok f=7100000.000 e=1 h=0") == box.do("wait", 21)


def test_a_line_finds_what_is_due_done(functions: Callable[..., Any]) -> None:
    """A request that comes after the settle time is not busy, though nobody polled."""
    box = Box(functions(), settle=20)
    box.send("tune f=7100000\n")
    box.do("now", 21)
    assert says("ok f=7100000.000 e=1 h=0", "ok boot=1A e=1 h=0") == box.send("ping\n")


def test_a_switch_may_take_its_time(box: Box) -> None:
    """5.6: `select` waits like a tune, the next is busy, ping is not, and no hand cancels it."""
    box.do("deed", 5)
    assert [] == box.send("select n=3\n")
    assert says("err code=busy e=1 h=0", "ok boot=1A e=1 h=0") == box.send("mute on=1\nping\n")
    assert [] == box.do("turn", 7_010_000_000)
    assert says("ok e=1 h=0") == box.do("wait", 6)
    assert 1 == box.deeds


@pytest.mark.parametrize(("result", "code"), [(BEYOND, "range"), (BROKEN, "hardware")])
def test_a_deed_that_was_not_done_is_not_read(box: Box, result: int, code: str) -> None:
    """5.9, 5.11: the refusal says why, and `read` tells the state as it is."""
    before = box.send("read\n")
    box.do("deed", result)
    refusal = f"err code={code} e=1 h=0"
    assert says(*[refusal] * 3) == box.send("output on=1\nselect n=1\nmute on=1\n")
    assert before == box.send("read\n")
    assert 3 == box.deeds


def test_what_cannot_be_measured_is_left_out(box: Box) -> None:
    """4.9: level, battery and temperature, and nothing else."""
    box.do("blind", True)
    assert says("ok f=7000000.000 out=0 sel=0 mute=0 step=1000 e=1 h=0") == box.send("read\n")


def test_events_keep_their_distance(box: Box) -> None:
    """6.4: 50 ms, so 51 counted; what comes in between is one event with the newest frequency."""
    for step in range(1, 11):
        assert [] == box.do("turn", 7_000_000_000 + step * 1_000_000)
    assert [] == box.do("wait", 50)
    assert says("!2 knob f=7010000.000") == box.do("wait", 1)
    assert [] == box.do("wait", 1000)
    assert says("!3 knob f=7000000.000") == box.do("turn", 7_000_000_000)


def test_a_button_that_turned_goes_first(box: Box) -> None:
    """6.3: the button and then the knob, also when a turn was waiting already."""
    assert [] == box.do("turn", 7_001_000_000)
    assert [] == box.do("press", "up")
    assert [] == box.do("turn", 7_100_000_000)
    assert says("!2 button b=up") == box.do("wait", 51)
    assert says("!3 knob f=7100000.000") == box.do("wait", 51)


def test_a_button_does_not_delay_a_turn(box: Box) -> None:
    """6.5: the last place of the knob is told within 100 ms, whatever is pressed afterwards."""
    assert [] == box.do("press", "up")
    assert [] == box.do("turn", 7_100_000_000)
    assert says("!2 button b=up") == box.do("wait", 51)
    assert [] == box.do("press", "down")
    assert says("!3 knob f=7100000.000") == box.do("wait", 51)
    assert says("!4 button b=down") == box.do("wait", 51)


def test_a_turn_back_is_told_and_no_turn_is_not(box: Box) -> None:
    """6.10: where the knob has no effect there is no event."""
    box.do("wait", 51)
    assert [] == box.do("turn", 7_000_000_000)
    assert says("!2 knob f=7001000.000") == box.do("turn", 7_001_000_000)


def test_a_battery_is_told_once_in_ten_minutes(box: Box) -> None:
    """6.1: what trembles around the threshold in between is not told."""
    box.do("wait", 51)
    assert says("!2 battery mv=3300") == box.do("battery", 3300)
    for _ in range(9):
        box.do("wait", 60_000)
        assert [] == box.do("battery", 3290)
    box.do("wait", 60_001)
    assert says("!3 battery mv=3280") == box.do("battery", 3280)


def test_numbers_of_events_go_round(box: Box) -> None:
    """6.2: after 65535 comes 1."""
    for _ in range(65534):
        box._box.c.model_wait(box._box.me, 51)
        box._box.c.model_press(box._box.me, b"up")
    box._box.taken()
    assert says("ok boot=1A e=65535 h=65535") == box.send("ping\n")
    box.do("wait", 51)
    assert says("!1 button b=up") == box.do("press", "up")
    assert says("err code=hand f=7000000.000 e=1 h=1") == box.send("tune f=7100000 h=65535\n")
    assert says("ok f=7100000.000 e=1 h=1") == box.send("tune f=7100000 h=1\n")


def test_two_boxes_know_nothing_of_each_other(functions: Callable[..., Any]) -> None:
    """All state is in one struct."""
    one, other = Box(functions()), Box(functions())
    one.send("tune f=7100000\noutput on=1\n#0001 ping")
    assert says("ok f=7000000.000 out=0 sel=0 mute=0 step=1000 level=1234 battery=3700 temp=215 "
                "e=1 h=0") == other.send("read\n")  # fmt: skip


def test_it_does_not_grow_unseen() -> None:
    """At most 350 statements and declarations (docs/decisions, the responder's length)."""
    source = Path(__file__).parents[2] / "vfod" / "firmware" / "vfoline.c"
    text = re.sub(r"/\*.*?\*/", "", source.read_text(), flags=re.DOTALL)
    # The head of a loop has two semicolons of its own.
    statements = text.count(";") - 2 * len(re.findall(r"\bfor \(", text))
    assert 200 < statements <= 350
