"""`vfod service`: what the service manager needs, put where it looks; nothing is started by it.

The files come with the program, so that a wheel is enough; docs/install.md says what to do with
them.
"""

import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import vfod
from vfod.cli.completion import script
from vfod.cli.description import Description
from vfod.cli.manual import page
from vfod.cli.parser import Parser
from vfod.device.diagnosis import Device
from vfod.device.surroundings import Surroundings
from vfod.errors import UsageError

_SHIPPED = Path(vfod.__file__).parent / "shipped"

#: The program as the shipped unit has it.
_PROGRAM = "/opt/vfod/bin/vfod"

#: What the unit cannot see (ProtectHome= in systemd.exec(5)).
_HIDDEN = (Path("/home"), Path("/root"), Path("/run/user"))

#: Where each file of shipped/systemd/ goes, and what it is.
FILES = {
    "vfod.service": ("etc/systemd/system/vfod.service", "the unit"),
    "vfod.sysusers": ("etc/sysusers.d/vfod.conf", "the user it runs as"),
    "vfod.tmpfiles": ("etc/tmpfiles.d/vfod.conf", "where the configuration lies"),
}
_RULE = "99-vfod.rules"
_LINK = "usr/local/bin/vfod"
_DOCUMENTS = "usr/local/share/doc/vfod"
_MANUAL = "usr/local/share/man/man1/vfod.1"
_COMPLETIONS = {
    "bash": "usr/local/share/bash-completion/completions/vfod",
    "zsh": "usr/local/share/zsh/site-functions/_vfod",
}


def service(words: list[str], described: Callable[[], list[Description]]) -> int:
    """Write the files, or the rule of one port."""
    parser = Parser(
        "service",
        "install: the unit, its user and directories, the manual page, the completion of the\n"
        "shell, and the command itself, put where the system looks for them.\n"
        "rule PORT: a udev rule for the VFO that hangs on PORT now: from then on its name is\n"
        "/dev/vfod/vfo0, what looks for modems leaves it alone, and plugging it in starts the\n"
        "service.\n"
        "Nothing is started or enabled by either; docs/install.md has the lines around it.",
        "sudo vfod service install",
        "sudo vfod service rule /dev/ttyACM0",
    )
    parser.add_argument("what", choices=("install", "rule"))
    parser.add_argument("port", nargs="?", metavar="PORT", help="with rule: the VFO's port now")
    parser.add_argument(
        "--name", default="vfo0", metavar="NAME", help="with rule: its name in /dev/vfod"
    )
    parser.add_argument(
        "--serial",
        action="store_true",
        help="with rule: tell it by its serial number too, from another with the same numbers",
    )
    parser.add_argument(
        "--root", type=Path, default=Path("/"), metavar="DIR", help="put everything below DIR"
    )
    given = parser.parse_args(words)
    if given.what == "install":
        if given.port is not None:
            raise UsageError(
                f"vfod service install takes no {given.port!r}", remedy="a port goes with rule"
            )
        program = Path(sys.prefix) / "bin" / "vfod"
        wanted = files(program, described)
        write(given.root, wanted)
        _link(given.root, program)
        print("\n".join(str(given.root / path) for path in [*wanted, _LINK]))
        print("Now: sudo systemd-sysusers && sudo systemd-tmpfiles --create vfod.conf")
        return 0
    if given.port is None:
        raise UsageError("vfod service rule needs a port", remedy="see `vfod doctor`")
    text = rule(device_at(given.port, Surroundings()), given.name, serial=given.serial)
    path = f"etc/udev/rules.d/99-vfod-{given.name}.rules"
    write(given.root, {path: text})
    print(given.root / path)
    print("Now: sudo udevadm control --reload; then unplug the VFO and plug it in again.")
    print(f"From then on it is /dev/vfod/{given.name}.")
    return 0


def files(program: Path, described: Callable[[], list[Description]]) -> dict[str, str]:
    """What is installed, by path below the root; `program` is the command that the unit starts."""
    if any(program.is_relative_to(place) for place in _HIDDEN):
        raise UsageError(
            f"{program} is where the service may not look",
            remedy="install vfod into /opt/vfod, as docs/install.md does",
        )
    if not program.is_file():
        raise UsageError(f"there is no {program}", remedy="install vfod with pip first")
    shipped = _SHIPPED / "systemd"
    found = {path: (shipped / name).read_text() for name, (path, _) in FILES.items()}
    unit = FILES["vfod.service"][0]
    found[unit] = found[unit].replace(f"={_PROGRAM} ", f"={program} ")
    examples = _SHIPPED / "configs"
    for example in sorted(path for path in examples.rglob("*") if path.is_file()):
        found[f"{_DOCUMENTS}/{example.relative_to(examples)}"] = example.read_text()
    everyone = described()
    for shell, path in _COMPLETIONS.items():
        found[path] = script(everyone, shell)
    return {**found, _MANUAL: page(everyone)}


def device_at(port: str, around: Surroundings) -> Device:
    """The USB device that a port is; UsageError for one that needs no rule, or is not there."""
    device = around.device(port)
    if device is None:
        there = ", ".join(f"{one.path} ({one.about})" for one in around.there() if one.vendor)
        raise UsageError(
            f"there is no serial device {port}",
            remedy=f"there are: {there}" if there else "plug the VFO in; none is there now",
        )
    if not device.vendor:
        raise UsageError(
            f"{port} is no USB device and keeps its name",
            remedy=f"write {port} into the configuration as it is",
        )
    return device


def rule(device: Device, name: str, *, serial: bool = False) -> str:
    """The text of the rule for a device."""
    if not (name.isascii() and name.replace("-", "").isalnum()):
        raise UsageError(f"{name!r} is no name", remedy="use letters, digits and hyphens")
    text = (_SHIPPED / "systemd" / _RULE).read_text()
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    told = f"# {device.about}; written by `vfod service rule`.\n"
    if serial:
        if not device.serial or '"' in device.serial:
            raise UsageError(f"{device.path} has no serial number", remedy="leave out --serial")
        numbers = 'ATTRS{idProduct}=="PPPP"'
        lines = [
            line.replace(numbers, f'{numbers}, ATTRS{{serial}}=="{device.serial}"')
            for line in lines
        ]
    written = told + "".join(f"{line}\n" for line in lines)
    for placeholder, value in (
        ("VVVV", device.vendor), ("PPPP", device.product), ("vfod/vfo0", f"vfod/{name}"),
    ):  # fmt: skip
        written = written.replace(placeholder, value)
    return written


def write(root: Path, texts: Mapping[str, str]) -> None:
    """Write each file below the root, for everyone to read; what is there is replaced."""
    for path, text in texts.items():
        target = root / path
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(text)
            target.chmod(0o644)
        except OSError as error:
            raise _refused(target, error) from error


def _link(root: Path, program: Path) -> None:
    """The command where every shell finds it."""
    link = root / _LINK
    try:
        link.parent.mkdir(parents=True, exist_ok=True)
        if link.is_symlink():
            link.unlink()
        link.symlink_to(program)
    except FileExistsError as error:
        raise UsageError(f"{link} is no link of ours", remedy="move it away") from error
    except OSError as error:
        raise _refused(link, error) from error


def _refused(path: Path, error: OSError) -> UsageError:
    remedy = "" if os.getuid() == 0 else "write sudo before it"
    return UsageError(f"{path} cannot be written ({error.strerror})", remedy=remedy)
