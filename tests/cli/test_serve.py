"""`vfod serve` and `vfod simulate` as processes, and what keeps a daemon from starting."""

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from vfod.__main__ import main

VFOD = [sys.executable, "-m", "vfod"]


def test_a_second_daemon(config: Path, log: None, capsys: pytest.CaptureFixture[str]) -> None:
    """The control socket is taken: one line, its own exit code, nothing touched."""
    with socket.socket(socket.AF_UNIX) as other:
        other.bind(str(config.parent / "control.sock"))
        other.listen()
        assert 9 == main(["serve", "--log", "error"])
    err = capsys.readouterr().err
    assert f"vfod: another daemon serves at {config.parent}/control.sock; stop it" in err
    assert not (config.parent / "journal.sqlite").exists()


def test_no_place_for_the_socket(
    config: Path, log: None, capsys: pytest.CaptureFixture[str]
) -> None:
    """A place that cannot be made is told before anything starts."""
    (config.parent / "file").touch()
    assert 2 == main(["serve", "--log", "error", "--socket", f"{config.parent}/file/x/s"])
    assert f"vfod: there can be no {config.parent}/file/x/s: " in capsys.readouterr().err


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_it_ends_in_order(config: Path, number: signal.Signals) -> None:
    """Without a VFO it runs all the same, says where, and ends with 0 when told to."""
    journal = config.parent / "new" / "journal.sqlite"
    command = [*VFOD, "serve", "--journal", str(journal)]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        first = process.stderr.readline()
        assert f"configuration {config}, control socket {config.parent}/control.sock" in first
        status = [*VFOD, "status"]
        said = ""
        for _ in range(1000):
            said = subprocess.run(status, capture_output=True, text=True, check=False).stdout
            if "(missing)" in said:
                break
        assert "dial unknown; no sweep; link down (missing)\n" == said
        process.send_signal(number)
        assert 0 == process.wait(120)
        assert "ended in good order" in process.stderr.read().splitlines()[-1]
    assert journal.exists()
    assert not (config.parent / "control.sock").exists()


def test_the_simulator_as_a_process(tmp_path: Path) -> None:
    """It says where it is, takes keys from a pipe, and q ends it."""
    link = tmp_path / "vfo"
    command = [*VFOD, "simulate", "--link", str(link), "--keys", "--seed", "3"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        assert process.stdout.readline().endswith(f"on the air is at {link}\n")
        descriptor = os.open(link, os.O_RDWR | os.O_NOCTTY)
        os.close(descriptor)
        process.stdin.write("+++q")
        process.stdin.flush()
        assert 0 == process.wait(120)
    assert not link.exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("nowhere.yaml", "nowhere.yaml: cannot be read"),
        ("--listen nowhere", "'nowhere' is no address; write it like 127.0.0.1:7300"),
        ("--listen :0 --link x", "a link is for a pseudo-terminal; give either link or tcp"),
    ],
)
def test_a_simulator_that_cannot_be(
    capsys: pytest.CaptureFixture[str], words: str, says: str
) -> None:
    """Each its own line, and exit code 2."""
    assert 2 == main(["simulate", *words.split()])
    assert f"vfod: {says}" in capsys.readouterr().err
