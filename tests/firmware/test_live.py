"""The responder as a process under the sanitizers, on a pseudo-terminal, and the daemon's parts."""

import asyncio
import os
import subprocess
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.firmware.sweeping import CHANNELS, observed, sweep
from vfod import events as e
from vfod.clock import SystemClock
from vfod.device.address import port_from
from vfod.device.link import Link, Told
from vfod.errors import HandError, OutOfRangeError
from vfod.wire import messages as m

pytestmark = pytest.mark.real_time


class LiveBox:
    """A box on the device `port`; a hand on it is `do`."""

    def __init__(self, program: Path) -> None:
        self._master, self._kept = os.openpty()
        tty.setraw(self._kept)
        self.port = os.ttyname(self._kept)
        hand, self._hand = os.pipe()
        words = [str(program), "live", "20", str(hand)]
        self._process = subprocess.Popen(
            words, stdin=self._master, stdout=self._master, pass_fds=[hand]
        )
        os.close(hand)

    def do(self, command: str) -> None:
        os.write(self._hand, command.encode("ascii") + b"\n")

    def close(self) -> int:
        os.close(self._hand)
        code = self._process.wait(120)
        os.close(self._master)
        os.close(self._kept)
        return code


@pytest.fixture
def box(program: Callable[..., Path]) -> Iterator[LiveBox]:
    made = LiveBox(program())
    yield made
    assert 0 == made.close()


async def test_the_link_greets_tunes_and_hears_the_hand(box: LiveBox) -> None:
    """Greeting, tune, reading, switches, a turn that is told, and the refusal that it causes."""
    told: asyncio.Queue[Told] = asyncio.Queue()
    link = await Link.open(port_from(box.port), SystemClock(), 0x1000, told.put_nowait)
    try:
        assert ("reference", 1) == (
            link.greeting.identity.model,
            link.greeting.identity.protocol,
        )
        assert frozenset(m.Ability) == link.greeting.abilities.can
        assert 160_000_000_000 == link.greeting.limits.high
        assert m.Tuned(frequency=9_875_000_001) == await link.ask(m.Tune(frequency=9_875_000_001))
        for switch in (m.Output(on=True), m.Select(n=15), m.Mute(on=True), m.Step(hertz=5)):
            await link.ask(switch)
        assert m.Reading(
            frequency=9_875_000_001,
            output=True,
            select=15,
            muted=True,
            step=5,
            level=1234,
            battery=3700,
            temperature=21.5,
        ) == await link.ask(m.Read())
        with pytest.raises(OutOfRangeError):
            await link.ask(m.Tune(frequency=1))
        box.do("turn 9870000000")
        assert m.Turned(frequency=9_870_000_000, number=2) == await told.get()
        with pytest.raises(HandError):
            await link.ask(m.Tune(frequency=9_880_000_000, hand=0))
        await link.ask(m.Tune(frequency=9_880_000_000, hand=2))
    finally:
        link.close()


async def test_the_daemon_sweeps_and_a_reset_costs_no_channel(box: LiveBox, tmp_path: Path) -> None:
    """Two bands are swept, though the box starts anew in the middle."""
    seen = await sweep(box.port, tmp_path, disturb=lambda: box.do("reset 77"))
    assert CHANNELS == observed(seen)
    assert 1 == len([one for one in seen if isinstance(one, e.BoxReset)])
