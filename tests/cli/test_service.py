"""`vfod service`: the files of a service from the program alone, and the rule of a port."""

import os
import sys
from pathlib import Path

import pytest

from vfod.__main__ import main
from vfod.cli.service import device_at, files, rule
from vfod.cli.verbs import described
from vfod.device.diagnosis import Device
from vfod.device.surroundings import Surroundings
from vfod.errors import UsageError

SYSTEMD = Path(__file__).parents[2] / "systemd"

VFO = Device(
    path="/dev/ttyACM0", about="USB 1209:abcd maker vfo 0007", vendor="1209", product="abcd",
    serial="0007",
)  # fmt: skip


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A place where the program is installed, at which `sys.prefix` points."""
    prefix = tmp_path / "opt"
    (prefix / "bin").mkdir(parents=True)
    (prefix / "bin" / "vfod").touch()
    monkeypatch.setattr(sys, "prefix", str(prefix))
    return prefix


def test_everything_is_put_where_it_belongs(
    installed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each file as it is shipped, for everyone to read, and the program that is really there."""
    root = tmp_path / "root"
    assert 0 == main(["service", "install", "--root", str(root)])
    told = capsys.readouterr().out.splitlines()
    assert "Now: sudo systemd-sysusers && sudo systemd-tmpfiles --create vfod.conf" == told.pop()
    assert {str(path) for path in root.rglob("*") if not path.is_dir()} == {*told}
    unit = (root / "etc/systemd/system/vfod.service").read_text()
    shipped = (SYSTEMD / "vfod.service").read_text()
    assert shipped.replace("/opt/vfod/bin/vfod", f"{installed}/bin/vfod") == unit
    assert f"\nExecStart={installed}/bin/vfod serve " in unit
    for name, where in (("vfod.sysusers", "sysusers.d"), ("vfod.tmpfiles", "tmpfiles.d")):
        assert (SYSTEMD / name).read_text() == (root / "etc" / where / "vfod.conf").read_text()
    assert (root / "usr/local/share/man/man1/vfod.1").read_text().startswith(".TH VFOD 1 ")
    completion = root / "usr/local/share/bash-completion/completions/vfod"
    assert "complete -o default -F _vfod vfod\n" in completion.read_text()
    completion = root / "usr/local/share/zsh/site-functions/_vfod"
    assert completion.read_text().startswith("#compdef vfod\n")
    assert (root / "usr/local/share/doc/vfod/documented.yaml").exists()
    written = [path for path in map(Path, told) if not path.is_symlink()]
    assert {0o644} == {path.stat().st_mode & 0o777 for path in written}
    assert installed / "bin" / "vfod" == (root / "usr/local/bin/vfod").readlink()


def test_a_newer_version_replaces_the_older(installed: Path, tmp_path: Path) -> None:
    """A second time is no error, and leaves what the shipped files say."""
    root = tmp_path / "root"
    assert 0 == main(["service", "install", "--root", str(root)])
    unit = root / "etc/systemd/system/vfod.service"
    before = unit.read_text()
    unit.write_text("older\n")
    assert 0 == main(["service", "install", "--root", str(root)])
    assert before == unit.read_text()


def test_a_program_that_the_service_cannot_see(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Homes are hidden from it: told before anything is written; as is one that is not there."""
    monkeypatch.setattr(sys, "prefix", "/home/listener/venv")
    assert 2 == main(["service", "install", "--root", str(tmp_path / "root")])
    says = "/home/listener/venv/bin/vfod is where the service may not look; install vfod into /opt"
    assert says in capsys.readouterr().err
    with pytest.raises(UsageError, match="there is no /nowhere/vfod; install vfod"):
        files(Path("/nowhere/vfod"), described)
    assert not (tmp_path / "root").exists()


def test_a_place_that_cannot_be_written(
    installed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without sudo, or where a command of that name is somebody else's: one line each."""
    (tmp_path / "file").touch()
    assert 2 == main(["service", "install", "--root", str(tmp_path / "file")])
    err = capsys.readouterr().err
    assert f"{tmp_path}/file/etc/systemd/system/vfod.service cannot be written" in err
    assert (os.getuid() == 0) != ("write sudo before it" in err)
    other = tmp_path / "root" / "usr/local/bin/vfod"
    other.parent.mkdir(parents=True)
    other.write_text("somebody else's")
    assert 2 == main(["service", "install", "--root", str(tmp_path / "root")])
    assert f"{other} is no link of ours; move it away" in capsys.readouterr().err
    assert "somebody else's" == other.read_text()


# --- the rule -----------------------------------------------------------------------------------


def test_the_rule_is_filled_in() -> None:
    """The numbers of the device, once for the device itself and once for its port."""
    usb, tty = [line for line in rule(VFO, "vfo0").splitlines() if not line.startswith("#")]
    assert 'ATTR{idVendor}=="1209", ATTR{idProduct}=="abcd"' in usb
    assert 'ATTRS{idVendor}=="1209", ATTRS{idProduct}=="abcd", SYMLINK+="vfod/vfo0"' in tty
    assert "VVVV" not in rule(VFO, "vfo0")
    assert "PPPP" not in rule(VFO, "vfo0")


def test_two_of_a_kind() -> None:
    """A name for each, and the serial number in the rule for the port, which alone has names."""
    usb, tty = rule(VFO, "upper-set", serial=True).splitlines()[1:]
    assert 'ATTRS{idProduct}=="abcd", ATTRS{serial}=="0007", SYMLINK+="vfod/upper-set"' in tty
    assert "serial" not in usb
    nameless = Device(path="/dev/ttyUSB0", about="", vendor="1209", product="0002")
    with pytest.raises(UsageError, match="/dev/ttyUSB0 has no serial number"):
        rule(nameless, "vfo0", serial=True)


@pytest.mark.parametrize("name", ["", "a b", "../x", 'a"b', "-"])
def test_a_name_that_would_break_the_rule(name: str) -> None:
    """Only letters, digits and hyphens."""
    with pytest.raises(UsageError, match="use letters, digits and hyphens"):
        rule(VFO, name)


def test_a_port_without_numbers(tmp_path: Path) -> None:
    """One of the board keeps its name anyhow; one that is not there is told beside what is."""
    for name in ("sys", "dev"):
        (tmp_path / name).mkdir()
    (tmp_path / "sys" / "ttyS0" / "device").mkdir(parents=True)
    (tmp_path / "dev" / "ttyS0").touch()
    around = Surroundings(ttys=tmp_path / "sys", stable=tmp_path, devices=tmp_path / "dev")
    with pytest.raises(UsageError, match=f"write {tmp_path}/dev/ttyS0 into the configuration"):
        device_at(f"{tmp_path}/dev/ttyS0", around)
    with pytest.raises(UsageError, match="plug the VFO in; none is there now"):
        device_at(f"{tmp_path}/dev/ttyACM0", around)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("rule", "vfod service rule needs a port; see `vfod doctor`"),
        ("install /dev/ttyACM0", "vfod service install takes no '/dev/ttyACM0'; a port"),
        ("rule /dev/null", "there is no serial device /dev/null; "),
    ],
)
def test_wrong_words(words: str, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A line that says what to do."""
    assert 2 == main(["service", *words.split()])
    assert says in capsys.readouterr().err
