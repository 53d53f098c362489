"""`vfod watch`: a name of the listener's own list is enough to go there and stay."""

import datetime as dt
from pathlib import Path

import pytest

from tests.cli.conftest import Stub, refusal, success
from vfod.__main__ import main
from vfod.cli import station
from vfod.config.loading import load
from vfod.errors import RefusedError

LIST = """\
khz,days,from,to,name
5955,,00:00,24:00,Radio Haldrun
6005,wed,18:00,20:30,Voice of the Lower Marsh
6070,fri,18:00,19:00,Radio Tollbridge
6115,wed,22:00,02:00,Radio Tollbridge
"""
#: A Wednesday.
NOW = dt.datetime(2026, 11, 25, 19, 0, tzinfo=dt.UTC).timestamp()


@pytest.fixture
def listed(config: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (config.parent / "list.csv").write_text(LIST)
    config.write_text(config.read_text() + "stations: list.csv\n")
    monkeypatch.setattr(station, "now", lambda: NOW)
    return config


def test_to_a_station_that_is_on(
    listed: Path, stub: Stub, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its frequency, and the sweep waits until the broadcast ends; the beginning will do."""
    stub.answers = [success("tuned to 6005 kHz"), success("sweep yielded")]
    assert 0 == main(["watch", "voice", "of", "the"])
    assert [("tune", {"frequency": 6_005_000}), ("stay", {"seconds": 5400.0})] == [
        (asked["method"], asked["params"]) for asked in stub.asked
    ]
    last = capsys.readouterr().out.splitlines()[-1]
    assert "Voice of the Lower Marsh until Wed 2026-11-25 21:30, for 1 h 30 min" == last


def test_without_a_sweep(listed: Path, stub: Stub) -> None:
    """There is nothing that could wait; the dial is there all the same. All day is a day."""
    stub.answers = [success("tuned"), refusal(RefusedError("no sweep is running"))]
    assert 0 == main(["watch", "haldrun", "--vfo", "attic"])
    assert {"seconds": 86_400.0, "vfo": "attic"} == stub.asked[1]["params"]


def test_one_that_comes_later(listed: Path, stub: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """It is told when, with an entry of the configuration that is sound."""
    assert 2 == main(["watch", "Radio Tollbridge"])
    said = capsys.readouterr().err
    assert "is not on now, but from Wed 2026-11-25 23:00 on 6115 kHz; write watches: [{" in said
    assert [] == stub.lines
    entry = said[said.index("watches:") :]
    listed.write_text(listed.read_text() + entry)
    assert "watch-6115" in {window.name for window in load(str(listed)).windows}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["Radio"], "'Radio' may be Radio Haldrun, Radio Tollbridge; write more of the name"),
        (["Nobody"], "no station 'Nobody' in the list"),
    ],
)
def test_names_that_do_not_fit(
    listed: Path, stub: Stub, capsys: pytest.CaptureFixture[str], words: list[str], says: str
) -> None:
    """Nothing is sent."""
    assert 2 == main(["watch", *words])
    assert says in capsys.readouterr().err
    assert [] == stub.lines


def test_who_is_on(listed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Those on the air first, then those of the next hours, in local time."""
    assert 0 == main(["watch"])
    lines = [line.split("kHz") for line in capsys.readouterr().out.splitlines()]
    assert ["Radio Haldrun", "Voice of the Lower Marsh", "Radio Tollbridge"] == [
        name.strip() for _, name in lines
    ]
    assert "on  19:00 to 21:30" in lines[1][0]


def test_without_a_list(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is told how to name one."""
    assert 2 == main(["watch", "Radio"])
    assert "no list of stations is named; write stations: stations.csv" in capsys.readouterr().err
