"""A journal that was damaged, back at work by the commands that `vfod journal repair` prints."""

import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from tests.store.test_care import filled, pages_of, spoil
from vfod.store import Reader
from vfod.store.check import check

ROOT = Path(__file__).parents[2]
pytestmark = [pytest.mark.real_time, pytest.mark.timeout(120)]

CONFIG = """
place: {zone: UTC}
vfos: {main: {port: /dev/none}}
sweeps: {evening: {bands: [41m]}}
web: off
"""
#: A day after the samples' evening, for the times in the repaired file.
LATER = 1_795_636_800.0 + 400 * 86400
#: How often a daemon that starts is asked, and the seconds in between.
_TRIES, _PAUSE = 300, 0.1


class House:
    """A folder with a daemon's files, and how to run things in it."""

    def __init__(self, here: Path) -> None:
        self.journal = here / "the journal.sqlite"
        self.socket = here / "control.sock"
        self.config = here / "vfod.yaml"
        self.config.write_text(CONFIG)
        # `vfod` as it is installed, and the same for what the daemon was started with.
        bin = str(Path(sys.executable).parent)
        self.environment = {**os.environ, "PATH": f"{bin}:{os.environ['PATH']}"}
        self.environment |= {"VFOD_CONFIG": str(self.config), "VFOD_SOCKET": str(self.socket)}
        self.environment |= {"VFOD_JOURNAL": str(self.journal), "PYTHONPATH": str(ROOT)}
        self.log = here / "log"

    def run(self, command: str, code: int = 0) -> str:
        """A line for the shell, as a person types it; what it said."""
        done = subprocess.run(
            ["sh", "-c", command], cwd=ROOT, env=self.environment, capture_output=True, text=True,
            check=False,
        )  # fmt: skip
        assert code == done.returncode, done.stdout + done.stderr
        return done.stdout + done.stderr

    @contextmanager
    def running(self, command: str) -> Iterator["subprocess.Popen[bytes]"]:
        """A daemon in the foreground of a terminal of its own; somebody waits for its end."""
        with self.log.open("ab") as log:
            process = subprocess.Popen(
                ["sh", "-c", f"exec {command}"], cwd=ROOT, env=self.environment, stdout=log,
                stderr=log,
            )  # fmt: skip
        waiting = threading.Thread(target=process.wait)
        waiting.start()
        try:
            yield process
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
            waiting.join()

    def note(self, text: str) -> None:
        """Have the daemon take a note, once it can."""
        for _ in range(_TRIES):
            if self.socket.exists() and self._noted(text):
                return
            threading.Event().wait(_PAUSE)
        raise AssertionError(self.log.read_text())

    def _noted(self, text: str) -> bool:
        words = ["vfod", "note", text]
        return subprocess.run(
            words, cwd=ROOT, env=self.environment, capture_output=True, check=False
        ).returncode == 0  # fmt: skip

    def notes(self, journal: Path) -> set[str]:
        with Reader(journal) as reader:
            return {entry.data["text"] for entry in reader.events(kinds=("note-taken",))}


def told(said: str) -> list[list[str]]:
    """The commands in what was said, by the paragraphs that they belong to."""
    groups = re.findall(r":\n((?:  \S.*\n)+)", said)
    return [[line.strip() for line in group.splitlines()] for group in groups]


def test_what_was_set_aside_is_back_by_the_commands_that_are_told(tmp_path: Path) -> None:
    """Typed one after the other: the daemon goes on in the repaired file, and what it wrote in
    between is kept, and read by the command that is told for that.
    """
    house = House(tmp_path)
    filled(house.journal, rows=2000)
    spoil(house.journal, pages_of(house.journal, "observations")[-1])
    serve = f"{sys.executable} -m vfod serve"
    with house.running(serve), ExitStack() as later:
        house.note("in between")
        (aside,) = tmp_path.glob("the journal.set-aside-*.sqlite")
        assert aside.name in house.log.read_text()
        said = house.run(f"vfod journal repair --journal '{aside}'")
        commands, reading = told(said)
        *before, start = commands
        assert ["kill", "mkdir", "mv", "mv"] == [command.split()[0] for command in before]
        for command in before:
            house.run(command)
        later.enter_context(house.running(start))
        house.note("afterwards")
        assert ["afterwards"] == sorted(house.notes(house.journal))
    assert [] == [finding for finding in check(house.journal, LATER, print) if finding.damage]
    with Reader(house.journal) as reader:
        assert 1700 < sum(1 for _ in reader.observations()) < 2000
    (between,) = reading
    assert "in between" in house.run(between)
    (kept,) = tmp_path.glob("the journal.since-*/the journal.sqlite")
    assert {"in between"} == house.notes(kept)


def test_the_journal_of_a_running_daemon(tmp_path: Path) -> None:
    """Damage that the daemon has not met: check says what to type, repair refuses and says it
    too; typed as they are, the commands repair it and the daemon goes on.
    """
    house = House(tmp_path)
    filled(house.journal, rows=2000)
    spoil(house.journal, pages_of(house.journal, "observations")[2])
    quoted = f"'{house.journal}'"
    with house.running(f"{sys.executable} -m vfod serve"), ExitStack() as later:
        house.note("before")
        refused = house.run(f"vfod journal repair --journal {quoted}", code=9)
        (commands,) = told(house.run(f"vfod journal check --journal {quoted}", code=7))
        assert f"stop it first: `{'`, `'.join(commands)}`" in refused
        stop, again, start = commands
        house.run(stop)
        assert "it is in its place; to start the daemon again:" in house.run(again)
        later.enter_context(house.running(start))
        house.note("after")
        assert {"before", "after"} == house.notes(house.journal)
    assert [] == [finding for finding in check(house.journal, LATER, print) if finding.damage]


@pytest.mark.skipif(os.geteuid() != 0, reason="only the administrator gives a file away")
def test_a_repaired_journal_is_the_daemons(tmp_path: Path) -> None:
    """Whoever repairs it, as the administrator mostly: owner and rights are as before."""
    house = House(tmp_path)
    filled(house.journal, rows=100)
    os.chown(house.journal, 65534, 65534)
    house.journal.chmod(0o640)
    house.run(f"vfod journal repair --journal '{house.journal}'")
    found = house.journal.stat()
    assert (65534, 65534, 0o640) == (found.st_uid, found.st_gid, found.st_mode & 0o777)
