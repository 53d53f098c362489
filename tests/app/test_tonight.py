"""Names of what is heard, for the page."""

import logging
from datetime import UTC, datetime
from pathlib import Path

import pytest

from vfod.app.tonight import Names
from vfod.config.loading import load
from vfod.config.model import Config
from vfod.sim.jump import SimClock

LIST = """\
khz,days,from,to,name
6070,mon-fri,18:00,20:00,Radio Haldrun
6070,sat,18:00,20:00,"Voice, of the Marsh"
6072,,18:30,19:00,Station Quillon
"""

#: A Wednesday.
EVENING = datetime(2026, 11, 25, 18, 15, tzinfo=UTC).timestamp()


def config(folder: Path, stations: str) -> Config:
    (folder / "stations.csv").write_text(stations)
    file = folder / "vfod.yaml"
    file.write_text("vfos: {main: {port: /dev/x}}\nstations: stations.csv\n")
    return load(str(file))


async def test_names_by_time_and_place(tmp_path: Path) -> None:
    """Who is expected now within half a raster; more than one, one after the other; or nobody."""
    clock = SimClock(EVENING)
    names = Names(config(tmp_path, LIST), clock)
    assert "Radio Haldrun" == names.of(6_070_000)
    assert names.of(6_080_000) is None
    await clock.sleep_until(clock.monotonic() + 1800)
    assert "Radio Haldrun, Station Quillon" == names.of(6_070_000)
    await clock.sleep_until(clock.monotonic() + 2 * 3600)
    assert names.of(6_070_000) is None
    await clock.sleep_until(clock.monotonic() + 70 * 3600)
    assert "Voice, of the Marsh, Station Quillon" == names.of(6_070_000)


async def test_a_list_with_mistakes_costs_only_the_names(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """The daemon runs without names, and says why in one line."""
    caplog.set_level(logging.WARNING)
    names = Names(config(tmp_path, "khz,from\n"), SimClock(EVENING))
    assert names.of(6_070_000) is None
    (record,) = caplog.records
    assert "stations.csv:1: column to is missing" in record.getMessage()
