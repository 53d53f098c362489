"""One question to the daemon through its control socket, and what can stand in the way.

Used by the quick verbs, so it imports nothing that a starting Python has not loaded: `_socket` is
the part of `socket` that is written in C, and comes without the enumerations that cost so much.
"""

import os
from _socket import AF_UNIX, SOCK_STREAM
from _socket import socket as Socket  # noqa: N812 - a class that is spelled like a function

from vfod.config.places import exists, socket_places, to_open
from vfod.errors import DaemonAbsentError, UsageError, VfodError

#: Seconds to wait for an answer: several times what the box may take with all its repetitions.
PATIENCE = 15.0

_PIECE = 65536


def socket_path(given: str | None) -> str:
    """The control socket to use: `given` (--socket), else as vfod.config.places says.

    Raises DaemonAbsentError that lists the places where none of them has one.
    """
    if given:
        return given
    places = socket_places(dict(os.environ))
    path = to_open(places)
    # A directory that may not be searched hides whether there is a socket: connecting tells.
    if not exists(path) and len(places) > 1 and _may_search(path):
        raise _absent(" or ".join(places))
    return path


def connect(path: str) -> Socket:
    """A connection to the daemon at `path`; DaemonAbsentError says what to do about a failure."""
    client = Socket(AF_UNIX, SOCK_STREAM)
    client.settimeout(PATIENCE)
    try:
        client.connect(path)
    except (OSError, ValueError) as error:
        client.close()
        raise _explained(path, error) from None
    return client


def ask(path: str, line: bytes, more: float = 0.0) -> bytes:
    """The line that answers `line`, both with their line feed.

    The daemon is given `more` seconds than PATIENCE, where what is asked for takes them.
    """
    client = connect(path)
    client.settimeout(PATIENCE + more)
    parts: list[bytes] = []
    try:
        client.sendall(line)
        while not parts or not parts[-1].endswith(b"\n"):
            part = client.recv(_PIECE)
            if not part:
                raise ConnectionResetError
            parts.append(part)
    except TimeoutError:
        raise _silent(path, more) from None
    except ConnectionError:
        raise DaemonAbsentError(
            f"the daemon at {path} went away before it answered", remedy="its log says more"
        ) from None
    finally:
        client.close()
    return b"".join(parts)


def _may_search(path: str) -> bool:
    directory = path.rpartition("/")[0] or "/"
    return not exists(directory) or os.access(directory, os.X_OK)


def _explained(path: str, error: Exception) -> VfodError:
    match error:
        case PermissionError():
            return _forbidden(path)
        case TimeoutError():
            return _silent(path)
        case FileNotFoundError() | ConnectionRefusedError() | NotADirectoryError():
            return _absent(path)
    return UsageError(
        f"the control socket {path} cannot be used: {error}", remedy="name another --socket"
    )


def _absent(where: str) -> DaemonAbsentError:
    return DaemonAbsentError(
        f"no daemon listens at {where}",
        remedy="start it with `vfod serve`, or name its socket by --socket or $VFOD_SOCKET",
    )


def _silent(path: str, more: float = 0.0) -> DaemonAbsentError:
    return DaemonAbsentError(
        f"the daemon at {path} has not answered for {PATIENCE + more:.0f} s",
        remedy="its log says more",
    )


def _forbidden(path: str) -> DaemonAbsentError:
    says = f"this user may not use the control socket {path}"
    group = _group(path)
    if group in ("", "root"):
        return DaemonAbsentError(
            says, remedy="give it a group by control.group in the configuration"
        )
    return DaemonAbsentError(
        f"{says}, which is for the group {group}",
        remedy=f"join it with `sudo usermod -aG {group} $USER` and log in again",
    )


def _group(path: str) -> str:
    """The group of a socket, or of its directory where that may not be searched."""
    import grp

    for place in (path, path.rpartition("/")[0] or "/"):
        try:
            return grp.getgrgid(os.stat(place).st_gid).gr_name  # noqa: PTH116 - pathlib costs a nudge's whole time
        except (OSError, KeyError):
            continue
    return ""
