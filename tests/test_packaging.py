"""What is built from the checkout holds everything the program needs, and starts."""

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import vfod

ROOT = Path(__file__).parents[1]


def _run(command: list[str], folder: Path) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert 0 == done.returncode, done.stdout + done.stderr


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel as an installer builds it, from the source archive."""
    folder = tmp_path_factory.mktemp("dist")
    build = [sys.executable, "-m", "hatchling", "build", "--directory", str(folder), "--target"]
    _run([*build, "sdist"], ROOT)
    _run(["tar", "xzf", str(next(folder.glob("*.tar.gz")))], folder)
    _run([*build, "wheel"], folder / f"vfod-{vfod.__version__}")
    return next(folder.glob("*.whl"))


def test_the_wheel_is_complete(wheel: Path) -> None:
    """Every file of the program is in it: tables, pages, C, example configurations, the unit."""
    wanted = {
        path.relative_to(ROOT).as_posix()
        for path in ROOT.glob("vfod/**/*.*")
        if path.suffix != ".pyc"
    }
    for folder in ("configs", "systemd"):
        wanted |= {
            f"vfod/shipped/{path.relative_to(ROOT)}"
            for path in (ROOT / folder).rglob("*")
            if path.is_file()
        }
    wanted.add("vfod/cli/launcher")
    with zipfile.ZipFile(wheel) as packed:
        names = set(packed.namelist())
    assert set() == wanted - names
    assert {"vfod", f"vfod-{vfod.__version__}.dist-info", f"vfod-{vfod.__version__}.data"} == {
        name.split("/")[0] for name in names
    }


def test_the_installed_command_starts(wheel: Path, tmp_path: Path) -> None:
    """The launcher is installed as `vfod`, runs this interpreter and finds the program."""
    install = "-m pip install --quiet --no-deps --no-index --disable-pip-version-check --target"
    _run([sys.executable, *install.split(), str(tmp_path), str(wheel)], tmp_path)
    command = tmp_path / "bin" / "vfod"
    assert f"#!{sys.executable}" == command.read_text().splitlines()[0]
    done = subprocess.run(
        [command, "--version"],
        env={"PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (0, f"vfod {vfod.__version__}\n", "") == (done.returncode, done.stdout, done.stderr)
