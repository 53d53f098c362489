"""The serial port on real pseudo-terminals, with real time.

What the kernel does was measured (Debian 12, Linux 6) and is in the comments beside the checks; the
numbers of devices and of terminal ioctls are those of the kernel's own headers.
"""

import asyncio
import contextlib
import fcntl
import grp
import os
import pwd
import random
import re
import resource
import socket
import struct
import subprocess
import sys
import termios
import threading
import tty
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import pytest
import serial.serialposix

from tests.device.tiny import TinyBox
from vfod.clock import SystemClock
from vfod.device import places
from vfod.device import serial as ours
from vfod.device.link import Link, Told
from vfod.device.port import WRITE_LIMIT, Line
from vfod.device.serial import SerialPort
from vfod.device.supervise import Supervisor
from vfod.errors import (
    LineError,
    LineLostError,
    PortBusyError,
    PortForbiddenError,
    PortMissingError,
)
from vfod.wire import messages as m

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


class Pty:
    """A pseudo-terminal; the far end is `master`, and may have a box behind it."""

    def __init__(self, box: TinyBox | None = None) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.path = os.ttyname(slave)
        # Kept, so that the far end does not see a hang-up when the host is away.
        self._slave = slave
        self._watched = box is not None
        os.set_blocking(self.master, False)
        if box is not None:
            box.send = self.send
            loop = asyncio.get_running_loop()
            loop.add_reader(self.master, lambda: box.feed(os.read(self.master, 4096)))

    def send(self, data: bytes) -> None:
        os.write(self.master, data)

    def unplug(self) -> None:
        if self.master >= 0:
            if self._watched:
                asyncio.get_running_loop().remove_reader(self.master)
            os.close(self.master)
            os.close(self._slave)
            self.master = self._slave = -1


@pytest.fixture
async def pty() -> AsyncIterator[Pty]:
    made = Pty()
    yield made
    made.unplug()


class Ear:
    """What a line told."""

    def __init__(self) -> None:
        self.data = b""
        self.losses: list[LineError] = []
        self._changed = asyncio.Event()

    def received(self, data: bytes) -> None:
        self.data += data
        self._changed.set()

    def lost(self, error: LineError) -> None:
        self.losses.append(error)
        self._changed.set()

    async def until(self, true: Callable[[], object]) -> None:
        async with asyncio.timeout(5):
            while not true():
                self._changed.clear()
                await self._changed.wait()


@pytest.fixture
async def ear() -> Ear:
    return Ear()


async def opened(path: str, ear: Ear) -> Line:
    return await SerialPort(path).open(ear.received, ear.lost)


async def moment(seconds: float = 0.05) -> None:
    clock = SystemClock()
    await clock.sleep_until(clock.monotonic() + seconds)


async def failure(path: str, ear: Ear, kind: type[LineError]) -> LineError:
    with pytest.raises(kind) as caught:
        await opened(path, ear)
    return caught.value


# --- bytes ---------------------------------------------------------------------------------------


async def test_bytes_go_both_ways(pty: Pty, ear: Ear) -> None:
    """All 256 values pass unchanged: nothing of the terminal is between."""
    line = await opened(pty.path, ear)
    every = bytes(range(256))
    line.write(every)
    await moment()
    assert every == os.read(pty.master, 4096)
    pty.send(every)
    await ear.until(lambda: len(ear.data) >= 256)
    assert every == ear.data
    line.close()


async def test_old_input_is_dropped(pty: Pty, ear: Ear) -> None:
    """What came before the opening is not read."""
    pty.send(b"from long ago\n")
    await moment()
    line = await opened(pty.path, ear)
    pty.send(b"new\n")
    await ear.until(lambda: ear.data.endswith(b"new\n"))
    assert b"new\n" == ear.data
    line.close()


async def test_hang_up_at_close_is_switched_off(pty: Pty, ear: Ear) -> None:
    """HUPCL is clear, so that DTR stays up over a close and the next open resets no board."""
    line = await opened(pty.path, ear)
    attributes = termios.tcgetattr(pty._slave)
    assert 0 == attributes[2] & termios.HUPCL
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


# --- lost ----------------------------------------------------------------------------------------


async def test_unplugged(pty: Pty, ear: Ear) -> None:
    """The far end goes: read gives b'' for ever; lost is told once, within milliseconds."""
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
    while len(sent) < 40_000:
        piece = b"%06d " % len(sent)
        sent += piece
        line.write(piece)
        if len(sent) % 4096 < 7:
            await moment(0.001)
            with contextlib.suppress(BlockingIOError):
                got += os.read(pty.master, 4096)
    for _ in range(200):
        await moment(0.001)
        with contextlib.suppress(BlockingIOError):
            got += os.read(pty.master, 4096)
    assert [] == ear.losses
    assert sent == got
    line.close()


async def test_cpu_while_unplugged_is_small() -> None:
    """A hung-up terminal is always readable: whoever ignores that burns a core. Over one second."""
    pty = Pty(TinyBox())
    downs: list[LineError] = []
    supervisor = Supervisor(
        SerialPort(pty.path),
        SystemClock(),
        random.Random(1),
        up=_nothing,
        down=downs.append,
        told=lambda _: None,
    )
    running = asyncio.create_task(supervisor.run())
    await moment(0.2)
    pty.unplug()
    await moment(0.1)
    before = resource.getrusage(resource.RUSAGE_SELF)
    await moment(1.0)
    after = resource.getrusage(resource.RUSAGE_SELF)
    running.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await running
    assert "lost" == downs[0].reason
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    assert used < 0.02


async def _nothing(link: Link) -> None:
    """Nothing is set up."""


# --- opening that fails --------------------------------------------------------------------------


async def test_open_twice(pty: Pty, ear: Ear) -> None:
    """The second opening is refused and names the holder: this process."""
    line = await opened(pty.path, ear)
    error = await failure(pty.path, ear, PortBusyError)
    assert f"{pty.path} is held by process {os.getpid()} (" in str(error)
    assert "python" in str(error)
    line.close()
    again = await opened(pty.path, ear)
    again.close()


@pytest.fixture
def holder(pty: Pty) -> Iterator[int]:
    """The process number of somebody else who has the port."""
    holds = (
        "import fcntl, sys\n"
        "port = open(sys.argv[1], 'r+b', buffering=0)\n"
        "fcntl.flock(port, fcntl.LOCK_EX)\n"
        "print('held', flush=True)\n"
        "sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", holds, pty.path], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert b"held\n" == process.stdout.readline()
        yield process.pid
        assert process.stdin is not None
        process.stdin.close()
        process.wait(10)


async def test_held_by_another_process(pty: Pty, holder: int, ear: Ear) -> None:
    """The holder is named by number and command."""
    error = await failure(pty.path, ear, PortBusyError)
    assert re.search(rf"process {holder} \(.*python.* -c import fcntl", str(error))


async def test_missing(ear: Ear, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No such port; the remedy lists those that are there."""
    monkeypatch.setattr(places, "STABLE_NAMES", tmp_path)
    error = await failure("/dev/ttyNOWHERE", ear, PortMissingError)
    assert "/dev/ttyNOWHERE: there is no such port" in str(error)
    assert "plug the VFO in" in str(error)
    (tmp_path / "usb-One_VFO-if00").touch()
    error = await failure("/dev/ttyNOWHERE", ear, PortMissingError)
    assert "usb-One_VFO-if00" in error.remedy
    assert ("missing", "/dev/ttyNOWHERE") == (error.reason, error.port)


async def test_a_link_that_leads_nowhere(ear: Ear, tmp_path: Path) -> None:
    (tmp_path / "vfo").symlink_to("/dev/ttyNOWHERE")
    error = await failure(str(tmp_path / "vfo"), ear, PortMissingError)
    assert "leads to /dev/ttyNOWHERE, which is not there" in str(error)


async def test_a_link_to_itself(ear: Ear, tmp_path: Path) -> None:
    (tmp_path / "vfo").symlink_to(tmp_path / "vfo")
    error = await failure(str(tmp_path / "vfo"), ear, LineError)
    assert "leads to itself" in str(error)


@pytest.fixture
def things(tmp_path: Path) -> Iterator[Path]:
    (tmp_path / "directory").mkdir()
    (tmp_path / "ordinary").write_text("not a port")
    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as bound:
        bound.bind(str(tmp_path / "socket"))
        yield tmp_path


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("directory", "is a directory"),
        ("ordinary", "is an ordinary file"),
        ("pipe", "is a named pipe"),
        ("socket", "is a Unix socket"),
        ("/dev/null", "is not a serial port"),
        ("ordinary/vfo", "there is no such port"),
    ],
)
async def test_what_is_no_serial_port(ear: Ear, things: Path, name: str, says: str) -> None:
    """Each kind of file is told apart, and none of them blocks the opening."""
    error = await failure(str(things / name), ear, LineError)
    assert says in str(error)


#: Tries once before it becomes nobody, because nobody may not read every library.
_NOBODY = """
import asyncio, os, sys
from vfod.device.serial import SerialPort
from vfod.errors import LineError

async def attempt(path):
    try:
        await SerialPort(path).open(print, print)
    except LineError as error:
        return f"{error.reason} {error}"

asyncio.run(attempt("/dev/ttyNOWHERE"))
if os.getuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
print(asyncio.run(attempt(sys.argv[1])))
"""


@pytest.mark.parametrize("mode", [0o660, 0o600])
def test_not_permitted(mode: int) -> None:
    """The group of the device file is named, and how to join it, unless that would not help.

    Root may everything, so a child asks that has become nobody.
    """
    master, slave = os.openpty()
    device = Path(os.ttyname(slave))
    device.chmod(mode if os.getuid() == 0 else mode & 0o060)
    group = grp.getgrgid(device.stat().st_gid).gr_name
    done = subprocess.run(
        [sys.executable, "-c", _NOBODY, str(device)], capture_output=True, text=True, check=False
    )
    os.close(master)
    os.close(slave)
    assert "" == done.stderr
    assert done.stdout.startswith(f"forbidden {device}: ")
    if mode & 0o060:
        user = pwd.getpwuid(os.getuid() or 65534).pw_name
        assert f"it belongs to the group {group}: sudo usermod -aG {group} {user}" in done.stdout
    else:
        assert f"let its group use it: sudo chmod g+rw {device}" in done.stdout


def test_forbidden_by_a_folder() -> None:
    """Where not even the file can be looked at, no group is made up."""
    error = places.refusal("/dev/ttyNOWHERE", PermissionError(13, "Permission denied"))
    assert isinstance(error, PortForbiddenError)
    assert "administrator" in str(error)


async def test_a_speed_that_cannot_be(pty: Pty, ear: Ear, monkeypatch: pytest.MonkeyPatch) -> None:
    """A driver that refuses the speed: the error names it."""

    def refuse(self: object, speed: int) -> None:
        raise ValueError("Failed to set custom baud rate")

    monkeypatch.setattr(serial.serialposix.Serial, "_set_special_baudrate", refuse)
    with pytest.raises(LineError, match="cannot be set to 12345 baud"):
        await SerialPort(pty.path, 12345).open(ear.received, ear.lost)


async def test_opening_may_be_cancelled(pty: Pty, ear: Ear) -> None:
    """A descriptor that arrives after nobody wants it any more is closed."""
    port = SerialPort(pty.path)
    for _ in range(5):
        opening = asyncio.create_task(port.open(ear.received, ear.lost))
        await moment(0.001)
        opening.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            (await opening).close()
    await moment(0.1)
    line = await port.open(ear.received, ear.lost)
    line.close()


# --- control lines -------------------------------------------------------------------------------

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
    exclusive = struct.unpack("i", fcntl.ioctl(pty._slave, 0x80045440, bytes(4)))[0]
    assert hardware == bool(exclusive)
    fcntl.ioctl(pty._slave, termios.TIOCNXCL)
    line.close()


# --- with a box ----------------------------------------------------------------------------------


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
    await moment()
    assert [m.Turned(frequency=9_000_000_000, number=1)] == told
    link.close()
    pty.unplug()


async def test_unplugged_fifty_times_in_mid_question(tmp_path: Path) -> None:
    """Fifty boards, one after another behind one stable name, each pulled with a question open.

    Every one is found within 2 s, and nothing is left over: the marks of this file look for tasks,
    threads and descriptors.
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
    threads = 0
    for number in range(50):
        async with asyncio.timeout(2):
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
        threads = max(threads, threading.active_count())
    running.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await running
    pty.unplug()
    assert 50 <= len(ups) <= 51
    assert threads <= 8
