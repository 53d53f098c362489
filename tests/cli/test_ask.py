"""What stands in the way of the control socket, each with its line and exit code."""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from vfod.__main__ import main
from vfod.cli import ask


def _says(capsys: pytest.CaptureFixture[str]) -> str:
    out, err = capsys.readouterr()
    assert ("", 1) == (out, err.count("\n"))
    return str(err)


def test_no_socket(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The socket tried, and how to come to a daemon."""
    assert 6 == main(["nudge", "+", "--socket", str(tmp_path / "none")])
    assert (
        f"vfod: no daemon listens at {tmp_path}/none; start it with `vfod serve`, or name its "
        "socket by --socket or $VFOD_SOCKET\n" == _says(capsys)
    )


def test_no_socket_at_any_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a name all places that were looked at are told."""
    if Path("/run/vfod").exists():
        pytest.skip("this machine has a daemon")
    for name in ("VFOD_SOCKET", "RUNTIME_DIRECTORY"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    assert 6 == main(["status"])
    places = f"/run/vfod/control.sock or {tmp_path}/vfod/control.sock"
    assert f"no daemon listens at {places}; " in _says(capsys)


def test_a_socket_that_was_left_behind(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A dead daemon's socket is as good as none."""
    path = tmp_path / "dead"
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(path))
    assert 6 == main(["status", "--socket", str(path)])
    assert f"no daemon listens at {path}; " in _says(capsys)


def test_a_file_in_its_place(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A path that goes through a file, or to one, has no daemon at its end."""
    (tmp_path / "file").touch()
    for path in (tmp_path / "file", tmp_path / "file" / "socket"):
        assert 6 == main(["status", "--socket", str(path)])
        assert f"no daemon listens at {path}; " in _says(capsys)


def test_a_path_that_is_too_long(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The kernel takes 107 bytes; what is longer is the caller's mistake."""
    assert 2 == main(["status", "--socket", str(tmp_path / ("x" * 200))])
    assert "cannot be used: AF_UNIX path too long; name another --socket" in _says(capsys)


def test_a_daemon_that_does_not_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The patience has an end."""
    monkeypatch.setattr(ask, "PATIENCE", 0.05)
    path = tmp_path / "busy"
    with socket.socket(socket.AF_UNIX) as busy:
        busy.bind(str(path))
        busy.listen()
        assert 6 == main(["status", "--socket", str(path)])
    assert f"the daemon at {path} has not answered for 0 s; its log says more" in _says(capsys)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder into which other users can look, unlike pytest's own."""
    folder = Path(tempfile.mkdtemp(dir="/tmp"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


#: Everything is imported before root becomes nobody, who may not read a checkout of root's.
_AS_NOBODY = """
import grp, os, sys
from vfod.__main__ import main
from vfod.cli import quick
os.setgroups([])
os.setgid(65534)
os.setuid(65534)
sys.exit(main(sys.argv[1:]))
"""


def _as_nobody(path: Path) -> str:
    command = [sys.executable, "-c", _AS_NOBODY, "nudge", "+", "--socket", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (6, "") == (done.returncode, done.stdout)
    return done.stderr


def test_a_socket_of_a_group(open_folder: Path) -> None:
    """Who may not use it is told which group may, whether the socket or its folder is closed."""
    if os.getuid() != 0:
        pytest.skip("only root can take another user's part")
    folder = open_folder / "inner"
    folder.mkdir()
    path = folder / "control.sock"
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(path))
        server.listen()
        path.chmod(0o660)
        # A group that every Debian has and that nobody is not in.
        shutil.chown(path, group="daemon")
        shutil.chown(folder, group="daemon")
        for mode in (0o755, 0o750):
            folder.chmod(mode)
            assert (
                f"vfod: this user may not use the control socket {path}, which is for the group "
                "daemon; join it with `sudo usermod -aG daemon $USER` and log in again\n"
                == _as_nobody(path)
            )
        # Joining root's group is no advice to give.
        shutil.chown(path, group="root")
        folder.chmod(0o755)
        assert "give it a group by control.group in the configuration" in _as_nobody(path)
