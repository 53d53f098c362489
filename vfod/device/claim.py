"""One daemon a port: what a second daemon finds out before it has touched anything.

A serial device is locked while it is open, but not while it is unplugged, and a TCP server locks
nothing. So a daemon also takes a name that stands for its port, in the kernel's table of Unix
sockets without files (unix(7), "abstract"): it needs no folder that both may write to, tells who
has it, and is free again however the process ends.

A stable name leads to a device, which is claimed too. When that is unplugged, its name may become
another device's, while the claim stays: such a claim counts only while the device is open.
"""

import asyncio
import contextlib
import errno
import hashlib
import os
import socket
import struct
from collections.abc import Iterable, Iterator

from vfod.device.places import holders
from vfod.errors import AlreadyRunningError

#: So many may ask before the first is shown out; without a loop nobody is, but nobody stays long.
_ASKERS = 64
#: Devices whose numbers are given to others as soon as they are free: a daemon that waits for its
#: simulated box to come back must not keep the next one's daemon from its port.
_RECYCLED = "/dev/pts/"


class Claims:
    """The ports that are this process's."""

    def __init__(self) -> None:
        self._held: dict[str, socket.socket] = {}

    def hold(self, ports: Iterable[str]) -> None:
        """Have these (a path or `socket://host:port` each), and no others any more.

        Raises AlreadyRunningError with the port and the process that has it; then all is as before.
        """
        wanted = _names(ports)
        with contextlib.ExitStack() as taken:
            new = {
                name: taken.enter_context(_claim(name, port))
                for name, port in wanted.items()
                if name not in self._held and not _left_behind(name, port)
            }
            taken.pop_all()
        for name in self._held.keys() - wanted:
            _let_go(self._held.pop(name))
        self._held |= new
        for mine in new.values():
            _show_out_askers(mine)


@contextlib.contextmanager
def claimed(ports: Iterable[str]) -> Iterator[Claims]:
    """Hold these ports, and what is held in their place later, for the block's length."""
    claims = Claims()
    claims.hold(ports)
    try:
        yield claims
    finally:
        claims.hold(())


def daemon_at(port: str) -> int | None:
    """The process of the daemon that has a port; None where none has it.

    Anybody may ask, also who may not open the port.
    """
    for name in _names([port]):
        number = _process(_address(name))
        if number is not None and not _left_behind(name, port):
            return number
    return None


def _left_behind(name: str, port: str) -> bool:
    """Whether the device that a port leads to is claimed by a process that has it not open.

    Where one may not look whether it has, it has.
    """
    number = None if name == port else _process(_address(name))
    if number is None or not os.access(f"/proc/{number}/fd", os.R_OK):
        return False
    return number not in {holder for holder, _ in holders(name)}


def _names(ports: Iterable[str]) -> dict[str, str]:
    """What to claim, and the port it stands for; a stable name leads nowhere while unplugged."""
    found: dict[str, str] = {}
    for port in ports:
        found.setdefault(port, port)
        if "://" not in port and not (device := os.path.realpath(port)).startswith(_RECYCLED):
            found.setdefault(device, port)
    return found


def _claim(name: str, port: str) -> socket.socket:
    address = _address(name)
    mine = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        mine.bind(address)
        mine.listen(_ASKERS)
        mine.setblocking(False)
    except OSError as error:
        mine.close()
        if error.errno != errno.EADDRINUSE:
            raise
        number = _process(address)
        who = "another daemon" if number is None else f"another daemon (process {number})"
        raise AlreadyRunningError(
            f"{who} has the port {port}",
            remedy="stop it, or give this one another port",
        ) from None
    return mine


def _show_out_askers(mine: socket.socket) -> None:
    """Who asks has the answer from the kernel; what is left of it would fill the queue for good."""

    def show_out() -> None:
        with contextlib.suppress(OSError):
            while True:
                mine.accept()[0].close()

    with contextlib.suppress(RuntimeError):
        asyncio.get_running_loop().add_reader(mine, show_out)


def _let_go(mine: socket.socket) -> None:
    with contextlib.suppress(RuntimeError):
        asyncio.get_running_loop().remove_reader(mine)
    mine.close()


def _address(name: str) -> str:
    # A digest, because the kernel's names are short.
    return f"\0vfod-port-{hashlib.sha256(os.fsencode(name)).hexdigest()}"


def _process(address: str) -> int | None:
    """Who listens there, as far as the kernel tells."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as asking:
        asking.setblocking(False)
        try:
            asking.connect(address)
            told = asking.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
        except OSError:
            return None
    return int(struct.unpack("3i", told)[0])
