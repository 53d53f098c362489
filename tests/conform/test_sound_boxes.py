"""The conformance check passes on every box that is right, whatever it hangs on."""

import asyncio
import json
import sys
from collections.abc import AsyncIterator
from contextlib import aclosing
from pathlib import Path

import pytest

from tests.conform.rig import (
    BATTERY,
    by_command,
    by_hand,
    failed,
    hand_on,
    outcomes,
    passed_whole,
    skipped,
)
from vfod.cli.verbs import run
from vfod.clock import Clock, SystemClock
from vfod.conform.run import conform
from vfod.conform.table import POINTS
from vfod.device.address import port_from
from vfod.device.port import Line, Lost, Received
from vfod.errors import LineError
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.pty import PtyLine
from vfod.sim.scenario import BoxSetup, Scenario
from vfod.sim.tcp import TcpLine
from vfod.sim.world import build

MINIMAL = Path(__file__).parents[1] / "system" / "minimal_box.py"
#: 2026-11-25 19:00 UTC.
EVENING = 1_795_633_200.0


def _simulated(clock: Clock, **setup: object):  # type: ignore[no-untyped-def]  # a world
    return build(Scenario(box=BoxSetup(**setup)), clock=clock)  # type: ignore[arg-type]  # as given


def test_the_table_is_as_large_as_promised() -> None:
    """At least 60 points, each with a name of its own and a paragraph that the document has."""
    document = (Path(__file__).parents[2] / "docs" / "protocol.md").read_text(encoding="utf-8")
    assert len(POINTS) >= 60
    assert len(POINTS) == len({point.name for point in POINTS})
    assert [] == [point.name for point in POINTS if f"**{point.paragraph}**" not in document]


async def test_in_memory_with_a_hand() -> None:
    """Every point of what it can, the whole minute too; the box is left as it was found."""
    clock = SimClock(wall=EVENING)
    world = _simulated(clock, settle=0.02, battery=BATTERY)
    world.box.output, world.box.select, world.box.step = True, 5, 500
    before = world.box.oscillator
    hand = hand_on(world.box, clock, drains=True)
    found = await outcomes(MemoryPort(world.box), clock, hand, quick=False)
    assert [] == failed(found)
    assert {"cannot-output", "cannot-select", "cannot-mute", "cannot-knob"} == set(skipped(found))
    box = world.box
    assert (before, True, 5, 500) == (box.oscillator, box.output, box.select, box.step)
    world.box.close()


async def test_a_reset_that_takes_the_port_away() -> None:
    """As a USB device of its own does; the boot event is lost, and that is no fault of the box."""
    clock = SimClock(wall=EVENING)
    world = _simulated(clock)
    port = MemoryPort(world.box)
    hand = hand_on(world.box, clock)

    async def pulls(deed: str) -> bool | None:
        done = await hand(deed)
        if deed == "reset":
            port.unplug()
            asyncio.get_running_loop().call_later(2.0, port.plug)
        return done

    found = await outcomes(port, clock, pulls)
    assert [] == failed(found)
    assert "reset" not in skipped(found)
    world.box.close()


async def test_a_hand_that_cannot_do_it() -> None:
    """What a person gives up is skipped and says so."""
    clock = SimClock(wall=EVENING)
    world = _simulated(clock)

    async def cannot(_: str) -> bool:
        return False

    found = await outcomes(MemoryPort(world.box), clock, cannot)
    assert [] == failed(found)
    deeds = {point.name for point in POINTS if point.deed}
    assert dict.fromkeys(deeds, "that could not be done here") == {
        name: why for name, why in skipped(found).items() if name in deeds
    }
    world.box.close()


class MidLine:
    """A port that was closed in the middle of a line: the rest of it is there at opening."""

    name = "memory"

    def __init__(self, inner: MemoryPort) -> None:
        self._inner = inner

    async def open(self, received: Received, lost: Lost) -> Line:
        line = await self._inner.open(received, lost)
        received(b"ok f=99 e=1 h=0 *0000\n")
        return line


async def test_a_port_opened_in_the_middle_of_a_line() -> None:
    """The rest of a line that nobody took is no line of the box."""
    clock = SimClock(wall=EVENING)
    world = _simulated(clock)
    found = await outcomes(MidLine(MemoryPort(world.box)), clock, None)
    assert [] == failed(found)
    world.box.close()


async def test_a_port_that_stays_away() -> None:
    """A line that is lost for good ends the check with that error."""
    clock = SimClock(wall=EVENING)
    world = _simulated(clock)
    port = MemoryPort(world.box)

    async def pulls(deed: str) -> None:
        port.unplug()

    with pytest.raises(LineError):
        await outcomes(port, clock, pulls)
    world.box.close()


async def test_ended_in_the_middle_it_is_left_as_found_too() -> None:
    """Ctrl-C while the output is switched."""
    clock = SimClock(wall=EVENING)
    world = _simulated(clock, settle=0.02)
    world.box.output = True
    before = world.box.oscillator

    async def until_select() -> None:
        going = conform(MemoryPort(world.box), clock)
        async with aclosing(going) as each:
            async for outcome in each:
                if outcome.point.name == "tune-leaves-output":
                    assert not world.box.output
                    await asyncio.Event().wait()

    task = asyncio.create_task(until_select())
    await clock.sleep_until(clock.monotonic() + 60.0)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert (before, True) == (world.box.oscillator, world.box.output)
    world.box.close()


async def test_without_any_ability() -> None:
    """What it cannot do is skipped, saying so, and refused with `unknown`."""
    clock = SimClock(wall=EVENING)
    world = _simulated(clock, abilities=frozenset())
    found = await outcomes(MemoryPort(world.box), clock, hand_on(world.box, clock))
    assert [] == failed(found)
    assert "it has not the ability output" == skipped(found)["output"]
    assert "cannot-output" not in skipped(found)
    world.box.close()


async def test_a_slow_and_coarse_box() -> None:
    """Half a second to settle, and steps of 15 Hz."""
    clock = SimClock(wall=EVENING)
    world = _simulated(clock, settle=0.5, resolution=15_000)
    found = await outcomes(MemoryPort(world.box), clock, hand_on(world.box, clock))
    assert [] == failed(found)
    world.box.close()


@pytest.mark.real_time
@pytest.mark.no_leaks
async def test_on_a_pseudo_terminal() -> None:
    """As on a serial device: what a hand does."""
    clock = SystemClock()
    world = _simulated(clock)
    line = PtyLine(world.box)
    found = await by_hand(port_from(line.open()), clock, hand_on(world.box, clock))
    assert [] == failed(found)
    assert ["battery-low"] == list(skipped(found))
    line.close()
    world.box.close()


@pytest.mark.real_time
async def test_the_command_on_a_pseudo_terminal() -> None:
    """On the simulator; the frequency and the output are as they were."""
    world = _simulated(SystemClock())
    world.box.output = True
    before = world.box.oscillator
    line = PtyLine(world.box)
    passed_whole(*await by_command(line.open()), least=130)
    assert (before, True) == (world.box.oscillator, world.box.output)
    line.close()
    world.box.close()


@pytest.mark.real_time
async def test_the_command_over_tcp() -> None:
    """The same through a socket; what a hand must do is skipped and says why."""
    world = _simulated(SystemClock())
    line = await TcpLine(world.box).open()
    code, told = await by_command(line.address)
    passed_whole(code, told, least=130)
    why = {one["name"]: one["note"] for one in told["points"]}
    for point in POINTS:
        assert not point.deed or "left out by --no-hands" == why[point.name]
    line.close()
    world.box.close()


@pytest.fixture
async def minimal() -> AsyncIterator[str]:
    process = await asyncio.create_subprocess_exec(
        sys.executable, str(MINIMAL), stdout=asyncio.subprocess.PIPE
    )
    assert process.stdout is not None
    yield f"socket://127.0.0.1:{int(await process.stdout.readline())}"
    process.kill()
    await process.wait()


@pytest.mark.real_time
async def test_on_the_box_written_from_the_document_alone(
    minimal: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the command: exit code 0, and JSON with every point."""
    words = ["conform", minimal, "--no-hands", "--quick", "--json"]
    assert 0 == await asyncio.to_thread(run, words)
    told = json.loads(capsys.readouterr().out)
    assert not told["failed"]
    assert [point.name for point in POINTS] == [point["name"] for point in told["points"]]
    by_name = {point["name"]: point for point in told["points"]}
    assert "skipped" == by_name["output"]["verdict"]
    assert "passed" == by_name["cannot-output"]["verdict"]
