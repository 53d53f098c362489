"""Why a device file cannot be a port: what is wrong, with whom it is, and the remedy.

Everything here looks at the file system and at /proc, may take a moment, and belongs in a thread.
"""

import errno
import grp
import os
import pwd
import stat
import termios
from collections.abc import Iterator
from pathlib import Path

from vfod.errors import LineError, PortBusyError, PortForbiddenError, PortMissingError

#: Where the system keeps names of serial devices that do not change.
STABLE_NAMES = Path("/dev/serial/by-id")

#: Longest command line shown of a process that holds the port.
_COMMAND_LENGTH = 60

_GONE = (errno.ENOENT, errno.ENOTDIR, errno.ENXIO, errno.ENODEV, errno.EIO)
_FORBIDDEN = (errno.EACCES, errno.EPERM)
_BUSY = (errno.EBUSY, errno.EAGAIN)


def wrong_kind(path: str) -> LineError | None:
    """The error for a path that is no device file, before anything is opened."""
    try:
        mode = Path(path).stat().st_mode
    except (OSError, ValueError) as error:
        return refusal(path, error)
    for test, what in (
        (stat.S_ISDIR, "a directory"),
        (stat.S_ISREG, "an ordinary file"),
        (stat.S_ISFIFO, "a named pipe"),
        (stat.S_ISSOCK, "a Unix socket"),
        (stat.S_ISBLK, "a block device"),
    ):
        if test(mode):
            return _no_serial_port(path, f"is {what}, not a serial port")
    return None


def refusal(path: str, error: Exception) -> LineError:
    """The error of ours for one of opening or configuring `path`."""
    code = _errno(error)
    if code in _GONE:
        return _missing(path, code)
    if code in _FORBIDDEN:
        return _forbidden(path)
    if code in _BUSY:
        return _busy(path)
    if code in (errno.ENOTTY, errno.EINVAL):
        return _no_serial_port(path, "is not a serial port")
    if code == errno.ELOOP:
        return _no_serial_port(path, "is a symbolic link that leads to itself")
    reason = os.strerror(code) if code else str(error)
    return LineError(f"{path} cannot be opened ({reason})", port=path)


def _errno(error: BaseException | None) -> int:
    """The number of the system's error, which pyserial and termios keep in different places."""
    while error is not None:
        if isinstance(error, OSError) and error.errno:
            return error.errno
        if isinstance(error, termios.error) and error.args:
            return int(error.args[0])
        error = error.__cause__ or error.__context__
    return 0


def _no_serial_port(path: str, says: str) -> LineError:
    return LineError(f"{path} {says}", remedy=_there_are(), port=path, reason="no-port")


def _missing(path: str, code: int) -> LineError:
    says = "there is no such port"
    if code in (errno.ENXIO, errno.ENODEV, errno.EIO):
        says = "the name exists, but no device is behind it"
    elif Path(path).is_symlink():
        says = f"it leads to {Path(path).readlink()}, which is not there"
    return PortMissingError(f"{path}: {says}", remedy=_there_are(), port=path)


def _there_are() -> str:
    names = sorted(str(name) for name in _inside(STABLE_NAMES))
    if not names:
        return "plug the VFO in; no USB serial device is there at this moment"
    return f"at this moment there is {', '.join(names)}"


def _forbidden(path: str) -> LineError:
    says = f"{path}: {_user_name()} may not open it"
    try:
        status = Path(path).stat()
        group = grp.getgrgid(status.st_gid).gr_name
    except (OSError, KeyError):
        return PortForbiddenError(
            says, remedy="have the administrator give access to it", port=path
        )
    if status.st_mode & (stat.S_IRGRP | stat.S_IWGRP) != stat.S_IRGRP | stat.S_IWGRP:
        remedy = f"let its group use it: sudo chmod g+rw {path}"
    else:
        remedy = (
            f"it belongs to the group {group}: sudo usermod -aG {group} {_user_name()},"
            " then log in again"
        )
    return PortForbiddenError(says, remedy=remedy, port=path)


def _user_name() -> str:
    try:
        return pwd.getpwuid(os.geteuid()).pw_name
    except KeyError:
        return f"user {os.geteuid()}"


def _busy(path: str) -> LineError:
    found = [f"process {pid} ({command})" for pid, command in holders(path)]
    who = " and ".join(found) or "another process, of a user whose processes are hidden"
    remedy = "end it" if found else f"look with: sudo fuser {path}"
    return PortBusyError(f"{path} is held by {who}", remedy=remedy, port=path)


def holders(path: str) -> Iterator[tuple[int, str]]:
    """The processes that have `path` open, by number and command, as far as we may look."""
    real = os.path.realpath(path)
    for process in sorted(Path("/proc").glob("[0-9]*"), key=lambda entry: int(entry.name)):
        if not any(_leads_to(link, real) for link in _inside(process / "fd")):
            continue
        try:
            words = (process / "cmdline").read_bytes()
        except OSError:
            continue
        program, *others = words.decode(errors="replace").split("\0")
        # A long path to the program would leave no room for what tells who it is.
        command = " ".join([Path(program).name, *others]).strip()
        yield int(process.name), command[:_COMMAND_LENGTH] or "no name"


def _inside(folder: Path) -> list[Path]:
    try:
        return list(folder.iterdir())
    except OSError:
        # Another user's process, or one that has ended meanwhile; so too below.
        return []


def _leads_to(link: Path, real: str) -> bool:
    try:
        return str(link.readlink()) == real
    except OSError:
        return False
