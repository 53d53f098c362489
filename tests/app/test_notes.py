"""A note through the front of a whole daemon: acknowledged, on the disk, and true of its time."""

from pathlib import Path

from tests.app.reloading import attended
from vfod import events as e
from vfod import requests as r
from vfod.app.front import DAY
from vfod.report.gather import notes
from vfod.store import Reader


async def test_notes_of_now_and_of_then(tmp_path: Path) -> None:
    """In a sweep the channel of now; of ten seconds ago the one that was visited then."""
    async with attended(tmp_path) as it:
        await it.visits()
        now = await it.ask(r.TakeNote(text="now", sinpo="45344", heard="Radio Brackwater"))
        visited = [
            (stamped.time, stamped.event)
            for stamped in it.seen
            if isinstance(stamped.event, e.ChannelObserved) and stamped.vfo == "main"
        ]
        when, seen = visited[-4]
        then = await it.ask(r.TakeNote(text="then", at=when - 0.5))
        # The journal is read anew, as a report does; a note is on the disk when it is answered.
        with Reader(it.journal) as reader:
            kept = notes(reader, it.clock.wall() - DAY, it.clock.wall() + DAY, "main")
        assert ["then", "now"] == [note.text for note in kept]
        assert (seen.dial, seen.level, when - 0.5) == (kept[0].dial, kept[0].level, kept[0].at)
        assert ("note-taken", "note-taken") == (now["event"], then["event"])
        assert now["data"]["dial"] == kept[1].dial
        # Nobody had to yield for it.
        assert not [s for s in it.seen if isinstance(s.event, e.SweepYielded)]
