"""A disk that is full in the middle of the night, through the whole daemon."""

import itertools
import re
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.app.nights import EVENING, night
from tests.app.test_night import GOLDEN
from tests.store.samples import full_disk
from vfod import events as e
from vfod.sim.memory import MemoryPort
from vfod.sim.world import World
from vfod.store import Reader, waiting

HOUR = 3600.0
FULL, ROOM = 1.0 * HOUR, 4.0 * HOUR
#: Bytes of a file on the full disk: less than the smallest transaction.
LEFT = 8000
#: Entries that can wait, here; fewer than in earnest, so that the night can be short.
LIMIT = 1000


async def test_the_night_goes_on_and_the_loss_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three hours without room: every visit is made; what could not wait is counted.

    When there is room again it is written by itself: all events, and as many visits as could wait.
    """
    monkeypatch.setattr(waiting, "LIMIT", LIMIT)
    journal = tmp_path / "journal.sqlite"
    disk = ExitStack()

    def fill(_world: World, _port: MemoryPort) -> None:
        disk.enter_context(full_disk(LEFT))

    def make_room(_world: World, _port: MemoryPort) -> None:
        disk.close()

    with disk:
        daemon = await night(
            GOLDEN / "night.yaml", journal, hours=4.5, incidents={FULL: fill, ROOM: make_room}
        )
    state = daemon.stream.state
    with Reader(journal) as reader:
        seen = [one.time - EVENING for one in reader.observations()]
        entries = reader.events()
    failed = [one for one in entries if isinstance(one.event, e.DoorFailed)]
    full, lost = [one.event for one in failed if isinstance(one.event, e.DoorFailed)]
    assert ("journal", "journal") == (full.door, lost.door)
    assert "lost" == lost.reason
    assert abs(failed[0].time - EVENING - FULL) < 60
    # Told once while it lasted, and told while it lasted: the event waited with all others.
    counted = re.match(r"the (\d+) oldest entries", lost.detail)
    assert counted
    visits = state.vfos["main"].sweep.visits
    assert visits == len(seen) + int(counted[1])
    assert int(counted[1]) > 100
    # The visits before the disk was full are there, then a gap of the oldest, then all the rest.
    gaps = [(a, b) for a, b in itertools.pairwise(seen) if b - a > 300]
    ((begin, end),) = gaps
    assert abs(begin - FULL) < 60
    assert LIMIT == sum(end <= time < ROOM for time in seen)
    # Every pass of the night was completed, and is in the journal.
    passes = [one.time - EVENING for one in entries if one.kind == "pass-completed"]
    assert 5 < sum(FULL < time < ROOM for time in passes)
    assert max(b - a for a, b in itertools.pairwise(passes)) < HOUR
    assert state.doors["journal"].up
