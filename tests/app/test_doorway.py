"""Doors that the configuration exchanges while the daemon runs."""

import asyncio

import pytest

from vfod import events as e
from vfod.app.doors import Doorway
from vfod.sim.jump import SimClock


class Door:
    """Writes down when it works, and takes a second to close."""

    def __init__(self, name: str, log: list[str], clock: SimClock) -> None:
        self._name, self._log, self._clock = name, log, clock

    async def run(self) -> None:
        self._log.append(f"{self._name} opens")
        try:
            await asyncio.get_running_loop().create_future()
        finally:
            await self._clock.sleep_until(self._clock.monotonic() + 1)
            self._log.append(f"{self._name} is closed")


class Broken:
    async def run(self) -> None:
        raise RuntimeError("a defect")


async def test_one_door_is_closed_before_the_next_one_opens() -> None:
    """They may want the same address; switched off is told, and on again is possible."""
    clock, log = SimClock(0), list[str]()

    def door(name: str) -> Door:
        return Door(name, log, clock)

    told: list[e.Event] = []
    way = Doorway[Door]("web", door("first"), told.append)
    living = asyncio.create_task(way.run())
    await clock.sleep_until(5)
    way.hang(door("lost"))
    way.hang(door("second"))
    await clock.sleep_until(10)
    assert ["first opens", "first is closed", "second opens"] == log
    assert [] == told
    way.hang(None)
    await clock.sleep_until(15)
    assert "second is closed" == log[-1]
    assert [e.DoorClosed(door="web")] == told
    way.hang(door("third"))
    await clock.sleep_until(20)
    assert "third opens" == log[-1]
    living.cancel()
    await asyncio.gather(living, return_exceptions=True)
    assert "third is closed" == log[-1]


async def test_a_defect_of_a_door_is_not_kept_silent() -> None:
    """A door rebuilds itself after a failure, so what comes out of it is another matter."""
    way = Doorway("web", Broken(), lambda _: None)
    with pytest.raises(RuntimeError, match="a defect"):
        await way.run()
