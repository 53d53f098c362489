"""Ports that cannot be opened: each its own error, with the place and the remedy."""

import asyncio
import contextlib
import grp
import os
import pwd
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial.serialposix

from tests.device.terminals import Ear, Pty, failure, moment
from vfod.device import places
from vfod.device.serial import SerialPort
from vfod.errors import (
    LineError,
    PortBusyError,
    PortForbiddenError,
    PortMissingError,
)

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


async def test_open_twice(pty: Pty, ear: Ear) -> None:
    """The second opening is refused and names the holder: this process.

    Closed, the port can be opened again at once, although a thread may still be closing it.
    """
    port = SerialPort(pty.path)
    line = await port.open(ear.received, ear.lost)
    error = await failure(pty.path, ear, PortBusyError)
    assert f"{pty.path} is held by process {os.getpid()} (" in str(error)
    assert "python" in str(error)
    for _ in range(20):
        line.close()
        line = await port.open(ear.received, ear.lost)
    line.close()


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
        process.wait(120)


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
