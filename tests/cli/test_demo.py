"""The demo: that it would notice a disagreement, that its scene is sound, and that it tidies up.

That it runs through is seen by `make demo`, which takes its minute.
"""

import copy
import dataclasses
import os
import re
import signal
import subprocess
import sys
from collections.abc import AsyncIterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from vfod.app.rehearse import slots_in
from vfod.cli.demo import scene as s
from vfod.cli.demo.accounts import Accounts, compare, numbers
from vfod.cli.demo.subscriber import Subscriber
from vfod.cli.demo.whole_night import whole_night
from vfod.cli.setting import local_zone
from vfod.config.loading import load
from vfod.plan.slots import open_at
from vfod.plan.stations import parse as parse_stations
from vfod.plan.sweep import plan_sweep
from vfod.sim.scenario import load as load_scenario

DIALS = range(s.LOW, s.HIGH + 1, s.RASTER)


def agreeing() -> Accounts:
    """What everybody says when all is well."""
    channels = [
        {
            "dial": dial,
            "visits": 2,
            "judged_visits": 1,
            "active_visits": int(dial in s.STATIONS),
            "strongest": -60.0,
            "unit": "dBm",
        }
        for dial in DIALS
    ]
    heard = [{"dial": dial} for dial in s.STATIONS]
    vfo = {"dial": 7_295_000, "visits": 42, "heard": heard, "sweep": {"passes": 2}}
    moves = [
        {"kind": "knob-turned", "data": {"dial": 7_223_000}, "text": "knob turned"},
        {"kind": "dial-tuned", "data": {"dial": 7_295_000}, "text": "tuned"},
    ]
    return Accounts(
        status={"vfos": {"main": vfo}},
        channels=channels,
        moves=moves,
        passes=2,
        metrics={"dial": 7_295_000.0, "visits": 42.0},
        subscriber={"dial/frequency": "7295000", "sweep/state": "idle"},
        messages=300,
    )


def test_agreement() -> None:
    """No complaint, with a subscriber and without one; and the summary has a line for each."""
    accounts = agreeing()
    assert [] == compare(accounts)
    assert [] == compare(dataclasses.replace(accounts, subscriber=None))
    text = "\n".join(accounts.lines())
    assert "21 channels every 5 kHz from 7200 kHz to 7300 kHz" in text
    for who in ("status", "journal", "metrics page", "subscriber"):
        assert f"the dial    7295 kHz, says the {who}" in text


def _change(accounts: Accounts, where: str, value: Any) -> Accounts:
    """The same with another value somewhere inside."""
    changed = {
        field.name: copy.deepcopy(getattr(accounts, field.name))
        for field in dataclasses.fields(accounts)
    }
    *path, last = where.split(".")
    inside: Any = changed
    for step in path:
        inside = inside[int(step) if step.lstrip("-").isdigit() else step]
    inside[int(last) if last.lstrip("-").isdigit() else last] = value
    return Accounts(**changed)


@pytest.mark.parametrize(
    ("where", "value", "says"),
    [
        ("status.vfos.main.dial", 7_290_000, "where the dial is: status says 7290000"),
        ("moves.-1.data.dial", 7_290_000, "where the dial is"),
        ("metrics.dial", 7_290_000.0, "where the dial is"),
        ("metrics", {}, "where the dial is"),
        ("subscriber", {}, "subscriber says None"),
        ("subscriber", {"dial/frequency": "7290000"}, "subscriber says 7290000"),
        ("moves", [], "journal says None"),
        ("status.vfos.main.visits", 43, "how many visits there were"),
        ("channels.0.visits", 3, "how many visits there were"),
        ("metrics.visits", 41.0, "how many visits there were"),
        ("passes", 1, "how many passes: status says 2; journal says 1"),
        ("status.vfos.main.heard", [], "what was active"),
        ("channels.0.active_visits", 1, "what was active"),
        ("channels", [], "not every channel was visited"),
        ("channels.3.dial", 7_216_000, "or more than those: 7215 kHz, 7216 kHz"),
        ("moves.0.kind", "dial-tuned", "does not have both the hand and the shell"),
    ],
)
def test_disagreement(where: str, value: Any, says: str) -> None:
    """Whoever says something else is found out, and named."""
    assert says in "; ".join(compare(_change(agreeing(), where, value)))


def test_numbers_of_a_page() -> None:
    """The dial, and the visits of all bands together (text format of OpenMetrics 1.0)."""
    page = (
        "# TYPE vfod_dial_frequency_hertz gauge\n"
        'vfod_dial_frequency_hertz{vfo="main"} 7.295e+06\n'
        'vfod_visits_total{vfo="main",band="lower"} 20.0\n'
        'vfod_visits_total{vfo="main",band="upper"} 22.0\n'
        'vfod_active_visits_total{vfo="main",band="upper"} 3.0\n'
    )
    assert {"dial": 7_295_000.0, "visits": 42.0} == numbers(page)
    assert {} == numbers("# EOF\n")


async def test_the_subscriber() -> None:
    """Every message counts, the last value of a topic is kept, others are not shown."""

    async def lines() -> AsyncIterator[str]:
        for line in ("x/5/vfo/dial/frequency 1", "x/5/vfo/dial/frequency 7295000", "other 1"):
            yield line

    subscriber = Subscriber(lines())
    await subscriber.task
    assert (3, {"dial/frequency": "7295000"}) == (subscriber.messages, subscriber.last())


@pytest.mark.parametrize("clock", ["00:05", "11:30", "12:30", "18:00", "23:58"])
def test_the_scene(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, clock: str) -> None:
    """At any hour the window is open and stays so, and the bands are joined without a gap."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    when = datetime.fromisoformat(f"2026-11-25T{clock}+01:00").timestamp()
    scene = s.Scene(folder=tmp_path)
    scene.write(when=when, broker_port=1883)
    config = load(str(scene.configuration))
    assert "Europe/Berlin" == config.place.zone.key
    slot = open_at(config.windows, when)
    assert slot is not None
    assert slot.opens < when < when + 3000 < slot.closes
    plan = plan_sweep(config.sweeps[s.SWEEP], config.vfos["main"].receiver, config.bands)
    assert list(DIALS) == [channel.dial for channel in plan.channels]
    assert set(s.BANDS) == {channel.band for channel in plan.channels}
    assert config.mqtt is not None
    assert s.STATIONS == {
        station.frequency: (station.name, station.power)
        for station in load_scenario(scene.scenario).stations
    }
    scene.write(when=when, broker_port=None)
    assert load(str(scene.configuration)).mqtt is None


def test_the_local_zone(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the machine says, where it says something that is in the database."""
    monkeypatch.setenv("TZ", ":Asia/Tokyo")
    assert "Asia/Tokyo" == local_zone()
    for name in ("Nowhere/Land", "/etc/passwd", "UTC+3"):
        monkeypatch.setenv("TZ", name)
        assert "UTC" == local_zone()


def _of_the_demo(folder: str) -> list[str]:
    """Processes that have something of the demo's folder in their words."""
    found = []
    for line in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = line.read_bytes().replace(b"\0", b" ").decode()
        except OSError:
            continue
        if folder in words:
            found.append(words)
    return found


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_tidies_up(tmp_path: Path, number: signal.Signals) -> None:
    """Stopped in the middle, twice by an impatient hand, it leaves no process and no file."""
    process = subprocess.Popen(
        [sys.executable, "-m", "vfod", "demo"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )
    try:
        assert process.stdout is not None
        shown = []
        for line in process.stdout:
            shown.append(line)
            if line.startswith("$ vfod plan"):
                break
        place = re.search(r"the simulated VFO is at (\S+)/vfo", "".join(shown))
        assert place is not None
        assert [] != _of_the_demo(place[1])
        process.send_signal(number)
        process.send_signal(number)
        out, err = process.communicate(timeout=120)
        assert "stopped; nothing is left running" == out.splitlines()[-1]
        assert (128 + number, "") == (process.returncode, err)
        assert ([], []) == (_of_the_demo(place[1]), list(tmp_path.iterdir()))
    finally:
        process.kill()
        process.communicate()


def test_the_whole_night(tmp_path: Path) -> None:
    """Its files are sound, its incidents lie inside its window, and the night is over."""
    when = datetime.fromisoformat("2026-11-26T09:00+01:00").timestamp()
    whole = whole_night(tmp_path, when)
    assert "2026-11-24" == whole.night.isoformat()
    config = load(str(tmp_path / "night.yaml"))
    assert config.stations is not None
    listed = parse_stations(Path(config.stations).read_text(), config.stations)
    scenario = load_scenario(tmp_path / "night-air.yaml")
    on_the_air = {(station.name, station.frequency) for station in scenario.stations}
    # All of the list but one are on the air.
    assert ["Radio Nowhere"] == [
        one.name for one in listed if (one.name, one.frequency) not in on_the_air
    ]
    (slot,) = slots_in(config, whole.night)["main"]
    assert slot.closes < when
    assert all(move.after < slot.closes - slot.opens for move in scenario.hand)
