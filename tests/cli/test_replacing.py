"""How a daemon is stopped and started again, by what the system says of its process."""

import os
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING
from vfod.cli import replacing
from vfod.cli.replacing import Ways, live_beside, ways
from vfod.store import Writer
from vfod.store.file import holder

HERE = os.getpid()


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Path]:
    """One that this process writes."""
    writer = Writer(tmp_path / "journal.sqlite")
    writer.open(EVENING)
    with closing(writer):
        yield writer.path


@pytest.fixture
def process(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder as the kernel shows it of this process, proc(5), to be filled."""
    folder = tmp_path / "proc" / str(HERE)
    folder.mkdir(parents=True)
    (folder / "cmdline").write_bytes(b"/opt/vfod/bin/vfod\0serve\0--config\0/home/a b.yaml\0")
    (folder / "cwd").symlink_to("/home")
    monkeypatch.setattr(replacing, "_PROCESSES", folder.parent)
    monkeypatch.setattr(replacing, "_UNIT", tmp_path / "vfod.service")
    return folder


@pytest.mark.parametrize(
    ("path", "control"),
    [
        ("/system.slice/vfod.service", "systemctl"),
        ("/system.slice/vfod-attic.service", "systemctl"),
        (
            "/user.slice/user-1000.slice/user@1000.service/app.slice/vfod.service",
            "systemctl --user",
        ),
    ],
)
def test_a_service_is_stopped_by_its_manager(
    journal: Path, process: Path, path: str, control: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its unit is the last part of its control group, cgroups(7)."""
    (process / "cgroup").write_text(f"0::{path}\n")
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    name = Path(path).stem
    expected = Ways(stop=(f"{control} stop {name}",), start=(f"{control} start {name}",))
    assert expected == ways(journal)
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    may = "" if "--user" in control else "sudo "
    assert (f"{may}{control} stop {name}",) == ways(journal).stop


@pytest.mark.parametrize("path", ["/", "/user.slice/user-1000.slice/session-2.scope"])
def test_any_other_is_stopped_by_its_number(journal: Path, process: Path, path: str) -> None:
    """And started by its own words, where it was; its end is waited for, until when it writes."""
    (process / "cgroup").write_text(f"0::{path}\n")
    stop = f"kill {HERE}; while kill -0 {HERE} 2>/dev/null; do sleep 1; done"
    start = ("cd /home", "/opt/vfod/bin/vfod serve --config '/home/a b.yaml'")
    assert Ways(stop=(stop,), start=start) == ways(journal)


def test_one_that_does_not_run(tmp_path: Path, process: Path) -> None:
    """There is nothing to stop; it is a service where there is one, or the plain command."""
    journal = tmp_path / "journal.sqlite"
    assert Ways(stop=(), start=("vfod serve",)) == ways(journal)
    (tmp_path / "vfod.service").write_text("")
    assert () == ways(journal).stop
    assert ways(journal).start[0].endswith("systemctl start vfod")


def test_who_holds_a_journal(journal: Path, tmp_path: Path) -> None:
    """As long as it is open; nobody an hour after."""
    assert HERE == holder(journal)
    other = Writer(tmp_path / "other.sqlite")
    assert holder(other.path) is None
    other.open(EVENING)
    assert HERE == holder(other.path)
    other.close()
    assert holder(other.path) is None


def test_a_file_that_was_set_aside_is_known_by_its_name() -> None:
    """And so is the journal that was begun in its place."""
    for name in ("set-aside-20261125T200000Z", "set-aside-20261125T200000Z-2"):
        assert Path("/a/my.log.sqlite") == live_beside(Path(f"/a/my.log.{name}.sqlite"))
    assert live_beside(Path("/a/journal.sqlite")) is None
    assert live_beside(Path("/a/journal.set-aside.sqlite")) is None
