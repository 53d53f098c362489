"""Is the battery low, and is it fine again? The box says the first, the voltage tells the second.

A box tells once that its battery fell below its own threshold. Nothing in the protocol takes that
back, so what it measures is compared with where it was told. What was told before a restart of the
daemon still holds after it.
"""

from vfod.events import BatteryFine, BatteryLow

#: A battery counts as fine again at so many times the voltage at which it was low. Without a load
#: it recovers by itself by some percent, which must not start the sweep again; charged, it stands
#: higher (3.5 V low and 4.1 V full for a lithium cell: common practice).
FINE = 1.08


class BatteryWatch:
    """Of one box; `low_at` are the volts at which it was told to be low before the start."""

    def __init__(self, low_at: float | None = None) -> None:
        self._low_at = low_at

    def told(self, volts: float) -> BatteryLow:
        """The box says that it is low."""
        self._low_at = max(self._low_at or 0.0, volts)
        return BatteryLow(battery=volts)

    def measured(self, volts: float | None, *, known_low: bool) -> BatteryLow | BatteryFine | None:
        """What follows from a reading, None in `volts` where the box could not measure."""
        if self._low_at is None:
            return None
        if volts is not None and volts >= FINE * self._low_at:
            self._low_at = None
            return BatteryFine(battery=volts) if known_low else None
        if known_low:
            return None
        return BatteryLow(battery=self._low_at if volts is None else volts)
