"""The line in memory: paced, pluggable, and a night on it is cheap and exact."""

import asyncio
from collections.abc import AsyncIterator

import pytest

from tests.sim.conftest import EVENING
from tests.sim.terminal import Terminal, sealed
from vfod.errors import LineError, LineLostError, PortBusyError, PortMissingError
from vfod.sim.faults import FaultyPort
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import BoxSetup, Move, Scenario
from vfod.sim.world import World, build, follow


@pytest.fixture
async def world() -> AsyncIterator[World]:
    world = build(Scenario(box=BoxSetup(settle=0.0)), clock=SimClock(wall=EVENING))
    yield world
    world.box.close()


@pytest.fixture
async def terminal() -> AsyncIterator[Terminal]:
    terminal = Terminal()
    yield terminal
    terminal.close()


@pytest.mark.parametrize(("baud", "delay"), [(115_200, 0.0), (9_600, 0.0), (115_200, 0.25)])
async def test_bytes_take_the_time_of_a_serial_line(
    world: World, terminal: Terminal, baud: int, delay: float
) -> None:
    """Ten bits a byte (8N1), both ways, and the delay of the way twice."""
    await terminal.open(MemoryPort(world.box, baud=baud, delay=delay))
    loop = asyncio.get_running_loop()
    request = sealed("#0001 ping")
    begun = loop.time()
    terminal.send(request)
    reply = await terminal.answer()
    bits = 10 * (len(request) + len(reply.raw) + 1)
    assert bits / baud + 2 * delay == pytest.approx(loop.time() - begun, abs=1e-6)


async def test_lines_sent_together_arrive_one_after_the_other(
    world: World, terminal: Terminal
) -> None:
    """The second one waits until the first has gone over the line."""
    await terminal.open(MemoryPort(world.box, baud=9_600))
    for tag in ("#0001", "#0002"):
        terminal.send(sealed(f"{tag} ping"))
    first, second = await terminal.answer(), await terminal.answer()
    assert 10 * len(sealed("#0002 ping")) / 9_600 <= second.at - first.at


async def test_unplugged_is_told_once_and_the_port_is_gone_until_plugged(
    world: World, terminal: Terminal
) -> None:
    """LineLostError through `lost`, PortMissingError at opening; the box has kept running."""
    port = MemoryPort(world.box)
    await terminal.open(port)
    await terminal.ok("tune f=8000000")
    terminal.send(sealed("#0001 ping"))
    port.unplug()
    await terminal.nothing()
    assert [LineLostError] == [type(error) for error in terminal.lost]
    with pytest.raises(PortMissingError):
        await terminal.open(port)
    port.plug()
    await terminal.open(port)
    assert "8000000.000" == (await terminal.ok("read"))["f"]
    assert 1 == len(terminal.lost)


async def test_a_line_that_was_closed_says_no_more(world: World, terminal: Terminal) -> None:
    """Neither bytes nor a loss after `close`, even when both were on their way."""
    port = MemoryPort(world.box)
    await terminal.open(port)
    terminal.send(sealed("#0001 ping"))
    port.unplug()
    terminal.close()
    await terminal.nothing()
    assert [] == terminal.lost


async def test_only_one_may_have_the_port(world: World, terminal: Terminal) -> None:
    """PortBusyError for the second, until the first has closed."""
    port = MemoryPort(world.box)
    await terminal.open(port)
    with pytest.raises(PortBusyError):
        await Terminal().open(port)
    terminal.close()
    await terminal.open(port)
    await terminal.ok("ping")


async def test_a_simulator_that_is_started_again_is_another_boot(world: World) -> None:
    """A host tells a restart by the boot id, so two runs of one seed must not share it."""
    later = build(world.scenario, clock=SimClock(wall=EVENING + 60))
    assert world.box.boot != later.box.boot
    later.box.close()


async def test_the_hand_of_a_scenario_moves_in_time(world: World, terminal: Terminal) -> None:
    """Each move at its second, in the order of time: turn, button, unplug, plug, reset."""
    port = MemoryPort(world.box)
    await terminal.open(port)
    start = world.box.oscillator
    moves = [
        Move(after=3.0, press="4"),
        Move(after=2.0, turn=3),
        Move(after=4.0, do="unplug"),
        Move(after=5.0, do="plug"),
        Move(after=6.0, do="reset"),
    ]
    boot = world.box.boot
    await follow(moves, world.box, port, world.clock)
    told = [(event.word, round(event.at, 1)) for event in terminal.events]
    assert [("knob", 2.0), ("button", 3.0)] == told
    assert f"{start / 1000 + 3000:.3f}" == terminal.events[0].fields["f"]
    assert 1 == len(terminal.lost)
    assert boot != world.box.boot
    assert 6.0 == pytest.approx(world.clock.monotonic())


# --- faults --------------------------------------------------------------------------------------


async def test_a_silent_line_and_its_end(world: World, terminal: Terminal) -> None:
    """Open, but nothing comes through either way; afterwards it works again."""
    port = FaultyPort(MemoryPort(world.box))
    await terminal.open(port)
    port.silent = True
    terminal.send(sealed("#0001 tune f=8000000"))
    await terminal.nothing()
    assert 8_000_000_000 != world.box.oscillator
    port.silent = False
    await terminal.ok("ping")


async def test_a_stuck_line_is_lost_after_a_few_lines(world: World, terminal: Terminal) -> None:
    """As a port does whose far end takes no more bytes: reason "stuck", told once."""
    port = FaultyPort(MemoryPort(world.box))
    await terminal.open(port)
    port.stuck = True
    for _ in range(60):
        terminal.send(sealed("#0001 ping"))
    await terminal.nothing()
    assert ["stuck"] == [error.reason for error in terminal.lost]
    port.stuck = False
    await terminal.open(port)
    await terminal.ok("ping")


async def test_garbage_and_a_foreign_probe_come_out_of_nothing(
    world: World, terminal: Terminal
) -> None:
    """The host receives the one, the box answers the other."""
    received: list[bytes] = []
    port = FaultyPort(MemoryPort(world.box))
    line = await port.open(received.append, _never)
    port.garble(b"\x00\xffnoise")
    port.intrude(b"AT\r")
    await terminal.pause(0.1)
    assert b"\x00\xffnoise" == received[0]
    assert b"checksum" not in received[1]
    assert received[1].startswith(b"err code=syntax")
    line.close()
    port.garble(b"more")
    assert 2 == len(received)


@pytest.mark.parametrize("kind", ["loses_one_in", "doubles_one_in"])
async def test_lost_and_doubled_bytes_are_about_as_many_as_asked_for(
    world: World, kind: str
) -> None:
    """One in fifty of 20,000: 400, within four deviations."""
    port = FaultyPort(MemoryPort(world.box))
    setattr(port, kind, 50)
    left = len(b"".join(port.damaged(b"0123456789" * 10) for _ in range(200)))
    assert 400 == pytest.approx(abs(left - 20_000), abs=80)
    setattr(port, kind, 0)
    assert b"0123456789" == port.damaged(b"0123456789")


def _never(error: LineError) -> None:
    raise AssertionError(error)
