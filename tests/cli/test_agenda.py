"""`vfod agenda`: from the daemon, and without one from the configuration."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.cli.conftest import Stub, refusal, success
from vfod.__main__ import main
from vfod.cli.agenda import from_configuration
from vfod.config.loading import load
from vfod.errors import RequestError


def test_the_daemon_is_asked(stub: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """Its text is printed as it is, or its whole answer as JSON."""
    stub.answers = [success("Wed 22:00", windows=[])]
    assert 0 == main(["agenda", "--days", "2", "--vfo", "main"])
    assert "Wed 22:00\n" == capsys.readouterr().out
    (asked,) = stub.asked
    assert ("agenda", {"days": 2, "vfo": "main"}) == (asked["method"], asked["params"])
    assert 0 == main(["agenda", "--json"])
    assert {"windows": [], "text": "Wed 22:00"} == json.loads(capsys.readouterr().out)


def test_the_daemon_refuses(stub: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """Its sentence and its status are the command's."""
    stub.answers = [refusal(RequestError("there is no VFO 'x'", remedy="known: main"))]
    assert 2 == main(["agenda", "--vfo", "x"])
    assert "vfod: there is no VFO 'x'; known: main\n" == capsys.readouterr().err


def test_without_a_daemon(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The configuration has the same agenda: a window every night, seven in a week."""
    assert 0 == main(["agenda"])
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) in (7, 8)
    assert all(": both, sweep both" in line for line in lines)
    # In a week in which the clocks change one of them is longer or shorter.
    others = [line for line in lines if not line.endswith(", 4 h: both, sweep both")]
    assert len(others) <= 1
    assert 2 == main(["agenda", "--vfo", "x"])
    assert "vfod: there is no VFO 'x'; known: main\n" == capsys.readouterr().err


def test_a_named_socket_is_meant(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Who names a socket wants that daemon's answer and no other."""
    assert 6 == main(["agenda", "--socket", str(config.parent / "none")])
    assert "no daemon listens at" in capsys.readouterr().err


def test_the_night_of_the_clock_change(config: Path) -> None:
    """On 2026-10-25 the clocks of Berlin go back at 03:00 (directive 2000/84/EC): an hour more."""
    config.write_text(config.read_text().replace('until: "02:00"', 'until: "06:00"'))
    when = datetime(2026, 10, 24, 12, 0, tzinfo=UTC).timestamp()
    found = from_configuration(load(str(config)), 1, None, when)
    (window,) = found["windows"]
    assert (9 * 3600, "2026-10-24", True) == (
        window["closes"] - window["opens"],
        window["night"],
        window["runs"],
    )
    assert "9 h instead of 8 h, because the clocks go back" in found["text"]


def test_no_window(config: Path) -> None:
    """An empty agenda is said."""
    config.write_text(config.read_text().partition("windows:")[0])
    found = from_configuration(load(str(config)), 3, None, 0.0)
    assert {"windows": [], "sun": [], "text": "no window opens in the next 3 days"} == found


def test_which_vfo_is_meant_where_there_are_several(config: Path) -> None:
    """Two sweeps may run at once then, each on its own."""
    config.write_text(
        "vfos: {attic: {port: /dev/a}, cellar: {port: /dev/b}}\n"
        "sweeps: {high: {vfo: cellar, bands: [31m]}}\n"
        "windows: [{sweep: high, from: 20:00, until: 22:00}]\n"
    )
    found = from_configuration(load(str(config)), 1, None, 0.0)
    assert found["text"].startswith("cellar: Thu 1970-01-01 20:00 to ")
    of_one = from_configuration(load(str(config)), 1, "cellar", 0.0)
    assert of_one["text"].startswith("Thu 1970-01-01 20:00 to ")
