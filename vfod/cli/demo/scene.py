"""What the demo plays with: an invented air, and the configuration of a listener who hears it.

The files are written into a folder of the demo's own, in the words that any listener would use.
"""

import os
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from vfod.cli.setting import local_zone

#: Dial frequencies at which an invented station is on the air, hertz; well above the noise and
#: without deep fading, so that what was heard can be held against what was there.
STATIONS = {
    7_210_000: ("Radio Undermoor", -62),
    7_230_000: ("Voice of the Lower Marsh", -70),
    7_255_000: ("Radio Tollbridge", -66),
    7_280_000: ("Station Quillon", -74),
    7_295_000: ("Radio Brackwater", -58),
}

#: The listener's own list: three of them, and one that is not on the air.
EXPECTED = (7_210_000, 7_255_000, 7_295_000)
SILENT = (7_270_000, "The Larkspur Hour")

#: Own bands with 20 kHz between them, which joining closes; each has the eight channels that the
#: floor of a band asks for.
BANDS = {"lower": ("7200k", "7240k"), "upper": ("7260k", "7300k")}
LOW, HIGH, RASTER = 7_200_000, 7_300_000, 5_000
SWEEP = "both"

#: Seconds that the sweep yields here; ten minutes, the default, would outlast the demo.
QUIET = 4

#: Chance of the simulated air, fixed so that every demo hears the same.
SEED = 20

_SCENARIO = """\
floor:
  bands:
    - {{from: 7000kHz, to: 7500kHz, hours: {{0: -104}}}}
stations:
{stations}
receiver: {{intermediate_frequency: 455kHz, injection: high, bandwidth: 5kHz}}
box: {{model: demo, start: 7755kHz, output: true}}
"""

_STATION = "  - {{name: {name}, frequency: {hertz}Hz, power: {power}, fading: {fading}}}"
_FADING = "{kind: slow, depth: 6, period: 20s}"

_CONFIGURATION = """\
place: {{zone: {zone}}}
vfos:
  main:
    port: {port}
    quiet: {quiet}s
    level_table: {{0: -130dBm, 4095: -10dBm}}
    receiver:
      - {{from: 3M, to: 15M, detector: envelope, intermediate_frequency: 455k, settle: 200ms}}
bands:
{bands}
sweeps:
  {sweep}:
    bands: [{names}]
    joined: true
    dwell: 600ms
    readings: 6
    hold: {{limit: 1500ms, quiet: 1s, times: 1}}
windows:
  - {{name: now, sweep: {sweep}, from: "{opens}", until: "{closes}"}}
mqtt: {mqtt}
web: {{listen: "127.0.0.1:0"}}
stations: stations.csv
"""


@dataclass(frozen=True, kw_only=True, slots=True)
class Scene:
    """Where everything of the demo is."""

    folder: Path

    @property
    def scenario(self) -> Path:
        """What is on the air."""
        return self.folder / "air.yaml"

    @property
    def configuration(self) -> Path:
        """What the listener wants."""
        return self.folder / "vfod.yaml"

    @property
    def port(self) -> Path:
        """The pseudo-terminal of the simulated VFO."""
        return self.folder / "vfo"

    @property
    def environment(self) -> dict[str, str]:
        """For every command of the demo: its own files, and nobody else's daemon."""
        return {
            **os.environ,
            "VFOD_CONFIG": str(self.configuration),
            "VFOD_SOCKET": str(self.folder / "control.sock"),
            "VFOD_JOURNAL": str(self.folder / "journal.sqlite"),
            # What they print is shown with two spaces before it.
            "COLUMNS": str(shutil.get_terminal_size((100, 24)).columns - 2),
        }

    def write(self, *, when: float, broker_port: int | None) -> None:
        """Write the air and the configuration, with a window that is open at `when`."""
        stations = (
            _STATION.format(name=name, hertz=hertz, power=power, fading=_FADING)
            for hertz, (name, power) in STATIONS.items()
        )
        self.scenario.write_text(_SCENARIO.format(stations="\n".join(stations)), encoding="utf-8")
        zone = local_zone()
        here = datetime.fromtimestamp(when, UTC).astimezone(ZoneInfo(zone))
        bands = (f"  {name}: {{from: {low}, to: {high}}}" for name, (low, high) in BANDS.items())
        text = _CONFIGURATION.format(
            zone=zone,
            port=self.port,
            quiet=QUIET,
            bands="\n".join(bands),
            names=", ".join(BANDS),
            sweep=SWEEP,
            # From the hour before to the hour after: it has been open and stays so.
            opens=f"{here - timedelta(hours=1):%H:%M}",
            closes=f"{here + timedelta(hours=1):%H:%M}",
            mqtt="off" if broker_port is None else f"{{host: 127.0.0.1, port: {broker_port}}}",
        )
        self.configuration.write_text(text, encoding="utf-8")
        listed = [(hertz, STATIONS[hertz][0]) for hertz in EXPECTED] + [SILENT]
        lines = (f"{hertz // 1000},00:00,24:00,{station}\n" for hertz, station in listed)
        (self.folder / "stations.csv").write_text("khz,from,to,name\n" + "".join(lines))
