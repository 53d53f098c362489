"""The real parts that tests work with: a broker, a metrics server and its checker.

A part that is missing fails the test under CI, where it must be there, and skips it for a person,
who finds the names of the missing parts at the end of the run.
"""

import atexit
import contextlib
import itertools
import json
import os
import shutil
import signal
import socket
import subprocess
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NoReturn

import pytest

#: How a skip says that a part is missing; the summary at the end looks for it.
MISSING = "missing real part: "

#: The Debian package that brings each part.
PACKAGES = {
    "arecord": "alsa-utils",
    "arm-none-eabi-gcc": "gcc-arm-none-eabi",
    "arm-none-eabi-nm": "binutils-arm-none-eabi",
    "arm-none-eabi-size": "binutils-arm-none-eabi",
    "chromium": "chromium",
    "clang": "clang",
    "curl": "curl",
    "gcc": "gcc",
    "groff": "groff-base",
    "libclang_rt.fuzzer": "libclang-rt-dev",
    "mosquitto": "mosquitto",
    "mosquitto_passwd": "mosquitto",
    "mosquitto_pub": "mosquitto-clients",
    "mosquitto_sub": "mosquitto-clients",
    "openssl": "openssl",
    "pacat": "pulseaudio-utils",
    "pactl": "pulseaudio-utils",
    "parec": "pulseaudio-utils",
    "prometheus": "prometheus",
    "promtool": "prometheus",
    "pulseaudio": "pulseaudio",
    "qemu-system-arm": "qemu-system-arm",
    "systemd-analyze": "systemd",
    "systemd-sysusers": "systemd",
    "systemd-tmpfiles": "systemd",
    "udevadm": "udev",
    "zsh": "zsh",
}

#: Tries, 10 ms apart, until a part that was started must accept a connection: a minute.
_TRIES = 6000

#: Where ports of tests are: below those that the kernel gives away (ip(7), ip_local_port_range), so
#: that nobody who asks it for any port gets one that was chosen here and is not bound yet. Each
#: process has so many of them.
_FIRST_PORT, _EACH, _PROCESSES = 12_000, 200, 100


def _own_ports() -> tuple[socket.socket, int]:
    """The first of the ports that no other process of tests on this machine has.

    They are its own as long as it keeps the socket, whose name (unix(7), abstract) is taken.
    """
    held = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    for number in range(_PROCESSES):
        with contextlib.suppress(OSError):
            held.bind(f"\0ports of tests {number}")
            return held, _FIRST_PORT + number * _EACH
    raise AssertionError(f"more than {_PROCESSES} processes of tests")


_held, _first = _own_ports()
atexit.register(_held.close)
_ports = itertools.cycle(range(_first, _first + _EACH))


def real_part(name: str) -> str:
    """The path of a program that the machine must bring, or the end of the test."""
    path = shutil.which(name, path=os.environ.get("PATH", "") + ":/usr/sbin:/sbin")
    return path or missing(name)


def missing(name: str) -> NoReturn:
    """The end of a test that needs a part which is not there."""
    says = f"{MISSING}{name} (Debian package {PACKAGES.get(name, 'unknown')})"
    if os.environ.get("CI"):
        pytest.fail(says, pytrace=False)
    pytest.skip(says)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    missing = set()
    for report in terminalreporter.stats.get("skipped", []):
        _, found, part = str(report.longrepr[2]).partition(MISSING)
        if found:
            missing.add(part)
    if missing:
        terminalreporter.section("real parts that are missing; their tests were skipped")
        for part in sorted(missing):
            terminalreporter.line(part)


def free_port() -> int:
    """A TCP port of 127.0.0.1 at which nobody listens, nor will before this process does."""
    for port in _ports:
        with contextlib.suppress(OSError), socket.create_server(("127.0.0.1", port)):
            return port
    raise AssertionError("a cycle does not end")


class Server:
    """A program that listens at a port of 127.0.0.1, and can be treated badly."""

    def __init__(self, command: list[str], port: int, log: Path) -> None:
        self.host = "127.0.0.1"
        self.port = port
        self._command = command
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, and return when it is ready to answer."""
        assert self._process is None, "it is running"
        with self._log.open("ab") as log:
            process = subprocess.Popen(
                self._command, stdin=subprocess.DEVNULL, stdout=log, stderr=log
            )
        self._process = process
        for _ in range(_TRIES):
            if self._is_ready():
                return
            try:
                process.wait(0.01)
            except subprocess.TimeoutExpired:
                continue
            break
        self.kill()
        pytest.fail(f"{self._command[0]} does not start:\n{self._log.read_text()}")

    def stop(self) -> None:
        """Ask it to end, and wait until it has; nothing when it is not running."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it without a word, as a power cut does."""
        self._end(signal.SIGKILL)

    def restart(self) -> None:
        """Stop it and start it again at the same port."""
        self.stop()
        self.start()

    def freeze(self) -> None:
        """Let it hang: its connections stay open and nothing answers."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on after `freeze`."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def log(self) -> str:
        """What it has printed so far."""
        return self._log.read_text()

    def _is_ready(self) -> bool:
        try:
            socket.create_connection((self.host, self.port)).close()
        except OSError:
            return False
        return True

    def _end(self, number: int) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        process.send_signal(number)
        # A frozen process ends only when it goes on.
        process.send_signal(signal.SIGCONT)
        process.wait(60)


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Server]:
    """An MQTT broker of this test's own, running, without memory of earlier runs."""
    program = real_part("mosquitto")
    home = tmp_path / "mosquitto"
    home.mkdir()
    port = free_port()
    lines = [f"listener {port} 127.0.0.1", "allow_anonymous true", "persistence false"]
    lines += ["log_dest stdout", "log_type all", "connection_messages true"]
    if os.getuid() == 0:
        # Else it turns into a user who may not read its configuration below a private folder.
        lines.append("user root")
    (home / "mosquitto.conf").write_text("\n".join(lines) + "\n")
    broker = Server([program, "-c", str(home / "mosquitto.conf")], port, home / "log")
    broker.start()
    yield broker
    broker.stop()


class Prometheus(Server):
    """A metrics server that scrapes some addresses twice a second."""

    def query(self, expression: str) -> list[dict[str, Any]]:
        """The result vector of an expression at this moment."""
        words = urllib.parse.urlencode({"query": expression})
        found: list[dict[str, Any]] = json.loads(self._get(f"/api/v1/query?{words}"))["data"][
            "result"
        ]
        return found

    def _is_ready(self) -> bool:
        try:
            self._get("/-/ready")
        except OSError:
            return False
        return True

    def _get(self, path: str) -> bytes:
        with urllib.request.urlopen(f"http://{self.host}:{self.port}{path}", timeout=60) as answer:
            body: bytes = answer.read()
        return body


@pytest.fixture
def prometheus(tmp_path: Path) -> Iterator[Callable[..., Prometheus]]:
    """Starts a metrics server that scrapes the addresses (`host:port`) it is given."""
    program = real_part("prometheus")
    started = []

    def start(*targets: str) -> Prometheus:
        port = free_port()
        home = tmp_path / f"prometheus-{port}"
        home.mkdir()
        job = {"job_name": "vfod", "static_configs": [{"targets": list(targets)}]}
        pace = {"scrape_interval": "500ms", "scrape_timeout": "500ms"}
        # JSON is YAML too.
        (home / "config.yml").write_text(json.dumps({"global": pace, "scrape_configs": [job]}))
        command = [program, f"--config.file={home / 'config.yml'}"]
        command += [
            f"--storage.tsdb.path={home / 'data'}",
            f"--web.listen-address=127.0.0.1:{port}",
        ]
        server = Prometheus(command, port, home / "log")
        started.append(server)
        server.start()
        return server

    yield start
    for server in started:
        server.stop()


@pytest.fixture
def promtool() -> Callable[[str], list[str]]:
    """Gives the complaints of the metrics server's own checker about a scraped page."""
    program = real_part("promtool")

    def complaints(page: str) -> list[str]:
        done = subprocess.run(
            [program, "check", "metrics"], input=page, capture_output=True, text=True, check=False
        )
        said = (done.stdout + done.stderr).splitlines()
        return said or ([] if done.returncode == 0 else [f"exit code {done.returncode}"])

    return complaints
