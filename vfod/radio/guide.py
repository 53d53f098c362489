"""Which standard-frequency carriers are likely to be heard now, and when each can be measured.

By common practice (docs/standards.md, section 12): the border between the bands of the night and
those of the day lies near 10 MHz. It goes by the sun at the listener's place, which is half the
truth: the other half is where the station is, and the ear decides.
"""

import enum
from collections.abc import Iterable
from dataclasses import dataclass

from vfod.radio.carriers import CARRIERS, SHORT_WAVE, Carrier
from vfod.radio.receiver import Receiver

HOUR, MINUTE = 3600.0, 60.0


class Light(enum.StrEnum):
    """The sun at a place: up, down by less than 12 degrees, or deeper."""

    DAY = "day"
    TWILIGHT = "twilight"
    NIGHT = "night"


#: Elevation of the sun's centre at its rise and set, and at the end of nautical twilight, degrees.
_HORIZON, _TWILIGHT = -0.833, -12.0

#: Upper end of a part of short wave, hertz, and when it carries far.
_PARTS = (
    (4_500_000, (Light.NIGHT,)),
    (9_000_000, (Light.NIGHT, Light.TWILIGHT)),
    (12_000_000, (Light.NIGHT, Light.TWILIGHT, Light.DAY)),
    (18_000_000, (Light.TWILIGHT, Light.DAY)),
    (30_000_000, (Light.DAY,)),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A carrier frequency, hertz, and the stations that share it.

    `likely` by the hour; `wait` is how many seconds it takes until one of them is plain, 0 where
    it is now.
    """

    frequency: int
    stations: tuple[Carrier, ...]
    likely: bool
    wait: float

    @property
    def names(self) -> str:
        """`WWV (Colorado), BPM (China)`."""
        return ", ".join(f"{one.station} ({one.place})" for one in self.stations)


def light(elevation: float) -> Light:
    """By the elevation of the sun, degrees."""
    if elevation > _HORIZON:
        return Light.DAY
    return Light.TWILIGHT if elevation > _TWILIGHT else Light.NIGHT


def light_by_the_clock(hour: float) -> Light:
    """By a local hour alone, where the place is not known: day from 6 to 18, as at an equinox."""
    if 7 <= hour < 17:
        return Light.DAY
    return Light.TWILIGHT if 6 <= hour < 18 else Light.NIGHT


def candidates(
    now: float, sky: Light, receiver: Receiver, among: Iterable[Carrier] = CARRIERS
) -> list[Candidate]:
    """Those the receiver reaches: the likely first, then those that need no waiting.

    Then the highest, where the same error is more hertz. `now` in seconds since 1970 UTC.
    """
    by_frequency: dict[int, list[Carrier]] = {}
    for carrier in among:
        if receiver.low <= carrier.frequency <= receiver.high:
            by_frequency.setdefault(carrier.frequency, []).append(carrier)
    found = [
        Candidate(
            frequency=frequency,
            stations=tuple(stations),
            likely=_is_likely(frequency, sky),
            wait=min(wait_for(one, now) for one in stations),
        )
        for frequency, stations in by_frequency.items()
    ]
    return sorted(found, key=lambda one: (not one.likely, one.wait > 0, -one.frequency))


def wait_for(carrier: Carrier, now: float) -> float:
    """Seconds until the carrier is plain; 0 where it is."""
    minute = int(now % HOUR // MINUTE)
    for minutes in range(60):
        if carrier.plain_at((minute + minutes) % 60):
            return max(0.0, minutes * MINUTE - now % MINUTE) if minutes else 0.0
    return float("inf")


def _is_likely(frequency: int, sky: Light) -> bool:
    if frequency < SHORT_WAVE:
        return True
    return sky in next((when for high, when in _PARTS if frequency < high), ())
