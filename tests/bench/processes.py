"""The programs that a measurement works with: daemon, simulated VFO, broker.

Each is a process of its own, as at a listener's, with its code compiled beforehand, and all of
them are ended with the measurement.
"""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.real_parts import free_port

ROOT = Path(__file__).parent.parent.parent

#: Seconds until whatever was started must be ready.
_PATIENCE = 20.0

_CONFIGURATION = """\
vfos:
  main:
    port: {port}
    level_table: {{0: -130dBm, 4095: -10dBm}}
    receiver:
      - {{from: 3M, to: 15M, detector: envelope, intermediate_frequency: 455k, settle: {settle}}}
bands:
  lower: {{from: 7200k, to: 7300k}}
sweeps:
  fast: {{bands: [lower], dwell: {dwell}, readings: {readings}, hold: off}}
mqtt: {mqtt}
web: {web}
"""

#: A quiet band, so that nothing holds a visit up.
SCENARIO = "box: {{output: true, settle: {settle}}}\n"


def configuration(
    folder: Path,
    *,
    port: str,
    dwell: str = "80ms",
    settle: str = "20ms",
    readings: int = 2,
    broker: int | None = None,
    web: int | None = None,
) -> Path:
    """Write the configuration of a daemon; gives its path."""
    path = folder / "vfod.yaml"
    path.write_text(
        _CONFIGURATION.format(
            port=port,
            dwell=dwell,
            settle=settle,
            readings=readings,
            mqtt="off" if broker is None else f"{{host: 127.0.0.1, port: {broker}}}",
            web="off" if web is None else f'{{listen: "127.0.0.1:{web}"}}',
        ),
        encoding="utf-8",
    )
    return path


def environment() -> dict[str, str]:
    """For every process: the code of this checkout, compiled, and nobody else's settings."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("VFOD_", "PYTHON"))}
    return {**kept, "PYTHONPATH": str(ROOT)}


class MissingError(Exception):
    """A program that the machine must bring is not there; names it and its package."""


class Processes:
    """Whatever was started; use it in a `with`, which ends it all."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._running: list[tuple[str, subprocess.Popen[bytes]]] = []

    def __enter__(self) -> "Processes":
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is not None:
            for name, process in self._running:
                print(f"{name} ({process.poll()}): {self.log(name)}", file=sys.stderr)
        for _name, process in reversed(self._running):
            process.send_signal(signal.SIGTERM)
            try:
                process.wait(5)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()

    def start(self, name: str, *command: str) -> int:
        """Start a process whose output goes to a log; gives its id."""
        with (self.folder / f"{name}.log").open("wb") as log:
            process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, env=environment()
            )
        self._running.append((name, process))
        return process.pid

    def until(self, what: str, ready: Callable[[], bool]) -> None:
        """Wait until something is so."""
        limit = time.monotonic() + _PATIENCE
        while not ready():
            for name, process in self._running:
                if process.poll() is not None:
                    raise RuntimeError(f"{name} ended: {self.log(name)}")
            if time.monotonic() > limit:
                logs = "\n".join(self.log(name) for name, _ in self._running)
                raise RuntimeError(f"{what}: not within {_PATIENCE:.0f} s\n{logs}")
            time.sleep(0.02)

    def log(self, name: str) -> str:
        return (self.folder / f"{name}.log").read_text(errors="replace")[-3000:]

    def simulator(self, *, settle: str = "10ms", baud: int = 115_200) -> str:
        """A simulated VFO on a pseudo-terminal; gives the name to open."""
        name = f"simulator-{len(self._running)}"
        link = self.folder / name
        scenario = self.folder / f"{name}.yaml"
        scenario.write_text(SCENARIO.format(settle=settle), encoding="utf-8")
        words = ("simulate", str(scenario), "--link", str(link), "--baud", str(baud))
        self.start(name, sys.executable, "-m", "vfod", *words)
        self.until("the simulated VFO", link.exists)
        return str(link)

    def broker(self) -> int:
        """An MQTT broker without memory; gives its port. Raises MissingError."""
        program = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")
        if program is None:
            raise MissingError("mosquitto (Debian package mosquitto)")
        port = free_port()
        lines = [f"listener {port} 127.0.0.1", "allow_anonymous true", "persistence false"]
        if os.getuid() == 0:
            lines.append("user root")
        path = self.folder / "mosquitto.conf"
        path.write_text("\n".join(lines) + "\n")
        self.start("mosquitto", program, "-c", str(path))
        self.until("the broker", lambda: listens(port))
        return port

    def daemon(self, config: Path, *doors: str) -> "Daemon":
        """The daemon, with its VFO greeted and these doors open beside the control socket."""
        control = self.folder / "control.sock"
        files = ("--socket", str(control), "--journal", str(self.folder / "journal.sqlite"))
        pid = self.start(
            "daemon", sys.executable, "-m", "vfod", "serve", "--config", str(config), *files
        )
        daemon = Daemon(pid, control)
        self.until("the daemon", lambda: daemon.is_ready("control", "journal", *doors))
        return daemon


def listens(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port)).close()
    except OSError:
        return False
    return True


class Daemon:
    """A running daemon, by its process and its control socket."""

    def __init__(self, pid: int, control: Path) -> None:
        self.pid = pid
        self.control = control

    def ask(self, method: str, **params: object) -> dict[str, Any]:
        """The answer to one request, on a connection of its own."""
        request = {"jsonrpc": "2.0", "id": "plain", "method": method, "params": params}
        with socket.socket(socket.AF_UNIX) as client:
            client.settimeout(_PATIENCE)
            client.connect(str(self.control))
            client.sendall(json.dumps(request).encode() + b"\n")
            with client.makefile("rb") as lines:
                answer = json.loads(lines.readline())
        if "result" not in answer:
            raise RuntimeError(f"{method}: {answer}")
        result: dict[str, Any] = answer["result"]
        return result

    def is_ready(self, *doors: str) -> bool:
        """Whether it answers, its VFO has been greeted and these doors are open."""
        try:
            status = self.ask("status")
        except (FileNotFoundError, ConnectionRefusedError):
            return False
        open_doors = {name for name, door in status["doors"].items() if door["up"]}
        return status["vfos"]["main"]["dial"] is not None and open_doors >= set(doors)
