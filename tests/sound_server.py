"""A sound server of a test's own, without a sound card: what is played into it is recorded.

Its home is a folder of the test, so it meets no other server.
"""

import os
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.real_parts import real_part

#: The name of what is played into, and of what it is recorded from.
SINK, SOURCE = "rx", "rx.monitor"

#: Tries, 20 ms apart, until it must answer: a minute.
_TRIES = 3000


class SoundServer:
    """The server, and the environment by which the programs find it."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        runtime = folder / "runtime"
        (runtime / "pulse").mkdir(parents=True, mode=0o700)
        runtime.chmod(0o700)
        self.environment = {
            "HOME": str(folder),
            "XDG_RUNTIME_DIR": str(runtime),
            "PULSE_RUNTIME_PATH": str(runtime / "pulse"),
        }

    def start(self) -> None:
        """Start it, and return when it answers."""
        command = [real_part("pulseaudio"), "-n", "--daemonize=no", "--exit-idle-time=-1"]
        command += ["--disable-shm=yes", "--log-level=error"]
        command += ["-L", "module-native-protocol-unix auth-anonymous=1"]
        # Without rewinding it keeps 50 ms; else up to two seconds, now more, now less.
        command += ["-L", f"module-null-sink sink_name={SINK} rate=8000 channels=1 norewinds=1"]
        with (self._folder / "server.log").open("ab") as log:
            self._process = subprocess.Popen(
                command, env=self._all(), stdin=subprocess.DEVNULL, stdout=log, stderr=log
            )
        ask = [real_part("pactl"), "info"]
        for _ in range(_TRIES):
            if (
                0
                == subprocess.run(ask, env=self._all(), capture_output=True, check=False).returncode
            ):
                return
            try:
                self._process.wait(0.02)
            except subprocess.TimeoutExpired:
                continue
            break
        self.kill()
        pytest.fail(f"no sound server:\n{(self._folder / 'server.log').read_text()}")

    def kill(self) -> None:
        """End it without a word."""
        process, self._process = self._process, None
        if process is not None:
            process.send_signal(signal.SIGKILL)
            process.wait(60)

    def _all(self) -> dict[str, str]:
        return {**os.environ, **self.environment}


@pytest.fixture
def sound_server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[SoundServer]:
    """Running; programs started by this process find it."""
    folder = tmp_path / "sound"
    folder.mkdir()
    server = SoundServer(folder)
    for name, value in server.environment.items():
        monkeypatch.setenv(name, value)
    server.start()
    yield server
    server.kill()
