"""A daemon that is only a socket: it notes each line and answers with what the test gave it."""

import json
import logging
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from vfod.errors import VfodError
from vfod.outputs.rpc import failure


def success(text: str, **members: object) -> bytes:
    """An answer in the form that vfod.outputs.control promises."""
    answer = {"jsonrpc": "2.0", "id": "plain", "result": {**members, "text": text}}
    return json.dumps(answer, separators=(",", ":")).encode() + b"\n"


def refusal(error: VfodError) -> bytes:
    return failure("plain", error)


class Stub:
    """Listens at `path`; `answers` are given one a connection, the last one for ever."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.lines: list[bytes] = []
        self.answers = [success("done")]
        self._server = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._server.bind(str(path))
        self._server.listen()
        # A test that fails before it closes must not keep the whole run from its end.
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    @property
    def asked(self) -> list[dict[str, Any]]:
        """The lines as JSON knows them."""
        return [json.loads(line) for line in self.lines]

    def _serve(self) -> None:
        while True:
            client, _ = self._server.accept()
            with client, client.makefile("rb") as reader:
                line = reader.readline()
                if line == b"":
                    return
                self.lines.append(line)
                answer = self.answers[0] if len(self.answers) == 1 else self.answers.pop(0)
                # In two pieces, as a stream may bring it.
                client.sendall(answer[:9])
                client.sendall(answer[9:])
                if answer.endswith(b"\n"):
                    # As the daemon does, wait until the client goes.
                    reader.read()

    def close(self) -> None:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as last:
            last.connect(str(self.path))
        self._thread.join()
        self._server.close()


@pytest.fixture
def stub(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Stub]:
    """The stub at the socket that $VFOD_SOCKET names."""
    found = Stub(tmp_path / "control.sock")
    monkeypatch.setenv("VFOD_SOCKET", str(found.path))
    yield found
    found.close()


@pytest.fixture
def log() -> Iterator[None]:
    """Leave the loggers as they were found."""
    root = logging.getLogger()
    before, level = list(root.handlers), root.level
    yield
    root.handlers[:] = before
    root.setLevel(level)


CONFIG = """\
place: {zone: Europe/Berlin}
vfos:
  main:
    port: /dev/ttyACM0
    receiver:
      - {from: 3M, to: 15M, detector: envelope, intermediate_frequency: 455k}
bands:
  lower: {from: 7200k, to: 7240k}
  upper: {from: 7260k, to: 7300k}
sweeps:
  both: {bands: [lower, upper], joined: true}
windows:
  - {sweep: both, from: "22:00", until: "02:00"}
web: off
"""


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A configuration at which $VFOD_CONFIG points, and no daemon and no journal yet."""
    path = tmp_path / "vfod.yaml"
    path.write_text(CONFIG)
    monkeypatch.setenv("VFOD_CONFIG", str(path))
    monkeypatch.setenv("VFOD_SOCKET", str(tmp_path / "control.sock"))
    monkeypatch.setenv("VFOD_JOURNAL", str(tmp_path / "journal.sqlite"))
    return path
