"""The sweeps of one VFO laid over its receiver, and what each has learnt of the noise.

A detector outlives a run of its sweep, so that the floor it knows is there when the next one
begins.
"""

from collections.abc import Mapping
from datetime import date

from vfod.plan.roster import Roster, laid_over, roster_of
from vfod.plan.slots import Slot
from vfod.plan.windows import Window
from vfod.run.given import Orders, brief
from vfod.run.tuner import Tuner
from vfod.survey.activity import Detector, Margin


class Repertoire:
    """Makes rosters; the receiver is asked for anew each time, because a box narrows it."""

    def __init__(self, tuner: Tuner) -> None:
        self._tuner = tuner
        self.detectors: dict[str, Detector] = {}
        self._left: dict[str, tuple[date, int]] = {}

    def roster(self, orders: Orders, name: str, window: Window | None) -> Roster:
        """A sweep alone, or with its guests in a window, by what the orders say of that window.

        Raises what plan_sweep raises.
        """
        receiver, bands = self._tuner.receiver, orders.bands
        for item in orders.windows:
            if window is not None and (item.name, item.sweep) == (window.name, name):
                return roster_of(item, orders.sweeps, receiver, bands)
        return laid_over(orders.sweeps[name], (), receiver, bands)

    def again(self, orders: Orders, roster: Roster) -> Roster:
        """The same sweeps over the receiver as it is now."""
        guests = [(guest, plan.sweep) for guest, plan in roster.guests]
        return laid_over(roster.main.sweep, guests, self._tuner.receiver, orders.bands)

    def recall(self, sweep: str, band: str | None, half_hour: int, floor: float) -> None:
        """A band's floor at a half hour of an earlier day, as that sweep knew it."""
        detector = self.detectors.setdefault(sweep, Detector(Margin()))
        detector.recall(band, half_hour, floor)

    def detectors_of(self, roster: Roster, coming: Roster | None = None) -> Mapping[str, Detector]:
        """Those of a roster by the name of the sweep, and of one that comes after it."""
        found = {}
        for plan in (*(coming.plans if coming else ()), *roster.plans):
            name = plan.sweep.name
            found[name] = brief(self.detectors.setdefault(name, Detector(Margin())), plan)
        return found

    def leaves(self, slot: Slot, dial: int) -> None:
        """A slot ended at a channel; where another window cut it off, it goes on there."""
        if slot.before is not None:
            self._left[slot.window.name] = slot.night, dial

    def goes_on(self, slot: Slot) -> int | None:
        """Where a slot goes on that is another part of a window's night, None at the beginning."""
        night, dial = self._left.pop(slot.window.name, (None, None))
        return dial if night == slot.night else None
