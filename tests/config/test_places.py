"""Where things are looked for: the orders that vfod/config/places.py states."""

import subprocess
import sys
from pathlib import Path

import pytest

from vfod.config import places
from vfod.errors import ConfigError, UsageError

HOME = {"HOME": "/home/me"}


def test_configuration() -> None:
    """The person's own before the machine's, a named one before both."""
    assert ["/home/me/.config/vfod/vfod.yaml", "/etc/vfod/vfod.yaml"] == places.config_places(HOME)
    xdg = HOME | {"XDG_CONFIG_HOME": "/conf"}
    assert ["/conf/vfod/vfod.yaml", "/etc/vfod/vfod.yaml"] == places.config_places(xdg)
    assert ["x.yaml"] == places.config_places(xdg | {"VFOD_CONFIG": "x.yaml"})
    assert ["/etc/vfod/vfod.yaml"] == places.config_places({})


def test_relative_xdg_directory() -> None:
    """The XDG Base Directory Specification (0.8) wants a relative path to be ignored."""
    odd = HOME | {"XDG_CONFIG_HOME": "conf"}
    assert "/home/me/.config/vfod/vfod.yaml" == places.config_places(odd)[0]


def test_socket() -> None:
    """A service's, the machine's, the person's own; a name in the environment before all."""
    session = {"XDG_RUNTIME_DIR": "/run/user/1000"}
    assert [
        "/run/vfod/control.sock",
        "/run/user/1000/vfod/control.sock",
    ] == places.socket_places(session)
    service = {"RUNTIME_DIRECTORY": "/run/night:/run/more"}
    assert ["/run/night/control.sock", "/run/vfod/control.sock"] == places.socket_places(service)
    assert ["/c.sock"] == places.socket_places(service, configured="/c.sock")
    named = {"VFOD_SOCKET": "/e.sock"}
    assert ["/e.sock"] == places.socket_places(named, configured="/c.sock")


def test_journal() -> None:
    """As the socket, with the person's own in the state directory."""
    assert [
        "/var/lib/vfod/journal.sqlite",
        "/home/me/.local/state/vfod/journal.sqlite",
    ] == places.journal_places(HOME)
    service = {"STATE_DIRECTORY": "/var/lib/night", "XDG_STATE_HOME": "/state"}
    assert [
        "/var/lib/night/journal.sqlite",
        "/var/lib/vfod/journal.sqlite",
        "/state/vfod/journal.sqlite",
    ] == places.journal_places(service)
    assert ["/c"] == places.journal_places(service, configured="/c")
    assert ["/e"] == places.journal_places({"VFOD_JOURNAL": "/e"}, configured="/c")


def test_find_config(tmp_path: Path) -> None:
    """The first that exists; what is named is taken at its word; else a list of places."""
    home = {"HOME": str(tmp_path)}
    with pytest.raises(ConfigError, match=r"no configuration at .* or /etc/vfod/vfod.yaml; write"):
        places.find_config(None, home)
    own = tmp_path / ".config/vfod/vfod.yaml"
    own.parent.mkdir(parents=True)
    own.touch()
    assert str(own) == places.find_config(None, home)
    assert "given.yaml" == places.find_config("given.yaml", home)
    assert "/not/there" == places.find_config(None, home | {"VFOD_CONFIG": "/not/there"})


def test_to_open(tmp_path: Path) -> None:
    """The first that exists, the first of all where none does."""
    here = tmp_path / "here"
    here.touch()
    missing = str(tmp_path / "missing")
    assert str(here) == places.to_open([missing, str(here)])
    assert missing == places.to_open([missing, "/no/such"])


def test_to_make(tmp_path: Path) -> None:
    """The first whose directory can be made or written to."""
    file = tmp_path / "file"
    file.touch()
    blocked = f"{file}/control.sock"
    fine = str(tmp_path / "new/deep/control.sock")
    assert fine == places.to_make([blocked, fine])
    assert "bare.sock" == places.to_make([blocked, "bare.sock"])
    with pytest.raises(UsageError, match="can be made by this user; name another place"):
        places.to_make([blocked])


def test_the_quick_verbs_pay_for_nothing() -> None:
    """Importing the places loads the places and the errors, and nothing of anyone else."""
    program = (
        "import sys; before = set(sys.modules); import vfod.config.places; "
        "print(*sorted(set(sys.modules) - before))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program],
        check=True,
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    assert ["vfod", "vfod.config", "vfod.config.places", "vfod.errors"] == ran.stdout.split()
