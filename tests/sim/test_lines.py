"""The box on a real pseudo-terminal and on TCP, in this process, on the machine's own clock."""

import fcntl
import os
import select
import termios
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.loops import _descriptors
from tests.sim.terminal import Terminal
from vfod.clock import SystemClock
from vfod.device.serial import SerialPort
from vfod.device.tcp import TcpPort
from vfod.errors import PortMissingError, UsageError
from vfod.sim.pty import PtyLine
from vfod.sim.scenario import BoxSetup, Scenario
from vfod.sim.tcp import TcpLine
from vfod.sim.world import World, build

pytestmark = pytest.mark.real_time

#: Linux asm-generic/ioctls.h: _IOR('T', 0x40, int); Python's termios does not have it.
TIOCGEXCL = 0x80045440


@pytest.fixture
async def world() -> AsyncIterator[World]:
    world = build(Scenario(box=BoxSetup(settle=0.0)), clock=SystemClock())
    yield world
    world.box.close()


@pytest.fixture
async def terminal() -> AsyncIterator[Terminal]:
    terminal = Terminal()
    yield terminal
    terminal.close()


@pytest.mark.no_leaks
async def test_the_host_may_close_and_open_its_end_again(
    world: World, terminal: Terminal, tmp_path: Path
) -> None:
    """The box does not notice, whether the host says something in between or not."""
    link = tmp_path / "vfo"
    pty = PtyLine(world.box, link=link, baud=None)
    assert str(link) == pty.open()
    device = link.readlink()
    port = SerialPort(str(link))
    await terminal.open(port)
    await terminal.ok("tune f=8000000")
    for word in ("ping", "", "ping"):
        terminal.close()
        await terminal.pause(0.05)
        await terminal.open(port)
        if word:
            await terminal.ok(word)
    assert "8000000.000" == (await terminal.ok("read"))["f"]
    assert device == link.readlink()
    terminal.close()
    pty.close()
    assert not link.is_symlink()
    await terminal.pause(0.05)


async def test_a_host_that_asked_to_be_alone_and_ended_leaves_no_locked_door(
    world: World,
) -> None:
    """TIOCEXCL would outlive the host on a pseudo-terminal, for all but the super-user."""
    pty = PtyLine(world.box, baud=None)
    host = os.open(pty.open(), os.O_RDWR | os.O_NOCTTY)
    fcntl.ioctl(host, termios.TIOCEXCL)
    os.write(host, b"ping\n")
    await Terminal().until(lambda: select.select([host], [], [], 0)[0])
    assert os.read(host, 100).startswith(b"ok boot=")
    state = bytearray(4)
    fcntl.ioctl(host, TIOCGEXCL, state)
    assert bytes(4) == bytes(state)
    os.close(host)
    await Terminal().pause(0.05)
    pty.close()


async def test_while_the_host_has_it_open_nobody_else_holds_the_device(
    world: World, terminal: Terminal
) -> None:
    """A search for the holder of a busy port finds the host once, and not the simulator."""
    pty = PtyLine(world.box, baud=None)
    name = pty.open()
    await terminal.open(SerialPort(name))
    await terminal.ok("ping")
    assert 1 == sum(end == name for _, end in _descriptors())
    terminal.close()
    await terminal.pause(0.05)
    pty.close()


async def test_an_unplugged_pseudo_terminal_hangs_up_and_comes_back(
    world: World, terminal: Terminal, tmp_path: Path
) -> None:
    """The host's line is lost, the link is gone, and after plugging in it names a device again."""
    link = tmp_path / "vfo"
    pty = PtyLine(world.box, link=link)
    port = SerialPort(pty.open())
    await terminal.open(port)
    await terminal.ok("ping")
    pty.unplug()
    await terminal.until(lambda: terminal.lost)
    assert ["lost"] == [error.reason for error in terminal.lost]
    with pytest.raises(PortMissingError):
        await terminal.open(port)
    pty.plug()
    await terminal.open(port)
    await terminal.ok("ping")
    terminal.close()
    pty.close()


async def test_a_file_in_the_way_of_the_link_is_left_alone(world: World, tmp_path: Path) -> None:
    """The link replaces an old link, never anything else; a missing folder is said."""
    link = tmp_path / "vfo"
    link.write_text("precious")
    with pytest.raises(UsageError, match="no symbolic link"):
        PtyLine(world.box, link=link).open()
    assert "precious" == link.read_text()
    with pytest.raises(UsageError, match="cannot be made"):
        PtyLine(world.box, link=tmp_path / "none" / "vfo").open()
    dangling = tmp_path / "old"
    dangling.symlink_to("/dev/pts/none")
    pty = PtyLine(world.box, link=dangling)
    pty.open()
    assert pty.device == str(dangling.readlink())
    pty.close()


async def test_what_nobody_reads_is_lost_and_not_kept(world: World, terminal: Terminal) -> None:
    """As on a serial line: a turn while no host is there is not told to the next one."""
    pty = PtyLine(world.box, baud=None)
    name = pty.open()
    world.box.turn(1)
    await terminal.pause(0.1)
    world.box.turn(1)
    await terminal.pause(0.1)
    await terminal.open(SerialPort(name))
    assert "3" == (await terminal.ok("ping"))["h"]
    assert [] == terminal.events
    terminal.close()
    pty.close()


@pytest.mark.no_leaks
async def test_tcp_serves_one_client_at_a_time(world: World, terminal: Terminal) -> None:
    """A second client is turned away at once, and served when the first has gone."""
    server = await TcpLine(world.box).open()
    host, port = server.address.removeprefix("socket://").split(":")
    await terminal.open(TcpPort(host, int(port)))
    await terminal.ok("ping")
    second = Terminal()
    await second.open(TcpPort(host, int(port)))
    await terminal.until(lambda: second.lost)
    assert ["lost"] == [error.reason for error in second.lost]
    await terminal.ok("ping")
    terminal.close()
    await terminal.until(lambda: server.client is None)
    await second.open(TcpPort(host, int(port)))
    await second.ok("ping")
    server.unplug()
    await terminal.until(lambda: len(second.lost) == 2)
    server.plug()
    await second.open(TcpPort(host, int(port)))
    await second.ok("ping")
    second.close()
    server.close()
    await terminal.pause(0.05)


async def test_a_taken_address_is_said(world: World) -> None:
    """One line with the address and what to do."""
    server = await TcpLine(world.box).open()
    port = int(server.address.rpartition(":")[2])
    with pytest.raises(UsageError, match=f"127.0.0.1:{port} cannot be listened at"):
        await TcpLine(world.box, port=port).open()
    server.close()
