"""What a settle time that is too short does: visits of silent channels that are found active.

Two stations are strong and always there, and the relay of the band filter moves twice in each
pass. What was before a visit then still holds the gain down. With more such stations the floor
itself is unknown where settle times are too short, and nothing is judged.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tests.score.detection import NOISE, START
from tests.score.receivers import CHANNELS, Kind
from tests.score.walk import walk
from vfod.radio.levels import Source
from vfod.sim.air import Air
from vfod.sim.scenario import Floor, FloorBand, GainControl, Scenario, Station

#: The house's dwell, seconds.
DWELL = 2.0
#: 45 dB above the noise, and far enough from each other and from the relay's place.
STATIONS = tuple(CHANNELS[k] for k in (6, 18))
PASSES = 4

SETTLES = (0.1, 0.3, 1.0, 2.0)
RELEASES = (0.3, 1.0)


@dataclass(frozen=True, kw_only=True)
class Alarms:
    """Share of the visits of silent channels found active, by what was before the visit."""

    name: str
    release: float
    settle: float
    after_relay: float
    after_station: float
    elsewhere: float


def alarms(kind: Kind, release: float, settle: float) -> Alarms:
    """A few passes with that release constant and settle time, seconds."""
    control = GainControl(attack=0.01, release=release)
    kind = replace(
        kind,
        setup=kind.setup.model_copy(update={"gain_control": control}),
        settle=settle,
        visit=settle + kind.delay + DWELL,
    )
    floor = Floor(bandwidth=5000, bands=(FloorBand(low=1, high=10**8, hours={0: NOISE}),))
    stations = tuple(Station(name="A", frequency=dial, power=NOISE + 45) for dial in STATIONS)
    air = Air(Scenario(floor=floor, stations=stations), 1)
    # Two passes to get to know the floor, and two seconds for the doubled settle times.
    one = len(CHANNELS) * kind.visit + 2 * settle
    found: dict[str, list[bool]] = {"relay": [], "station": [], "elsewhere": []}
    for visit in walk(kind, air, START, START + (PASSES + 2) * one, seed=3):
        if visit.active is None or visit.dial in STATIONS or visit.time < START + 2 * one:
            continue
        before = "station" if visit.before in STATIONS else "elsewhere"
        found["relay" if visit.switched else before].append(visit.active)
    shares = {name: sum(told) / max(len(told), 1) for name, told in found.items()}
    return Alarms(
        name=kind.name,
        release=release,
        settle=settle,
        after_relay=shares["relay"],
        after_station=shares["station"],
        elsewhere=shares["elsewhere"],
    )


def by_settle(kinds: Sequence[Kind]) -> list[Alarms]:
    """All of them, of those kinds that have a relay behind a gain control."""
    return [
        alarms(kind, release, settle)
        for kind in kinds
        if kind.setup.relay and kind.setup.gain_control and kind.source is not Source.BOTH
        for release in RELEASES
        for settle in SETTLES
    ]


def table(found: Sequence[Alarms]) -> str:
    """For people."""
    rows = ["settle time      release  settle  after the relay  after a station  elsewhere"]
    rows += [
        f"{one.name:16} {one.release:5.1f} s {one.settle:5.1f} s  {one.after_relay:15.3f}  "
        f"{one.after_station:15.3f}  {one.elsewhere:9.3f}"
        for one in found
    ]
    return "\n".join(rows)
