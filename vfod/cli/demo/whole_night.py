"""A whole night for the demo to look at: rehearsed on a clock that jumps, told as in the morning.

The listener of it is another one: an invented place, so that there is a sunset, a list of stations
with one who is not on the air, and a night with a hand on the knob and a cable that came loose.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from importlib.resources import files
from pathlib import Path
from zoneinfo import ZoneInfo

from vfod.plan.localtime import night_of
from vfod.sim.scenario import READY

_ZONE = "Europe/Berlin"

#: A visit of eight seconds makes a pass of a quarter of an hour: coarse, but the rehearsal of ten
#: hours then takes no longer than the rest of the demo.
_CONFIGURATION = """\
place: {zone: Europe/Berlin, region: 1, latitude: 52.5, longitude: 13.4}
vfos:
  main:
    port: /dev/demo
    level_table: {0: -130dBm, 4095: -10dBm}
    receiver: [{from: 150k, to: 30M, detector: envelope, intermediate_frequency: 455k}]
sweeps:
  night: {bands: [49m, 41m], dwell: 8s, readings: 4, hold: off}
windows:
  - {sweep: night, from: "19:00", until: "05:00"}
stations: listed.csv
web: off
"""

_LISTED = """\
khz,from,to,name
5955,00:00,24:00,Radio Haldrun
6005,15:00,09:00,Voice of the Lower Marsh
6070,16:30,23:00,Radio Tollbridge
6120,20:00,22:00,Radio Nowhere
7230,18:00,22:00,The Larkspur Hour
7255,13:00,24:00,Radio Fennimoor
"""

#: After the window has opened.
_INCIDENTS = """\

hand:
  - {after: 2h, turn: 3}
  - {after: 5h, do: unplug}
  - {after: 5h25m, do: plug}
"""


@dataclass(frozen=True, kw_only=True, slots=True)
class WholeNight:
    """Where everything of it is, and which night it is: the last one that is over."""

    folder: Path
    night: date

    @property
    def words(self) -> tuple[str, ...]:
        """The rehearsal, as words of the command."""
        return (
            *("rehearse", "--night", self.night.isoformat(), "--seed", "7"),
            *("--config", str(self.folder / "night.yaml")),
            *("--scenario", str(self.folder / "night-air.yaml")),
            *("--journal", str(self.folder / "night.sqlite")),
        )

    def page(self, target: str) -> tuple[str, ...]:
        """The report, as words of the command."""
        return (
            *("night", self.night.isoformat(), "--html", target),
            *("--config", str(self.folder / "night.yaml")),
            *("--journal", str(self.folder / "night.sqlite")),
        )


def whole_night(folder: Path, when: float) -> WholeNight:
    """Write its files; `when` is the wall clock."""
    night = night_of(when, ZoneInfo(_ZONE)) - timedelta(days=1)
    air = (files("vfod.sim") / "scenarios" / f"{READY}.yaml").read_text(encoding="utf-8")
    for name, text in (
        ("night.yaml", _CONFIGURATION),
        ("listed.csv", _LISTED),
        ("night-air.yaml", air + _INCIDENTS),
    ):
        (folder / name).write_text(text, encoding="utf-8")
    return WholeNight(folder=folder, night=night)
