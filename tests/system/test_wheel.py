"""The wheel alone, in a fresh environment, by the unit's command line, as a user without rights.

Nothing of the checkout takes part but the wheel that is built from it: the environment has the
wheel, the packages that the wheel declares, and nothing else.
What the service manager does around the command (directories, variables, user, mask) is done as
systemd.exec(5) says; what it forbids on top (system calls, devices) needs the manager itself.
As root the user is a number that owns nothing, where there is a Python that it may run; else the
test runs as whoever runs it, and says so.
"""

import asyncio
import json
import os
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path
from typing import Any

import pytest
from packaging.requirements import Requirement

from tests.hours import morning
from tests.system.household import until

ROOT = Path(__file__).parents[2]

#: The one who owns nothing ("nobody" on Debian).
NOBODY = 65_534

CONFIG = """\
place: {{zone: {zone}, region: 1}}
vfos:
  main:
    port: {run}/vfo0
    receiver: [{{from: 150k, to: 30M, detector: envelope, intermediate_frequency: 455k}}]
sweeps:
  short: {{channels: [7200k, 7205k, 7210k], dwell: 100ms, settle: 50ms, readings: 2, hold: off}}
windows:
  - {{name: first, sweep: short, from: 00:00, until: 12:00}}
  - {{name: second, sweep: short, from: 12:00, until: 00:00}}
web: off
"""

pytestmark = pytest.mark.real_time


def declared(name: str, found: set[str]) -> set[str]:
    """The packages that a package asks for on this machine, and what those ask for."""
    for text in metadata.requires(name) or []:
        wanted = Requirement(text)
        if (wanted.marker is None or wanted.marker.evaluate({"extra": ""})) and (
            wanted.name not in found
        ):
            found.add(wanted.name)
            declared(wanted.name, found)
    return found


def python_for_all() -> str | None:
    """A Python of this version that the one who owns nothing may run; None where there is none."""
    version = f"import sys; sys.exit(sys.version_info[:2] != {sys.version_info[:2]})"
    for python in (getattr(sys, "_base_executable", sys.executable), "/usr/bin/python3"):
        try:
            done = subprocess.run(
                [python, "-c", version], cwd="/", user=NOBODY, group=NOBODY, check=False
            )
        except OSError:
            continue
        if done.returncode == 0:
            return str(python)
    return None


class Machine:
    """A place like an installed machine: program, configuration, state and runtime directories."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.program = place / "opt" / "bin" / "vfod"
        self._python = (python_for_all() if os.getuid() == 0 else None) or sys.executable
        self.drops = self._python != sys.executable
        self._running: list[subprocess.Popen[str]] = []
        for name in ("etc", "state", "run"):
            (place / name).mkdir()
        place.chmod(0o755)
        for name in ("state", "run"):
            (place / name).chmod(0o750)
            if self.drops:
                os.chown(place / name, NOBODY, NOBODY)
        (place / "etc" / "vfod.yaml").write_text(CONFIG.format(run=place / "run", zone=morning()))

    def install(self, wheel: Path) -> None:
        """An environment with the wheel and the packages it declares, offline."""
        make = [self._python, "-m", "venv", "--without-pip", str(self.place / "opt")]
        subprocess.run(make, check=True)
        pip = [sys.executable, "-m", "pip", "--python", str(self.place / "opt" / "bin" / "python")]
        install = ["install", "--quiet", "--no-deps", "--no-index", "--disable-pip-version-check"]
        subprocess.run([*pip, *install, str(wheel)], check=True)
        (packages,) = (self.place / "opt").glob("lib/python*/site-packages")
        for name in declared("vfod", set()):
            for file in metadata.files(name) or []:
                source, target = Path(str(file.locate())), packages / file
                # Commands lie outside, and are not needed.
                if ".." not in file.parts and source.is_file():
                    target.parent.mkdir(parents=True, exist_ok=True)
                    shutil.copyfile(source, target)

    def start(self, *words: str, log: Path | None = None, **environment: str) -> Any:
        """A process as the service manager starts it: the user, the mask, hardly any variable."""
        user: dict[str, Any] = {}
        if self.drops:
            user = {"user": NOBODY, "group": NOBODY, "extra_groups": []}
        with (log or Path(os.devnull)).open("a") as stderr:
            process = subprocess.Popen(
                words,
                cwd="/",
                env={"PATH": "/usr/bin:/bin", **self.directories, **environment},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=stderr,
                text=True,
                umask=0o027,
                **user,
            )
        self._running.append(process)
        return process

    @property
    def directories(self) -> dict[str, str]:
        return {
            "STATE_DIRECTORY": str(self.place / "state"),
            "RUNTIME_DIRECTORY": str(self.place / "run"),
        }

    def ask(self, *words: str) -> str:
        """What the installed command prints, asked by the same user."""
        process = self.start(str(self.program), *words)
        out, _ = process.communicate(timeout=120)
        return str(out)

    def close(self) -> None:
        for process in self._running:
            process.kill()
            process.wait()
            if process.stdout is not None:
                process.stdout.close()


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    build = [sys.executable, "-m", "hatchling", "build", "--target", "wheel"]
    done = subprocess.run(
        [*build, "--directory", str(tmp_path)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert 0 == done.returncode, done.stderr
    # The folders of pytest are closed to other users.
    with tempfile.TemporaryDirectory(prefix="vfod-wheel-") as place:
        it = Machine(Path(place))
        it.install(next(tmp_path.glob("*.whl")))
        yield it
        it.close()


def command_of_the_unit(it: Machine) -> list[str]:
    """ExecStart as the installed program writes it into its unit, with this place's /etc."""
    root = it.place / "root"
    subprocess.run(
        [it.program, "service", "install", "--root", root], check=True, stdout=subprocess.DEVNULL
    )
    unit = (root / "etc" / "systemd" / "system" / "vfod.service").read_text()
    (line,) = [line for line in unit.splitlines() if line.startswith("ExecStart=")]
    words = shlex.split(line.removeprefix("ExecStart="))
    words[words.index("/etc/vfod/vfod.yaml")] = str(it.place / "etc" / "vfod.yaml")
    return words


def rights(pid: int) -> tuple[list[str], list[str], list[str]]:
    """The users, further groups and capabilities of a process (proc(5))."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    facts = dict(line.split(":\t", 1) for line in lines)
    return facts["Uid"].split(), facts["Groups"].split(), facts["CapEff"].split()


async def test_a_sweep_runs(machine: Machine) -> None:
    """From the wheel to observations in the journal, with nothing but what a service has."""
    it, now = machine, asyncio.get_running_loop().time
    if not it.drops:
        print("not as a user without rights: that takes root, and a Python for everyone")
    where = it.start(str(it.place / "opt/bin/python"), "-c", "import vfod; print(vfod.__file__)")
    assert str(it.place) in where.communicate(timeout=120)[0]
    words = command_of_the_unit(it)
    assert [str(it.program), "serve"] == words[:2]
    it.start(str(it.program), "simulate", "--link", str(it.place / "run" / "vfo0"))
    await until((it.place / "run" / "vfo0").exists, now)
    log = it.place / "log"
    log.touch()
    stream = f"{log.stat().st_dev}:{log.stat().st_ino}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(it.place / "notify"))
        (it.place / "notify").chmod(0o666)
        manager.settimeout(120)
        daemon = it.start(
            *words,
            log=log,
            NOTIFY_SOCKET=str(it.place / "notify"),
            WATCHDOG_USEC="60000000",
            JOURNAL_STREAM=stream,
        )
        assert "READY=1" == manager.recv(4096).decode().splitlines()[0], log.read_text()
        assert "WATCHDOG=1" == manager.recv(4096).decode().splitlines()[0]

        def vfo() -> dict[str, Any]:
            return dict(json.loads(it.ask("status", "--json"))["vfos"]["main"])

        await until(lambda: vfo()["sweep"]["phase"] == "sweeping" and vfo()["visits"] > 3, now)
        if it.drops:
            assert (4 * [str(NOBODY)], [], ["0" * 16]) == rights(daemon.pid)
        daemon.send_signal(signal.SIGTERM)
        said = [manager.recv(4096).decode().splitlines()[0]]
        while "STOPPING=1" not in said:
            said.append(manager.recv(4096).decode().splitlines()[0])
        assert 0 == daemon.wait(120), log.read_text()
    heard = [json.loads(line) for line in it.ask("journal", "channels", "--json").splitlines()]
    assert [7_200_000, 7_205_000, 7_210_000] == [channel["dial"] for channel in heard]
    assert 3 < sum(channel["visits"] for channel in heard)
    # A quiet night: where its files are, and that it ended.
    assert [True, True] == [line.startswith("<6>") for line in log.read_text().splitlines()]
