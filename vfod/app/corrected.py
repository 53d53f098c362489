"""Which correction of the crystal a VFO goes by: the measured one, or the configuration's.

A measured one is in the journal, where a restart finds it; the person's own file is not touched.
A figure that the file has itself goes before whatever was measured.
"""

import contextlib
import dataclasses
from fractions import Fraction

from vfod import events as e
from vfod import requests as r
from vfod.config.model import VfoConfig
from vfod.errors import LineError, RefusedError
from vfod.radio.receiver import Receiver
from vfod.run.stream import Stream
from vfod.run.tuner import Tuner
from vfod.state.model import SweepPhase

#: Phases of a sweep in which the next visit is near, and the one under way better left alone.
_MOVING = (SweepPhase.SWEEPING, SweepPhase.HOLDING)

#: Decimals of a correction in ppm that are kept: parts in 10^12, far below any measurement.
_DECIMALS = 6


class Corrected:
    """The receiver of one VFO with the correction in force; takes calibrations."""

    def __init__(
        self, settings: VfoConfig, stream: Stream, measured: e.CrystalCalibrated | None
    ) -> None:
        self._settings = settings
        self._stream = stream
        self._measured = measured
        self._tuner: Tuner | None = None
        #: By how much later what is received can be measured, seconds; see radio.receiver.Range.
        self._delay = 0.0

    @property
    def receiver(self) -> Receiver:
        """The receiver to go by."""
        described = self._settings.receiver
        if not self._settings.goes_by_measured or self._measured is None:
            return described.later(self._delay)
        error = Fraction(str(round(self._measured.error, _DECIMALS)))
        return dataclasses.replace(described, correction=error).later(self._delay)

    def serve(self, tuner: Tuner) -> None:
        """Keep that tuner by it."""
        self._tuner = tuner

    def tell(self, cause: str | None = None) -> None:
        """Say which correction is in force, where that is not known yet."""
        name = self._settings.name
        known = self._stream.state.vfos[name]
        correction = float(self.receiver.correction)
        if correction != known.correction:
            source = "measured" if self._settings.goes_by_measured else "written"
            event = e.CorrectionTaken(correction=correction, source=source)
            self._stream.emit(event, vfo=name, cause=cause)

    def later(self, delay: float) -> None:
        """From now on what is received can be measured so many seconds later."""
        self._delay = delay
        if self._tuner is not None:
            self._tuner.describe(self.receiver)

    def take(self, settings: VfoConfig, delay: float, cause: str | None) -> None:
        """Go by a new configuration."""
        before, self._settings, self._delay = self.receiver, settings, delay
        if self.receiver != before and self._tuner is not None:
            self._tuner.describe(self.receiver)
        self.tell(cause)

    async def calibrate(
        self, taken: r.TakeCalibration, by: e.Origin, cause: str | None
    ) -> e.Stamped:
        """Go by a calibration from the next movement of the dial on, and where it stands now."""
        assert self._tuner is not None
        calibrated = e.CrystalCalibrated(
            error=taken.error,
            deviation=taken.deviation,
            low=taken.low,
            high=taken.high,
            measurements=taken.measurements,
            against=taken.against,
            temperature=await self._temperature(),
            by=by,
        )
        stamped = self._stream.emit(calibrated, vfo=self._settings.name, cause=cause)
        before, self._measured = self.receiver, calibrated
        if self.receiver != before:
            self._tuner.describe(self.receiver)
            self.tell(cause)
            await self._tune_again(by, cause)
        return stamped

    async def _temperature(self) -> float | None:
        assert self._tuner is not None
        with contextlib.suppress(RefusedError, LineError):
            return (await self._tuner.read()).temperature
        return self._stream.state.vfos[self._settings.name].temperature

    async def _tune_again(self, by: e.Origin, cause: str | None) -> None:
        """A dial that stands somewhere means something else now; a sweep moves on by itself."""
        tuner = self._tuner
        assert tuner is not None
        if self._stream.state.vfos[tuner.name].sweep.phase in _MOVING:
            return
        with contextlib.suppress(RefusedError, LineError):
            async with tuner.lock:
                if (dial := tuner.dial) is not None:
                    await tuner.tune(dial, by=by, hand=tuner.newest_hand, cause=cause)
