"""Notes of the listener: the daemon adds where the dial was, and what was measured there.

A note about now is stamped with a reading made now, because the last observation may be of another
channel. A note about earlier is stamped with what the journal remembers of that time.
"""

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import LineError, RefusedError, RequestError
from vfod.radio.bands import Band, band_at
from vfod.requests import TakeNote
from vfod.run.hearing import Ears
from vfod.run.stream import Stream
from vfod.run.tuner import Tuner

#: A time is not refused for being this much in the future: clocks of two machines differ.
AHEAD = 5.0

#: So many seconds of sound are listened to for a note taken now.
HEARD = 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Stood:
    """Where the dial stood at some time, hertz, and the level there as far as it is known."""

    dial: int | None
    level: float | None = None
    unit: str | None = None


#: A VFO's name and a time → what is remembered of it.
Remember = Callable[[str, float], Awaitable[Stood]]


class Notebook:
    """Takes the notes of one VFO."""

    def __init__(
        self,
        tuner: Tuner,
        stream: Stream,
        clock: Clock,
        bands: Sequence[Band],
        ears: Ears,
        remember: Remember,
    ) -> None:
        self._tuner = tuner
        self._stream = stream
        self._clock = clock
        self._bands = bands
        self._ears = ears
        self._remember = remember

    async def take(self, note: TakeNote, by: e.Origin, cause: str | None) -> e.Stamped:
        """Write a note down; RequestError for a time to come or before 1970."""
        now = self._clock.wall()
        if note.at is None:
            stood = await self._now()
        elif note.at > now + AHEAD:
            raise RequestError("that time is still to come", remedy="note what was, or what is")
        elif note.at < 0:
            # Before there was anything to remember, and perhaps before any date can be written.
            raise RequestError("that time is before 1970", remedy="note what was lately")
        else:
            stood = await self._remember(self._tuner.name, note.at)
        band = None if stood.dial is None else band_at(stood.dial, self._bands)
        taken = e.NoteTaken(
            text=note.text,
            sinpo=note.sinpo,
            heard=note.heard,
            at=now if note.at is None else note.at,
            dial=stood.dial,
            band=band.name if band else None,
            level=stood.level,
            unit=stood.unit,
            by=by,
        )
        return self._stream.emit(taken, vfo=self._tuner.name, cause=cause)

    async def _now(self) -> Stood:
        dial = self._tuner.dial
        if dial is None:
            return Stood(dial=None)
        try:
            reading = await self._tuner.read()
        except (RefusedError, LineError):
            return Stood(dial=dial)
        # Whoever moved it meanwhile has made the reading one of another place.
        if self._tuner.dial != dial:
            return Stood(dial=dial)
        now = self._clock.monotonic()
        try:
            level = self._ears.read(dial, reading.level, now - HEARD, now).level
        except RefusedError:
            # Turned to where the receiver has no range.
            level = None
        if level is None:
            return Stood(dial=dial)
        return Stood(dial=dial, level=round(level.value, 1), unit=level.unit)
