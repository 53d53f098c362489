"""Whether a level counts as activity: the floor of the band and a margin with hysteresis.

The floor is a property of the band (vfod.survey.floor), activity one of the channel.
Where the floor is unknown, so is the answer.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

from vfod.survey.floor import Floor
from vfod.survey.own import WELL_ABOVE


@dataclass(frozen=True, kw_only=True, slots=True)
class Margin:
    """Decibels above the floor: `active` to become active, `stay` to remain so."""

    active: float = 6.0
    stay: float = 3.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """What a level means: the floor (None: unknown) and whether the channel is active."""

    floor: float | None
    active: bool | None


class Detector:
    """Judges levels channel by channel; remembers floors per band and which channels are active.

    `quiet` are the dial frequencies that the listener knows to carry nothing, `own` those at which
    the receiver hears itself: of them activity is never known, and the floor learns nothing there.
    Of `listed` ones, measured without the antenna, the level is known: what is well above it is
    something else.
    """

    def __init__(
        self,
        margin: Margin,
        quiet: frozenset[int] = frozenset(),
        own: frozenset[int] = frozenset(),
        listed: Mapping[int, float] | None = None,
    ) -> None:
        self._margin = margin
        self._own = own
        self._listed = listed or {}
        self._quiet = quiet
        self._floors: dict[str | None, Floor] = {}
        self._active: set[int] = set()

    def describe(
        self,
        margin: Margin,
        quiet: frozenset[int] = frozenset(),
        own: frozenset[int] = frozenset(),
        listed: Mapping[int, float] | None = None,
    ) -> None:
        """Go by these from now on; a floor taken from other quiet channels is forgotten.

        So is one recalled, where some are named now: it is not needed then.
        """
        if quiet != self._quiet:
            self._floors.clear()
        self._margin, self._quiet, self._own, self._listed = margin, quiet, own, listed or {}

    def recall(self, band: str | None, half_hour: int, floor: float) -> None:
        """What an earlier run knew of a band's floor; it is believed where the band is full."""
        self._floors.setdefault(band, Floor(self._quiet)).recall(half_hour, floor)

    def judge(
        self,
        band: str | None,
        dial: int,
        level: float,
        time: float,
        *,
        scatter: float | None = None,
        learn: bool = True,
    ) -> Verdict:
        """The verdict on a level at `dial`; with `learn` it also moves the floor of the band.

        `time` is the wall clock's, `scatter` what the readings say of the level's own (floor.py).
        A hold looks at the same channel again and again and must not teach the floor its level.
        """
        floor = self._floors.setdefault(band, Floor(self._quiet))
        if dial in self._own or level < self._listed.get(dial, -inf) + WELL_ABOVE:
            self._active.discard(dial)
            return Verdict(floor=floor.value(time), active=None)
        if learn and dial not in self._listed:
            floor.add(dial, level, time, scatter)
        value = floor.value(time)
        if value is None:
            return Verdict(floor=None, active=None)
        above = level - value
        needed = self._margin.stay if dial in self._active else self._margin.active
        active = above >= needed
        if active:
            self._active.add(dial)
        else:
            self._active.discard(dial)
        return Verdict(floor=value, active=active)
