"""One visit to a channel: tune, settle, read, and what the readings come to.

A visit's settle counts from the tune command, and the dwell follows it; the box's answer must fit
into the settle. A visit that somebody cuts short observes nothing.
"""

from collections.abc import Mapping

from vfod import events as e
from vfod.clock import Clock
from vfod.errors import HandError, LineError, LinkDownError, RefusedError
from vfod.plan.sweep import Visit
from vfod.run.clearance import Clearance
from vfod.run.hearing import LOOK, Ears, Reading, observation, still_active
from vfod.run.stream import Emit
from vfod.run.tuner import Tuner
from vfod.survey.activity import Detector

#: After a refusal because of a hand, its event is at most a twentieth of a second away
#: (docs/protocol.md: at most 20 events a second).
AFTER_REFUSAL = 0.1


class Visitor:
    """Makes the visits of one run of a sweep; `ears` and `detectors` may be changed between two."""

    def __init__(
        self,
        tuner: Tuner,
        clearance: Clearance,
        clock: Clock,
        emit: Emit,
        by: e.Origin,
        *,
        ears: Ears,
        detectors: Mapping[str, Detector],
    ) -> None:
        self._tuner = tuner
        self._clearance = clearance
        self._clock = clock
        self._emit = emit
        self._by = by
        self.ears = ears
        self.detectors = detectors
        #: What the box produces on this channel, millihertz; None where it could not be tuned.
        self._produced: int | None = None

    async def visit(self, visit: Visit, start: float) -> e.ChannelObserved | None:
        """Make one that is due at `start` (monotonic); None where it was cut short."""
        lateness = self._clock.monotonic() - start
        if not await self.tune(visit):
            return None
        settled = max(start + visit.settle, self._clock.monotonic())
        count = visit.sweep.readings
        readings: list[Reading] = []
        for index in range(count):
            due = settled + (index + 0.5) * visit.dwell / count
            if not await self._clearance.undisturbed_until(due):
                return None
            try:
                since = max(settled, due - max(LOOK, visit.dwell / count))
                reading = await self._look(visit, since)
            except LineError:
                # A reading that went with the line: the visit is made again on the next one.
                await self._clearance.pause(AFTER_REFUSAL)
                return None
            if reading is not None:
                readings.append(reading)
        observed = observation(
            visit,
            readings,
            self.ears,
            self.detectors[visit.sweep.name],
            wall=self._clock.wall(),
            lateness=lateness,
        )
        self._emit(observed)
        return observed

    async def is_active(self, visit: Visit, since: float) -> bool:
        """Whether a look finds the channel active, by what was heard since (monotonic).

        Raises LineError.
        """
        reading = await self._look(visit, since)
        return reading is not None and still_active(
            visit, reading, self.ears, self.detectors[visit.sweep.name], self._clock.wall()
        )

    async def tune(self, visit: Visit) -> bool:
        """Put the dial on the channel; False where somebody or the line was in the way."""
        hand = self._tuner.newest_hand
        try:
            async with self._tuner.lock:
                if self._clearance.disturbed:
                    return False
                tuned = await self._tuner.tune(visit.dial, by=self._by, hand=hand)
        except (HandError, LinkDownError, LineError):
            await self._clearance.pause(AFTER_REFUSAL)
            return False
        except RefusedError:
            # Out of the box's range or a fault of its hardware: the visit goes without a reading.
            self._produced = None
            return True
        self._produced = tuned.produced
        return True

    async def _look(self, visit: Visit, since: float) -> Reading | None:
        """One reading, or None; a dial that trembled away is put back. Raises LineError."""
        try:
            reading = await self._tuner.read()
        except RefusedError:
            return None
        if self._produced is None:
            return None
        if reading.frequency != self._produced:
            await self.tune(visit)
            return None
        return self.ears.read(visit.dial, reading.level, since, self._clock.monotonic())
