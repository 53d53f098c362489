"""An attempt to greet: the simulated box, one that is too new, other speakers, and silence."""

from collections.abc import Callable

import pytest

from tests.conform.habits import resealed
from vfod.device.diagnosis import Sounding
from vfod.device.port import Line, Lost, Received
from vfod.device.sounding import sound
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import BoxSetup, Scenario
from vfod.sim.world import build

EVENING = 1_795_633_200.0


class ChangedPort:
    """A simulated box whose bytes are changed on their way to the host."""

    def __init__(self, inner: MemoryPort, change: Callable[[bytes], bytes]) -> None:
        self._inner = inner
        self._change = change

    @property
    def name(self) -> str:
        return self._inner.name

    async def open(self, received: Received, lost: Lost) -> Line:
        def changed(data: bytes) -> None:
            if said := b"".join(self._change(one) for one in data.splitlines(keepends=True)):
                received(said)

        return await self._inner.open(changed, lost)


async def _sounded(change: Callable[[bytes], bytes]) -> Sounding:
    clock = SimClock(wall=EVENING)
    box = build(Scenario(box=BoxSetup()), clock=clock).box
    port = ChangedPort(MemoryPort(box), change)
    result = await sound(port, clock, baud=115_200, first_tag=7)
    box.close()
    return result


async def test_a_sound_box_is_greeted() -> None:
    """All three questions are answered, and its name is known."""
    got = await _sounded(lambda line: line)
    assert (True, True, (1, 1)) == (got.ours, got.greeted, got.versions)
    assert "sim 1.0, serial number 0001" == got.name


async def test_a_box_that_is_too_new_is_ours_but_not_greeted() -> None:
    """Paragraph 9.4: nothing more is asked."""
    got = await _sounded(resealed("proto=1", "proto=3 min=2"))
    assert (True, False, (2, 3)) == (got.ours, got.greeted, got.versions)


async def test_a_box_that_refuses_a_question_is_not_greeted() -> None:
    """`can` is part of the greeting (10.1)."""
    got = await _sounded(resealed("ok can=.* e", "err code=unknown why=x e"))
    assert (True, False) == (got.ours, got.greeted)


@pytest.mark.parametrize("said", [b"login: ", b"READY 3\r\n", b"\xf8\x80\x00", b""])
async def test_something_else_is_kept_to_be_shown(said: bytes) -> None:
    """Whatever it is, it is not ours."""
    got = await _sounded(lambda _: said)
    assert (False, False, None) == (got.ours, got.greeted, got.versions)
    assert got.sample.endswith(said)
    assert bool(said) == bool(got.sample)
