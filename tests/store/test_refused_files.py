"""Files that cannot be a journal, and users who may not have one."""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.store.samples import EVENING, HOLDS, filled
from vfod.errors import StoreError
from vfod.store import Reader, Writer

ROOT = Path(__file__).parents[2]
#: A user who owns nothing ("nobody" of Debian and others).
NOBODY = 65_534


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite3"


def test_a_folder_is_no_journal(path: Path) -> None:
    """A folder in the journal's place is named, for a writer and for a reader."""
    path.mkdir()
    for opens in (Reader, lambda path: Writer(path).open(EVENING)):
        with pytest.raises(StoreError, match=r"journal\.sqlite3 is a folder; name"):
            opens(path)


def test_a_missing_journal(path: Path) -> None:
    """A reader makes no file; it says that there is none and where one would come from."""
    with pytest.raises(StoreError, match=r"there is no journal .*; start the daemon once"):
        Reader(path)
    assert [] == list(path.parent.iterdir())


def test_missing_folders_are_made(tmp_path: Path) -> None:
    """The journal may be in a folder that is not there yet."""
    path = tmp_path / "var" / "lib" / "journal.sqlite3"
    writer = Writer(path)
    writer.open(EVENING)
    writer.close()
    assert path.is_file()


def test_a_folder_that_cannot_be(tmp_path: Path) -> None:
    """A file where a folder should be, and a place where nobody may write, not even root."""
    (tmp_path / "file").touch()
    for path in (tmp_path / "file" / "journal.sqlite3", Path("/proc/vfod/journal.sqlite3")):
        with pytest.raises(StoreError, match=f"{path} cannot be written.*let this user write"):
            Writer(path).open(EVENING)


AS_NOBODY = """
import os, sys
from pathlib import Path
from vfod.errors import StoreError
from vfod.store import Reader, Writer, schema

schema.migrations()  # while the program's own files can be read
if os.getuid() == 0:
    os.setgid(int(sys.argv[2]))
    os.setuid(int(sys.argv[2]))
try:
    if sys.argv[3] == "write":
        Writer(Path(sys.argv[1])).open(0.0)
    with Reader(Path(sys.argv[1])) as reader:
        print(len(reader.events()))
except StoreError as error:
    print(error)
"""


def as_nobody(path: Path, what: str) -> str:
    # Root may do everything, so the child becomes a user who may not.
    words = [sys.executable, "-c", AS_NOBODY, str(path), str(NOBODY), what]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert "" == done.stderr
    return done.stdout.strip()


@pytest.fixture
def public() -> Iterator[Path]:
    """A folder that every user may look into; pytest's own are private."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


def test_a_user_who_may_not_write(public: Path) -> None:
    """Neither a folder nor a file that is closed to this user ends in a traceback or a rename."""
    path = public / "journal.sqlite3"
    filled(path)
    (public / "journal.sqlite3.lock").chmod(0o666)
    path.chmod(0o444)
    before = path.read_bytes()
    public.chmod(0o555)
    says = as_nobody(path, "write")
    assert f"the journal {path} cannot be written" in says
    assert "let this user write to it" in says
    (public / "journal.sqlite3.lock").chmod(0o000)
    says = as_nobody(path, "write")
    assert "journal.sqlite3.lock: Permission denied; let this user write to that folder" in says
    assert before == path.read_bytes()
    public.chmod(0o755)


def test_a_user_who_may_only_read(public: Path) -> None:
    """A journal is read also where the reader may not make the file that readers share."""
    path = public / "journal.sqlite3"
    filled(path)
    public.chmod(0o555)
    assert "1" == as_nobody(path, "read")
    # The daemon of another user is at work, as when a listener looks at a service's journal.
    public.chmod(0o755)
    with subprocess.Popen(
        [sys.executable, "-c", HOLDS, str(path)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as daemon:
        assert daemon.stdout is not None
        daemon.stdout.readline()
        public.chmod(0o555)
        assert "2" == as_nobody(path, "read")
        daemon.kill()
    # Killed, it left its log behind; that is read all the same.
    assert "2" == as_nobody(path, "read")
    public.chmod(0o755)
    path.chmod(0o000)
    assert "cannot be read: unable to open database file; start" in as_nobody(path, "read")
