"""The detector's counts, read one after the other from the moment that the dial is moved.

It is what a level table and a settle time are made from; a sweep reads far more rarely.
"""

from collections.abc import Callable
from statistics import median
from typing import NamedTuple

from vfod import events as e
from vfod import requests as r
from vfod.clock import Clock
from vfod.errors import RefusedError
from vfod.run.tuner import Tuner


class Watched(NamedTuple):
    """The event that it caused, and pairs of seconds since the dial was moved and counts."""

    stamped: e.Stamped
    counts: list[tuple[float, int]]


class LevelWatch:
    """Watches the level of one VFO; `emit` tells what happened to it."""

    def __init__(
        self, tuner: Tuner, clock: Clock, emit: Callable[[e.Event, str | None], e.Stamped]
    ) -> None:
        self._tuner = tuner
        self._clock = clock
        self._emit = emit

    async def move(self, wanted: r.WatchLevel, by: e.Origin, cause: str | None) -> float:
        """Put the dial there; gives when that was asked of the box (monotonic).

        Raises what tuning raises.
        """
        async with self._tuner.lock:
            began = self._clock.monotonic()
            hand = self._tuner.newest_hand
            await self._tuner.tune(wanted.frequency, by=by, hand=hand, cause=cause)
        return began

    async def watch(
        self, wanted: r.WatchLevel, began: float, by: e.Origin, cause: str | None
    ) -> Watched:
        """Read for so long.

        Raises RefusedError for a box without a detector, and where somebody moved the dial.
        """
        clock, found = self._clock, list[tuple[float, int]]()
        while not found or clock.monotonic() - began < wanted.seconds:
            asked = clock.monotonic()
            reading = await self._tuner.read()
            if reading.level is None:
                raise RefusedError(
                    "this VFO has no level detector", remedy="take levels from the audio instead"
                )
            if self._tuner.dial != wanted.frequency:
                raise RefusedError(
                    "the dial was moved while its level was watched", remedy="watch it again"
                )
            # Somewhere between question and answer.
            time = (asked + clock.monotonic()) / 2 - began
            found.append((round(time, 6), reading.level))
            await clock.sleep_until(asked + wanted.every)
        event = e.LevelWatched(
            dial=wanted.frequency,
            seconds=wanted.seconds,
            readings=len(found),
            counts=round(median(counts for _, counts in found)),
            by=by,
        )
        return Watched(self._emit(event, cause), found)
