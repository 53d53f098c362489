"""The commands by which a repaired journal gets to work: stop the daemon, move, start it again.

They are to be typed, or pasted, as they are printed. What runs is asked of the system: the process
that holds the journal's lock, the service it belongs to, or else the words it was started with. The
folder to which the file of now is moved takes its companions too: a log that stayed behind would
spoil the repaired file.
"""

import os
import re
import shlex
from dataclasses import dataclass
from pathlib import Path

from vfod.store.file import holder

_PROCESSES = Path("/proc")
#: Where docs/install.md puts the service.
_UNIT = Path("/etc/systemd/system/vfod.service")

_SET_ASIDE = re.compile(r"(?P<stem>.+)\.(?P<what>set-aside)-(?P<stamp>\d{8}T\d{6}Z)(-\d+)?")


@dataclass(frozen=True, kw_only=True, slots=True)
class Ways:
    """How the daemon is stopped, and started again; `stop` is empty where none runs."""

    stop: tuple[str, ...]
    start: tuple[str, ...]


def ways(journal: Path) -> Ways:
    """For the daemon that writes this journal, or would."""
    number = holder(journal)
    unit = _unit_of(number)
    if unit is not None:
        control = "systemctl --user" if unit.mine else f"{_sudo()}systemctl"
        stop = (f"{control} stop {unit.name}",) if number is not None else ()
        return Ways(stop=stop, start=(f"{control} start {unit.name}",))
    if number is None:
        return Ways(stop=(), start=("vfod serve",))
    # What is moved while it still writes would be missed by it, and begun anew.
    stop = (f"kill {number}; while kill -0 {number} 2>/dev/null; do sleep 1; done",)
    return Ways(stop=stop, start=_words_of(number))


def live_beside(repaired: Path) -> Path | None:
    """The journal that a daemon writes since it has set this one aside; None for any other."""
    if (found := _SET_ASIDE.fullmatch(repaired.stem)) is None:
        return None
    return repaired.with_name(found["stem"] + repaired.suffix)


def replacing(repaired: Path, live: Path) -> tuple[list[str], Path | None]:
    """The commands that put one in the place of the other, and where that is afterwards."""
    how = ways(live)
    commands, kept = [*how.stop], None
    if live.exists():
        found = _SET_ASIDE.fullmatch(repaired.stem)
        stamp = found["stamp"] if found else "now"
        folder = _unused(live.with_name(f"{live.stem}.since-{stamp}"))
        commands += [
            f"mkdir {shlex.quote(str(folder))}",
            f"mv {shlex.quote(str(live))}* {shlex.quote(str(folder))}/",
        ]
        kept = folder / live.name
    commands.append(f"mv {shlex.quote(str(repaired))} {shlex.quote(str(live))}")
    return [*commands, *how.start], kept


def _unused(folder: Path) -> Path:
    number = 1
    name = folder.name
    while folder.exists():
        number += 1
        folder = folder.with_name(f"{name}-{number}")
    return folder


@dataclass(frozen=True, kw_only=True, slots=True)
class _Unit:
    name: str
    #: One of the user's own service manager.
    mine: bool = False


def _unit_of(number: int | None) -> _Unit | None:
    if number is None:
        return _Unit(name=_UNIT.stem) if _UNIT.exists() else None
    # cgroups(7): a line of the form hierarchy:controllers:path; the service is the last part.
    for line in _read(number, "cgroup").decode(errors="replace").splitlines():
        path = line.rpartition(":")[2]
        name = path.rpartition("/")[2]
        if name.startswith("vfod") and name.endswith(".service"):
            return _Unit(name=name.removesuffix(".service"), mine="/user.slice/" in path)
    return None


def _words_of(number: int) -> tuple[str, ...]:
    """As it was started, in the folder in which it was."""
    words = [os.fsdecode(word) for word in _read(number, "cmdline").split(b"\0") if word]
    if not words:
        return ("vfod serve",)
    try:
        folder = (_PROCESSES / str(number) / "cwd").readlink()
    except OSError:
        folder = Path.cwd()
    there = () if folder == Path.cwd() else (f"cd {shlex.quote(str(folder))}",)
    return (*there, shlex.join(words))


def _read(number: int, name: str) -> bytes:
    try:
        return (_PROCESSES / str(number) / name).read_bytes()
    except OSError:
        return b""


def _sudo() -> str:
    return "" if os.geteuid() == 0 else "sudo "
