"""A journal of an older version with years in it is summed up beside everything else, however
often it is interrupted.
"""

import random
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import observed, stamped
from vfod.store import Keeping, Reader, Writer, schema, upkeep
from vfod.store.check import check

ROOT = Path(__file__).parents[2]

#: Of a night the visits, and how many of them are summed up at once: fewer than in the daemon, so
#: that there are many moments in a small journal.
NIGHTS, A_NIGHT, AT_ONCE, CHANNELS = 12, 3000, 2000, 300
#: Noon UTC before the first night.
FIRST = 1_795_608_000
END = FIRST + NIGHTS * 86400
#: The channels and nights of version 2, as a daemon of then would have written them; every tenth
#: channel's clock was not believed.
CHANNELS_OF_THEN = """
WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < ?1 - 1)
INSERT INTO channels
SELECT 100 + i, 5900000 + i * 5000, 'main', 'evening', 'b' || i % 7, 'dBm', i % 10 = 0 FROM n"""
NIGHT_OF_THEN = """
WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < ?2 - 1)
INSERT INTO observations
SELECT ?1 + 21600000 + i * 1200, 100 + i % ?3,
    ((-1000 + i * 7919 % 200) << 35) | ((3196 + i % 300) << 22) | (2946 << 9) | (8 << 2)
    | i * 31 % 3, i % 6
FROM n"""

#: Opens the journal and tends it to the end, and says each piece; lives until its input ends.
TENDS = f"""
import sys
from pathlib import Path
from vfod.store import Keeping, Writer, upkeep

upkeep.SUM_AT_ONCE = {AT_ONCE}
writer = Writer(Path(sys.argv[1]))
print("begins", flush=True)
writer.open({END}.0)
while writer.tend({END + 3600}.0, Keeping()):
    print("piece", flush=True)
sys.stdin.read()
writer.close()
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "journal.sqlite3"
    with closing(sqlite3.connect(path)) as db:
        db.executescript(Path(__file__).with_name("version-2.sql").read_text())
        db.execute("DELETE FROM observations")
        db.execute(CHANNELS_OF_THEN, (CHANNELS,))
        for night in range(NIGHTS):
            db.execute(NIGHT_OF_THEN, ((FIRST + night * 86400) * 1000, A_NIGHT, CHANNELS))
        db.commit()
    return path


def sums(path: Path, of: str) -> list[tuple[int, ...]]:
    """Of each night and channel: visits, active visits, the strongest level; by UTC."""
    questions = {
        "sums": "SELECT id >> 24, id & 0xFFFFFF, visits, active, (best >> 27) - 4096"
        " FROM channel_nights ORDER BY id",
        "observations": f"SELECT 1 + (key / 1000 - {FIRST}) / 86400 AS night, channel, count(*),"
        " sum(measured & 3 = 1), max(measured >> 35) FROM observations JOIN channels"
        " ON channels.id = channel WHERE NOT doubted GROUP BY night, channel ORDER BY 1, 2",
    }
    with closing(sqlite3.connect(path)) as db:
        return db.execute(questions[of]).fetchall()


@pytest.mark.no_leaks
def test_an_upgrade_that_is_killed_goes_on(path: Path) -> None:
    """Killed (signal 9) at random moments, in the migration too: sound each time, and in the end
    the sums say what the observations say.
    """
    chance = random.Random(4)
    before = sums(path, "observations")
    assert NIGHTS * (CHANNELS - CHANNELS // 10) == len(before)
    for pieces in (0, 1, 4, 8, 3, None):
        words = [sys.executable, "-c", TENDS, str(path)]
        with subprocess.Popen(
            words, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE
        ) as process:
            assert process.stdout is not None
            assert b"begins\n" == process.stdout.readline()
            if pieces is None:
                process.communicate()
                assert 0 == process.returncode
            else:
                for _ in range(pieces):
                    process.stdout.readline()
                killing = threading.Timer(chance.uniform(0.0, 0.01), process.kill)
                killing.start()
                killing.join()
                assert -signal.SIGKILL == process.wait()
        with closing(sqlite3.connect(path)) as db:
            assert [("ok",)] == db.execute("PRAGMA integrity_check").fetchall()
            assert [] == db.execute("PRAGMA foreign_key_check").fetchall()
            assert db.execute("PRAGMA user_version").fetchone()[0] in (2, len(schema.migrations()))
        assert before == sums(path, "observations")
    assert before == sums(path, "sums")
    assert [] == check(path, END + 3600.0, lambda _: None)


def test_the_daemon_writes_and_answers_between_the_pieces(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What came during a piece is written and told before the next one; nothing waits for the end,
    and nothing is told twice or not at all on the way.
    """
    monkeypatch.setattr(upkeep, "SUM_AT_ONCE", AT_ONCE)
    writer = Writer(path)
    writer.open(END)
    told, more = list[int](), True
    while more:
        number = len(told) + 1
        writer.add(stamped(number, observed(9_420_000), time=END + 3700.0 + number))
        writer.commit()
        assert (number, 0) == (writer.last_commit, writer.queued)
        with Reader(path) as reader:
            told.append(sum(one.visits for one in reader.channels()))
        more = writer.tend(END + 3600.0, Keeping(steady=False))
    writer.close()
    believed = sum(visits for _, _, visits, *_ in sums(path, "sums"))
    assert [believed + number for number in range(1, len(told) + 1)] == told
    # A night here takes two pieces and its beginning.
    assert 3 * NIGHTS + 1 == len(told)
