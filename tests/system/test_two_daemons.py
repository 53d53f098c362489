"""Two daemons on one port, socket, journal or MQTT identifier: the second says which and leaves.

Real processes, a real broker; the first is not disturbed.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.real_parts import Server
from tests.system.household import retained
from vfod.errors import AlreadyRunningError

VFOD = [sys.executable, "-m", "vfod"]


class Cellar:
    """Where daemons are started; each has its own of everything that it is not told to share."""

    def __init__(self, here: Path, broker: Server) -> None:
        self.here = here
        self.broker = broker
        self._started: list[subprocess.Popen[str]] = []

    def command(self, name: str, **shared: str) -> list[str]:
        own = {
            "port": f"{self.here}/{name}-vfo",
            "socket": f"{self.here}/{name}.sock",
            "journal": f"{self.here}/{name}.sqlite",
            "mqtt": name,
        } | shared
        config = self.here / f"{name}.yaml"
        config.write_text(
            f"vfos: {{main: {{port: {own['port']}}}}}\nweb: off\n"
            f"mqtt: {{host: 127.0.0.1, port: {self.broker.port}, name: {own['mqtt']}}}\n"
        )
        return [*VFOD, "serve", "--config", str(config), "--socket", own["socket"],
                "--journal", own["journal"]]  # fmt: skip

    def start(self, name: str, **shared: str) -> subprocess.Popen[str]:
        """Start a daemon, and return when it stands at the broker."""
        process = subprocess.Popen(
            self.command(name, **shared), stderr=subprocess.PIPE, text=True, env=environment()
        )
        self._started.append(process)
        for _ in range(2400):
            if f" as vfod-{shared.get('mqtt', name)} (" in self.broker.log():
                return process
            with pytest.raises(subprocess.TimeoutExpired):
                process.wait(0.05)
        raise AssertionError("it does not come to the broker")

    def run(self, name: str, **shared: str) -> tuple[int, str]:
        """A daemon that is expected to leave: its status and the last line that it said."""
        done = subprocess.run(
            self.command(name, **shared),
            capture_output=True,
            text=True,
            env=environment(),
            timeout=120,
            check=False,
        )
        lines = done.stderr.splitlines()
        assert "Traceback" not in done.stderr
        assert len([line for line in lines if line.startswith("vfod: ")]) == 1, done.stderr
        return done.returncode, lines[-1]

    def close(self) -> None:
        for process in self._started:
            process.terminate()
            process.communicate(timeout=120)


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}


@pytest.fixture
def cellar(tmp_path: Path, mosquitto: Server) -> Iterator[Cellar]:
    it = Cellar(tmp_path, mosquitto)
    yield it
    it.close()


def test_the_second_says_which_and_leaves(cellar: Cellar) -> None:
    """Each by itself, with the process that has it and the remedy; nothing of its own is made."""
    first = cellar.start("first")
    here, port = cellar.here, cellar.broker.port
    for what, says in {
        "port": f"another daemon (process {first.pid}) has the port {here}/first-vfo; stop it, or "
        "give this one another port",
        "socket": f"another daemon serves at {here}/first.sock; stop it, or give this one another "
        "control socket",
        "journal": f"another daemon (process {first.pid}) writes the journal {here}/first.sqlite; "
        "stop it, or give this daemon a journal of its own",
        "mqtt": f"a daemon (process {first.pid} on {os.uname().nodename}) stands at the MQTT "
        f"broker mqtt://127.0.0.1:{port} as vfod-first; stop it, or give this daemon another name "
        "under mqtt",
    }.items():
        shared = {
            "port": f"{here}/first-vfo",
            "socket": f"{here}/first.sock",
            "journal": f"{here}/first.sqlite",
            "mqtt": "first",
        }[what]
        status, said = cellar.run("second", **{what: shared})
        assert (AlreadyRunningError.exit_code, f"vfod: {says}") == (status, said)
        assert not (here / "second.sqlite").exists()
        assert not (here / "second.sock").exists()
        assert first.poll() is None
    assert "already connected, closing old connection" not in cellar.broker.log()


def test_two_that_share_nothing_live_side_by_side(cellar: Cellar) -> None:
    """One broker, two names: each has topics of its own, and one that ends takes only its own."""
    first, second = cellar.start("first"), cellar.start("second")
    assert (None, None) == (first.poll(), second.poll())
    roots = ("first/$state", "second/$state")
    held: dict[str, str] = {}
    for _ in range(50):
        held = retained(cellar.broker.port)
        if [held.get(root) for root in roots] == ["ready", "ready"]:
            break
    assert ["ready", "ready"] == [held.get(root) for root in roots]
    assert {"first", "first-main", "second", "second-main"} == {
        topic.partition("/")[0] for topic in held
    }
    first.terminate()
    first.wait(120)
    held = retained(cellar.broker.port)
    assert ["disconnected", "ready"] == [held.get(root) for root in roots]
    assert second.poll() is None
