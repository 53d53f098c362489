"""The box on a pseudo-terminal, which a host opens like any serial device.

The box must not notice how often the host closes and opens its end. While the host has it open,
the simulator keeps no descriptor of that end, so that a search for who holds the port finds the
host alone. While it has not, the simulator holds the end itself, because the kernel otherwise
reports a hang-up for ever; what the box sends then is lost, as on a serial line.
"""

import asyncio
import contextlib
import fcntl
import os
import termios
import tty
from pathlib import Path

from vfod.errors import UsageError
from vfod.sim.box import SimBox
from vfod.sim.pace import BAUD, Pace

_READ_SIZE = 1024


class PtyLine:
    """A pseudo-terminal with `box` behind it, and `link` as a name that stays the same.

    `baud` None sends and takes bytes as fast as the machine can.
    """

    def __init__(self, box: SimBox, *, link: Path | None = None, baud: int | None = BAUD) -> None:
        self._box = box
        self._link = link
        self._baud = baud
        self._loop = asyncio.get_running_loop()
        self._master = -1
        #: The host's end, while no host has it open.
        self._kept = -1
        self.device = ""

    def open(self) -> str:
        """Make the device; gives the name to open. Raises UsageError when `link` is taken."""
        if self._link is not None and self._link.exists() and not self._link.is_symlink():
            raise UsageError(
                f"{self._link} exists and is no symbolic link", remedy="name another --link"
            )
        self.plug()
        return str(self._link or self.device)

    def close(self) -> None:
        """Remove the device and the link."""
        self.unplug()

    def plug(self) -> None:
        """Put the cable in: a new device, which the link points to."""
        if self._master >= 0:
            return
        self._master, self._kept = os.openpty()
        os.set_blocking(self._master, False)
        tty.setraw(self._kept)
        self.device = os.ttyname(self._kept)
        self._down = Pace(self._box.feed, baud=self._baud)
        self._up = Pace(self._write, baud=self._baud)
        self._box.connect(self._up.send)
        self._loop.add_reader(self._master, self._readable)
        if self._link is not None:
            _point(self._link, self.device)

    def unplug(self) -> None:
        """Pull the cable: the host's end hangs up, the link is gone."""
        if self._master < 0:
            return
        self._box.connect(None)
        self._down.cut()
        self._up.cut()
        self._loop.remove_reader(self._master)
        os.close(self._master)
        self._master = -1
        self._let_go()
        if self._link is not None and _points_to(self._link, self.device):
            self._link.unlink()

    def _readable(self) -> None:
        try:
            data = os.read(self._master, _READ_SIZE)
        except BlockingIOError:
            return
        except OSError:
            self._take_back()
            return
        if self._kept >= 0:
            # A host that asked to be alone and ended would leave the device closed for others.
            fcntl.ioctl(self._kept, termios.TIOCNXCL)
            self._let_go()
        self._down.send(data)

    def _take_back(self) -> None:
        """The host has closed its end."""
        try:
            self._kept = os.open(self.device, os.O_RDWR | os.O_NOCTTY)
            tty.setraw(self._kept)
        except OSError:
            # Another host was quicker, asked to be alone and is gone again already.
            self.unplug()
            self.plug()

    def _let_go(self) -> None:
        if self._kept >= 0:
            os.close(self._kept)
            self._kept = -1

    def _write(self, data: bytes) -> None:
        if self._kept < 0:
            # Full or hung up: the host does not read, and a serial line waits for nobody.
            with contextlib.suppress(OSError):
                os.write(self._master, data)


def _point(link: Path, target: str) -> None:
    """Make or move the link in one step, so that it never names nothing."""
    new = link.with_name(f".{link.name}.{os.getpid()}")
    try:
        new.symlink_to(target)
        new.replace(link)
    except OSError as error:
        raise UsageError(f"{link} cannot be made: {error.strerror}") from error


def _points_to(link: Path, target: str) -> bool:
    return link.is_symlink() and str(link.readlink()) == target
