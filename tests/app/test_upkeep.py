"""The journal's upkeep in the whole daemon: the night is summed up by the next afternoon."""

import sqlite3
from contextlib import closing
from pathlib import Path

from tests.app.nights import EVENING, night
from tests.app.test_night import GOLDEN
from vfod.store import Reader


async def test_the_night_is_summed_up_by_the_next_afternoon(tmp_path: Path) -> None:
    """By the clock of the configured place, from noon to noon; a visit is in one sum each."""
    journal = tmp_path / "journal.sqlite"
    # From 03:30 UTC to 12:40 UTC; noon in Berlin is at 11:00 UTC in November.
    await night(GOLDEN / "night.yaml", journal, hours=9.2, wall=EVENING + 9 * 3600)
    with Reader(journal) as reader:
        visits = sum(1 for _ in reader.observations())
    with closing(sqlite3.connect(journal)) as db:
        noons = db.execute(
            "SELECT strftime('%H:%M', begin / 1000, 'unixepoch'), summed = until, kept FROM nights"
        ).fetchall()
        sums = [
            db.execute(f"SELECT sum(visits) FROM {table}").fetchone()[0]
            for table in ("channel_nights", "band_hours")
        ]
    assert [("11:00", 1, 1)] == noons
    assert 300 < visits
    assert [visits, visits] == sums
