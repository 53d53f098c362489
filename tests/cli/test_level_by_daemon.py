"""`vfod level` by the running daemon: it owns the line, its sweep gives way and goes on."""

import asyncio
from pathlib import Path
from typing import Any

import pytest

from tests.app.reloading import SHELL, Attended, attended
from vfod import events as e
from vfod import requests as r
from vfod.cli.level import make_table, measure_settling
from vfod.cli.levelbox import READINGS, ByDaemon
from vfod.errors import OutOfRangeError, RefusedError
from vfod.state import SweepPhase, show

#: On the air at -60 dBm, and beside it; see tests/app/reloading.py.
STATION, EMPTY = 7_210_000, 7_230_000


class Asks(ByDaemon):
    """The same, asked in the loop that the daemon runs in."""

    def __init__(self, it: Attended) -> None:
        self._it = it
        self.asked: list[str] = []
        super().__init__(self._snapshot, it.daemon.config.vfos["main"])

    def _snapshot(self, method: str, params: dict[str, Any], seconds: float) -> dict[str, Any]:
        """What needs no waiting; a change is noted, and made by the test."""
        if method != "status":
            self.asked.append(method)
            return {"text": method}
        return show.to_plain(self._it.daemon.stream.state)

    async def _watch(self, dial: int, seconds: float, every: float) -> list[tuple[float, int]]:
        self._put = dial
        wanted = r.WatchLevel(frequency=dial, seconds=seconds, every=min(every, seconds))
        answer = await self._it.ask(wanted)
        return [(time, counts) for time, counts in answer["counts"]]


async def test_a_settle_is_measured_and_the_sweep_given_back(tmp_path: Path) -> None:
    """It yields to the person at the shell; afterwards it goes on at the channel it left."""
    async with attended(tmp_path) as it:
        box = Asks(it)
        home = it.daemon.vfos["main"].desk.home
        settings = it.daemon.config.vfos["main"]
        forth, back = await measure_settling(box, settings, EMPTY, STATION, 2.0)
        assert 40 == pytest.approx(forth.end - back.end, abs=4)
        assert forth.after is not None
        assert back.after is not None
        yielded = it.since(e.SweepYielded)
        assert {"shell (listener)"} == {str(event.to) for event in yielded}
        assert 1 == len({event.dial for event in yielded})
        assert SweepPhase.YIELDED is it.vfo().sweep.phase
        box.give_back()
        assert ["resume"] == box.asked
        await it.ask(r.Resume())
        await it.wait(0.1)
        assert [yielded[0].dial] == [event.dial for event in it.since(e.SweepResumed)]
        # Where it was measured is not where the window is to return to.
        assert home == it.daemon.vfos["main"].desk.home
        assert [] == it.since(e.LinkLost) + it.since(e.SweepEnded)


async def test_a_point_of_a_table_is_read_where_it_settled(tmp_path: Path) -> None:
    """The counts are those of the box, READINGS of them, and none of before the settle."""
    async with attended(tmp_path) as it:
        await it.ask(r.StopSweep())
        box = Asks(it)
        await box.place(STATION)
        counts = await box.counts()
        assert READINGS <= len(counts) <= READINGS + 1
        # The table of the configuration: 4095 counts are 120 dB.
        levels = [it.daemon.config.vfos["main"].level(one, STATION).value for one in counts]
        assert -60 == pytest.approx(sum(levels) / len(levels), abs=2)
        (watched,) = it.since(e.LevelWatched)
        assert (STATION, SHELL) == (watched.dial, watched.by)
        assert min(counts) <= watched.counts <= max(counts)
    assert any(line.startswith("level watched at 7210 kHz for ") for line in it.written())


async def test_without_a_sweep_the_dial_is_put_back(tmp_path: Path) -> None:
    """And left where somebody else has put it meanwhile, or where it was never moved."""
    async with attended(tmp_path) as it:
        await it.ask(r.StopSweep())
        await it.ask(r.Tune(frequency=7_300_000))
        box = Asks(it)
        assert "" == box.give_back()
        await box.jump(STATION, 1.0)
        box.give_back()
        assert ["tune"] == box.asked
        await it.ask(r.Tune(frequency=7_400_000))
        assert "" == box.give_back()


async def test_a_person_who_stays_is_not_overruled(tmp_path: Path) -> None:
    """A sweep that had yielded before is not resumed; the dial is put back."""
    async with attended(tmp_path) as it:
        await it.ask(r.Stay(seconds=3600.0))
        await it.ask(r.Tune(frequency=7_300_000))
        box = Asks(it)
        await box.jump(STATION, 1.0)
        box.give_back()
        assert ["tune"] == box.asked


async def test_a_hand_meanwhile_is_told(tmp_path: Path) -> None:
    """What was read is not of that frequency, so nothing is made of it."""
    async with attended(tmp_path) as it:
        await it.ask(r.StopSweep())
        before = r.WatchLevel(frequency=STATION, seconds=10.0)
        watching = asyncio.create_task(it.ask(before))
        await it.wait(2)
        await it.ask(r.Tune(frequency=7_300_000))
        with pytest.raises(RefusedError, match="the dial was moved while its level was watched"):
            await watching
        assert [] == it.since(e.LevelWatched)


async def test_a_frequency_that_cannot_be_is_refused_and_nothing_moves(tmp_path: Path) -> None:
    """The sweep does not even yield."""
    async with attended(tmp_path) as it:
        with pytest.raises(OutOfRangeError):
            await it.ask(r.WatchLevel(frequency=40_000_000, seconds=1.0))
        await it.until(e.PassCompleted)
        assert [] == it.since(e.SweepYielded)


async def test_a_box_without_a_detector_is_told_first(tmp_path: Path) -> None:
    """Before the person has connected anything."""
    blind = "box: {output: true, abilities: [output, mute]}\n"
    async with attended(tmp_path, scenario=blind) as it:

        async def prompt(text: str) -> str | None:
            raise AssertionError("nobody is to be asked")

        with pytest.raises(RefusedError, match="this VFO has no level detector"):
            await make_table(Asks(it), STATION, prompt)
