"""The serial port on real pseudo-terminals, with real time.

What the kernel does was measured (Debian 12, Linux 6) and is in the comments beside the checks; the
numbers of devices and of terminal ioctls are those of the kernel's own headers.
"""

import asyncio
import contextlib
import fcntl
import os
import random
import struct
import termios
import threading
from pathlib import Path

import pytest

from tests.device.terminals import Ear, Pty, moment, opened, until
from tests.device.tiny import TinyBox
from tests.loops import turns
from vfod.clock import SystemClock
from vfod.device import serial as ours
from vfod.device.link import Link, Told
from vfod.device.port import WRITE_LIMIT
from vfod.device.serial import SerialPort
from vfod.device.supervise import Supervisor
from vfod.errors import (
    LineError,
    LineLostError,
)
from vfod.wire import messages as m

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


async def test_bytes_go_both_ways(pty: Pty, ear: Ear) -> None:
    """All 256 values pass unchanged: nothing of the terminal is between."""
    line = await opened(pty.path, ear)
    every = bytes(range(256))
    line.write(every)
    assert every == await pty.got(256)
    pty.send(every)
    await ear.until(lambda: len(ear.data) >= 256)
    assert every == ear.data
    line.close()


async def test_old_input_is_dropped(pty: Pty, ear: Ear) -> None:
    """What came before the opening is not read."""
    pty.send(b"from long ago\n")
    await pty.holds(14)
    line = await opened(pty.path, ear)
    pty.send(b"new\n")
    await ear.until(lambda: ear.data.endswith(b"new\n"))
    assert b"new\n" == ear.data
    line.close()


async def test_hang_up_at_close_is_switched_off(pty: Pty, ear: Ear) -> None:
    """HUPCL is clear, so that DTR stays up over a close and the next open resets no board."""
    attributes = termios.tcgetattr(pty.slave)
    attributes[2] |= termios.HUPCL
    termios.tcsetattr(pty.slave, termios.TCSANOW, attributes)
    line = await opened(pty.path, ear)
    attributes = termios.tcgetattr(pty.slave)
    assert 0 == attributes[2] & termios.HUPCL
    # With 0 an empty read would look like the end of file (termios(3)).
    assert 1 == attributes[6][termios.VMIN]
    assert attributes[4] == attributes[5] == termios.B115200
    line.close()


async def test_closing_twice_and_writing_afterwards(pty: Pty, ear: Ear) -> None:
    line = await opened(pty.path, ear)
    line.close()
    line.close()
    line.write(b"nobody")
    await moment()
    assert [] == ear.losses
    with pytest.raises(BlockingIOError):
        os.read(pty.master, 10)


async def test_unplugged(pty: Pty, ear: Ear) -> None:
    """The far end goes: read gives b'' for ever; lost is told once."""
    await opened(pty.path, ear)
    pty.unplug()
    await ear.until(lambda: ear.losses)
    await moment()
    (error,) = ear.losses
    assert isinstance(error, LineLostError)
    assert ("lost", pty.path) == (error.reason, error.port)


async def test_writing_to_what_is_gone(pty: Pty, ear: Ear) -> None:
    """A write gives EIO; it raises nothing and is told once, later."""
    line = await opened(pty.path, ear)
    pty.unplug()
    line.write(b"hello\n")
    line.write(b"hello\n")
    assert [] == ear.losses
    await ear.until(lambda: ear.losses)
    await moment()
    assert 1 == len(ear.losses)


async def test_lost_is_never_told_after_close(pty: Pty, ear: Ear) -> None:
    line = await opened(pty.path, ear)
    pty.unplug()
    line.write(b"hello\n")
    line.close()
    await moment()
    assert [] == ear.losses


async def test_stuck(pty: Pty, ear: Ear) -> None:
    """A far end that takes nothing: once the kernel is full and 512 bytes wait, it is stuck.

    A pseudo-terminal holds some kilobytes; closing it does not wait for them.
    """
    line = await opened(pty.path, ear)
    written = 0
    while not ear.losses and written < 1_000_000:
        line.write(bytes(64))
        written += 64
        await moment(0.001)
    assert ["stuck"] == [error.reason for error in ear.losses]
    assert written < 100_000
    assert WRITE_LIMIT == 512


async def test_a_far_end_that_pauses(pty: Pty, ear: Ear) -> None:
    """Bytes the kernel does not take at once are sent, in order, when it does."""
    line = await opened(pty.path, ear)
    got = b""
    sent = b""
    pauses = 0
    while pauses < 3:
        piece = b"%06d " % len(sent)
        sent += piece
        line.write(piece)
        if line._unsent:  # type: ignore[attr-defined]  # how much a kernel takes is its own affair
            pauses += 1
            got += await pty.got(4096)
    got += await pty.got(len(sent) - len(got))
    assert [] == ear.losses
    assert sent == got
    line.close()


async def test_unplugged_the_loop_is_at_rest() -> None:
    """A hung-up terminal is always readable: whoever ignores that burns a core. Over one second.

    The turns of the loop are counted, which are the same on a slow machine and on a busy one.
    """
    pty = Pty(TinyBox())
    came = asyncio.Event()
    downs: list[LineError] = []

    async def up(_: Link) -> None:
        came.set()

    supervisor = Supervisor(
        SerialPort(pty.path),
        SystemClock(),
        random.Random(1),
        up=up,
        down=downs.append,
        told=lambda _: None,
    )
    running = asyncio.create_task(supervisor.run())
    await came.wait()
    pty.unplug()
    await until(lambda: downs)
    with turns() as counted:
        await moment(1.0)
    running.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await running
    assert "lost" == downs[0].reason
    # Two attempts to open it, and what a thread and a timer take for each.
    assert 0 < counted.count < 50


#: From the kernel's asm-generic/termios.h.
TIOCM_DTR, TIOCM_RTS = 0x002, 0x004


@pytest.mark.parametrize(
    ("dtr", "rts", "expected"),
    [
        ("on", "on", {("raise", TIOCM_DTR), ("raise", TIOCM_RTS)}),
        ("off", "on", {("lower", TIOCM_DTR), ("raise", TIOCM_RTS)}),
        ("on", "off", {("raise", TIOCM_DTR), ("lower", TIOCM_RTS)}),
        ("leave", "off", {("lower", TIOCM_RTS)}),
        ("leave", "leave", set()),
    ],
)
async def test_control_lines(
    pty: Pty,
    ear: Ear,
    monkeypatch: pytest.MonkeyPatch,
    dtr: ours.Lead,
    rts: ours.Lead,
    expected: set[tuple[str, int]],
) -> None:
    """DTR and RTS are raised, lowered or left alone. A pseudo-terminal has none, so the calls to
    the kernel are looked at.
    """
    done = set()
    real = fcntl.ioctl
    names = {termios.TIOCMBIS: "raise", termios.TIOCMBIC: "lower"}

    def noted(fd: int, request: int, argument: bytes) -> object:
        if request in names:
            done.add((names[request], struct.unpack("I", argument)[0]))
            return 0
        return real(fd, request, argument)

    monkeypatch.setattr("serial.serialposix.fcntl.ioctl", noted)
    line = await SerialPort(pty.path, dtr=dtr, rts=rts).open(ear.received, ear.lost)
    line.close()
    assert expected == done


@pytest.mark.parametrize("hardware", [True, False])
async def test_alone_on_the_device(
    pty: Pty, ear: Ear, monkeypatch: pytest.MonkeyPatch, hardware: bool
) -> None:
    """A real device refuses everybody else while it is open (TIOCEXCL).

    A pseudo-terminal keeps that state after its holder was killed (measured), so not there.
    """
    if hardware:
        monkeypatch.setattr(ours, "_PSEUDO_TERMINALS", ())
    line = await opened(pty.path, ear)
    # TIOCGEXCL of asm-generic/ioctls.h: _IOR('T', 0x40, int)
    exclusive = struct.unpack("i", fcntl.ioctl(pty.slave, 0x80045440, bytes(4)))[0]
    assert hardware == bool(exclusive)
    fcntl.ioctl(pty.slave, termios.TIOCNXCL)
    line.close()


async def test_a_box_behind_a_terminal() -> None:
    """Greeting, questions and events over a real device file."""
    box = TinyBox()
    pty = Pty(box)
    told: list[Told] = []
    link = await Link.open(SerialPort(pty.path), SystemClock(), 1, told.append)
    for kilohertz in range(5000, 5200):
        frequency = kilohertz * 1_000_000
        assert m.Tuned(frequency=frequency) == await link.ask(m.Tune(frequency=frequency))
    box.turn(9_000_000_000)
    await until(lambda: told)
    assert [m.Turned(frequency=9_000_000_000, number=1)] == told
    link.close()
    pty.unplug()


async def test_unplugged_fifty_times_in_mid_question(tmp_path: Path) -> None:
    """Fifty boards, one after another behind one stable name, each pulled with a question open.

    Every one is found, and nothing is left over: the marks of this file look for tasks, threads and
    descriptors.
    """
    name = tmp_path / "vfo"
    clock = SystemClock()
    ups: list[Link] = []
    came = asyncio.Event()
    box = TinyBox()
    pty = Pty(box)

    async def up(link: Link) -> None:
        ups.append(link)
        came.set()

    name.symlink_to(pty.path)
    supervisor = Supervisor(
        SerialPort(str(name)),
        clock,
        random.Random(1),
        up=up,
        down=lambda _: None,
        told=lambda _: None,
    )
    running = asyncio.create_task(supervisor.run())
    # Fifty times the shortest pause is longer than a test should take; the loop does not jump
    # here, so the pause is cut.
    supervisor._pause = lambda failures: 0.02  # type: ignore[method-assign]  # see above
    most = 0
    for number in range(50):
        await came.wait()
        came.clear()
        box.settle = 0.5
        question = asyncio.create_task(ups[-1].ask(m.Tune(frequency=7_000_000_000)))
        await moment(0.002)
        pty.unplug()
        with pytest.raises(LineLostError):
            await question
        box = TinyBox(boot=number)
        pty = Pty(box)
        name.unlink()
        name.symlink_to(pty.path)
        closing = [thread for thread in threading.enumerate() if thread.name.startswith("close ")]
        most = max(most, len(closing))
    running.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await running
    pty.unplug()
    assert 50 <= len(ups) <= 51
    assert most <= 2, "an opening waits for the closing before it"
