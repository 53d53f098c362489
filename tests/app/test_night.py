"""One night, end to end: from the configuration file to the journal."""

import datetime as dt
import difflib
import os
from pathlib import Path

from tests.app.nights import EVENING, as_text, night
from tests.report.agreement import check
from vfod import events as e
from vfod.app.recall import Memory
from vfod.sim.air import Air
from vfod.sim.scenario import load as load_scenario
from vfod.store import Reader

GOLDEN = Path(__file__).parent.parent / "golden"
HOUR = 3600.0


async def test_the_golden_night(tmp_path: Path) -> None:
    """Ten hours with a hand, a reset and a lost line end in the same journal as ever.

    The page of the night, and the exports, agree with it.

    To accept a change that is meant: VFOD_GOLDEN=write pytest tests/app, and read the difference.
    """
    journal = tmp_path / "journal.sqlite"
    await night(
        GOLDEN / "night.yaml",
        journal,
        hours=12,
        incidents={
            2.0 * HOUR: lambda world, _: world.box.turn(3),
            4.0 * HOUR: lambda world, _: world.box.reset(),
            6.0 * HOUR: lambda _, port: port.unplug(),
            6.2 * HOUR: lambda _, port: port.plug(),
        },
    )
    text = as_text(journal)
    golden = GOLDEN / "night.txt"
    if os.environ.get("VFOD_GOLDEN") == "write":
        golden.write_text(text, encoding="utf-8")
    expected = golden.read_text(encoding="utf-8")
    difference = "\n".join(
        difflib.unified_diff(expected.splitlines(), text.splitlines(), "golden", "now", lineterm="")
    )
    assert expected == text, difference
    check(journal, GOLDEN / "night.yaml", dt.date(2026, 11, 25), tmp_path)


async def test_what_the_night_found_was_on_the_air(tmp_path: Path) -> None:
    """Channels found active most of the time had a station then; the simulator knows the truth."""
    journal = tmp_path / "journal.sqlite"
    await night(GOLDEN / "night.yaml", journal, hours=3)
    air = Air(load_scenario(), 11)
    with Reader(journal) as reader:
        visits = list(reader.observations())
    found = [v for v in visits if v.observed.active]
    assert 100 < len(found)
    # A strong neighbour shows on the next channel too: what is within 5 kHz counts.
    true = [v for v in found if air.present(v.observed.dial, v.time - 2, 7_500)]
    assert len(true) > 0.95 * len(found)


async def test_a_daemon_killed_in_mid_window_goes_on_where_it_stopped(tmp_path: Path) -> None:
    """The second run takes up the night at the channel the journal has last."""
    journal = tmp_path / "journal.sqlite"
    await night(GOLDEN / "night.yaml", journal, hours=1.51)
    at = EVENING + 1.6 * HOUR
    remembered = Memory(journal).of("main", at)
    assert remembered.left_off is not None
    with Reader(journal) as reader:
        last = list(reader.observations())[-1]
    assert last.observed.dial == remembered.left_off.dial
    await night(GOLDEN / "night.yaml", journal, hours=0.5, wall=at)
    with Reader(journal) as reader:
        starts = [n.event for n in reader.events(kinds=("sweep-started",))]
        resumed = next(reader.observations(since=at))
    assert isinstance(starts[-1], e.SweepStarted)
    assert last.observed.dial == starts[-1].dial == resumed.observed.dial


async def test_nothing_is_remembered_of_a_sweep_that_a_person_stopped(tmp_path: Path) -> None:
    """Neither of an absent journal nor of one that is no journal."""
    assert Memory(tmp_path / "none.sqlite").of("main", EVENING).left_off is None
    garbage = tmp_path / "garbage.sqlite"
    garbage.write_bytes(b"this is no database" * 100)
    assert Memory(garbage).of("main", EVENING).left_off is None
