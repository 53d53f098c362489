"""When the journal's upkeep is done, and by which clock."""

import pytest

from tests.outputs.test_journal import Desk, Disk
from tests.store.samples import EVENING
from vfod import events as e
from vfod.outputs import journal as j
from vfod.store import Keeping


async def test_upkeep_is_done_piece_by_piece() -> None:
    """While there is more with a rest as long as a piece took, then a look every ten minutes."""
    disk = Disk()
    desk = Desk(disk)
    disk.takes = lambda: desk.wait(0.25)
    async with desk.at_work():
        await desk.wait(j.LOOK_EVERY + 10)
    begun = [when - EVENING for when, _ in disk.tended]
    piece = 0.25 * (1 + j.REST)
    third = 2 * piece + 0.25
    assert pytest.approx([0, piece, 2 * piece, third + j.LOOK_EVERY]) == begun[:4]


@pytest.mark.parametrize(
    "event",
    [
        e.ClockJumped(seconds=86400.0, cause="set"),
        e.ClockDoubted(known=EVENING, reason="before-journal"),
        e.ClockTrusted(doubted=5.0),
    ],
)
async def test_nothing_is_called_old_by_a_clock_that_is_new(event: e.Event) -> None:
    """An hour after the start, or after the clock was disturbed; a wrong one is set by then."""
    disk = Disk()
    desk = Desk(disk)

    def steady() -> set[bool]:
        found = {keeping.steady for _, keeping in disk.tended}
        disk.tended.clear()
        return found

    async with desk.at_work():
        await desk.wait(j.STEADY - 1)
        assert {False} == steady()
        desk.happen(event)
        await desk.wait(j.STEADY - 1)
        assert {False} == steady()
        await desk.wait(2 * j.LOOK_EVERY)
        assert steady() >= {True}


async def test_how_long_is_kept_may_change() -> None:
    """The next piece goes by what the configuration says then."""
    disk = Disk()
    desk = Desk(disk)
    async with desk.at_work():
        await desk.wait(j.LEAST_REST / 2)
        desk.journal.keeping = Keeping(keep=400 * 86400.0)
        await desk.wait(2 * j.LEAST_REST)
    assert [None, 400 * 86400.0] == [keeping.keep for _, keeping in disk.tended[:2]]
