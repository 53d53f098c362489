"""A scenario invented for a set of channels, so that any sweep has something to hear.

About one channel in six has a station, most of them only at times, over a floor that is higher by
night. Which, and how strong, depends on the frequencies alone: it is the same every time.
"""

from collections.abc import Sequence

from vfod.sim.noise import mix, uniform
from vfod.sim.scenario import BoxSetup, Cycle, Fading, Floor, FloorBand, Scenario, Station

#: One channel in so many has a station.
_ONE_IN = 6
#: Kinds of chance, so that those of one frequency differ.
_THERE, _POWER, _KIND, _DEPTH, _ON, _OFF, _NAME = range(7)

_BEGINNINGS = ("Bram", "Corl", "Dun", "Esk", "Fenn", "Hol", "Lark", "Marl", "Oster", "Thorn")
_ENDINGS = ("beck", "combe", "field", "garth", "mere", "moor", "stead", "wick")

#: The highest is the last that the line protocol can say.
_BOX = BoxSetup(low=1, high=10**12 - 1, output=True)


def invented(dials: Sequence[int]) -> Scenario:
    """The scenario for these channels (hertz), with a box that can be tuned to anything."""
    stations = [_station(dial) for dial in sorted(set(dials)) if mix(dial, _THERE) % _ONE_IN == 0]
    floor = FloorBand(low=1, high=1_000_000_000, hours={0: -98.0, 5: -100.0, 11: -108.0, 19: -97.0})
    return Scenario(floor=Floor(bands=(floor,)), stations=tuple(stations), box=_BOX)


def _station(dial: int) -> Station:
    number = mix(dial, _NAME)
    name = _BEGINNINGS[number % 10] + _ENDINGS[number // 10 % 8]
    cycle = None
    if uniform(dial, _KIND) < 0.7:
        cycle = Cycle(on=600 + 6600 * uniform(dial, _ON), off=600 + 12_000 * uniform(dial, _OFF))
    return Station(
        name=f"Radio {name}",
        frequency=dial,
        power=-88.0 + 36.0 * uniform(dial, _POWER),
        cycle=cycle,
        fading=Fading(
            kind="slow" if uniform(dial, _DEPTH) < 0.6 else "fast",
            depth=6 + 14 * uniform(dial, _DEPTH, 1),
            period=5 + 60 * uniform(dial, _DEPTH, 2),
        ),
    )
