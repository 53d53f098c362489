"""A daemon that is killed loses nothing that it has acknowledged."""

import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING
from vfod.store import Reader, Writer

ROOT = Path(__file__).parents[2]

#: Writes without end, and says after each commit how far it has come.
UNDER_LOAD = """
import sys
from pathlib import Path
from tests.store.samples import observed, stamped, started, tuned
from vfod.store import Writer

writer = Writer(Path(sys.argv[1]))
writer.open(0.0)
writer.add(stamped(1, started()))
number, visits = 1, 0
while True:
    for _ in range(20):
        number, visits = number + 1, visits + 1
        writer.add(stamped(number, observed(5_000_000 + number % 700 * 5000)))
    number += 1
    writer.add(stamped(number, tuned(9_420_000)))
    writer.commit()
    print(writer.last_commit, visits, flush=True)
"""


# From the first commit to well beyond the first copying of the log into the file (at 1000 pages,
# which is some 150 commits).
@pytest.mark.parametrize("commits", [1, 2, 17, 140, 290, 600])
@pytest.mark.no_leaks
def test_kill_9_loses_nothing_acknowledged(commits: int, tmp_path: Path) -> None:
    """Killed somewhere after that many commits: the file is sound and has all it answered for."""
    path = tmp_path / "journal.sqlite3"
    words = [sys.executable, "-c", UNDER_LOAD, str(path)]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        said = [process.stdout.readline() for _ in range(commits)]
        process.kill()
        # Whatever it said before it died counts; a line without an end was not said.
        said += [line for line in process.stdout if line.endswith(b"\n")]
    acknowledged, visits = map(int, said[-1].split())
    assert -signal.SIGKILL == process.returncode

    with Reader(path) as reader:
        seen = [entry.sequence for entry in reader.events()]
        kept = sum(1 for _ in reader.observations())
    assert [1, *range(22, acknowledged + 1, 21)] == [n for n in seen if n <= acknowledged]
    assert kept >= visits
    writer = Writer(path)
    writer.open(EVENING)
    writer.close()
    assert [path, path.with_name("journal.sqlite3.lock")] == sorted(tmp_path.iterdir())
    with closing(sqlite3.connect(path)) as db:
        assert [("ok",)] == db.execute("PRAGMA integrity_check").fetchall()
        assert [] == db.execute("PRAGMA foreign_key_check").fetchall()
