"""`vfod plan` and `vfod sweep list`: the sums, against the arithmetic of the definitions.

Visits needed for a relative error of 10 % at 95 % confidence are those of the table in Report
ITU-R SM.2256 for independent samples (docs/standards.md); the errors are by the same formula,
worked out by hand.
"""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from vfod.__main__ import main
from vfod.cli import defaults, plan
from vfod.config.loading import load


def test_a_sweep_in_words(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Everything a listener needs to know before anything moves."""
    assert 0 == main(["plan", "both"])
    lines = capsys.readouterr().out.splitlines()
    for line in (
        # 7250 kHz is midway between 7240 and 7260; (7300 - 7200) / 5 + 1 channels.
        "  bands         lower (7200 kHz to 7250 kHz), upper (7250 kHz to 7300 kHz), joined "
        "without a gap",
        "  channels      21: 7200 7205 7210 ... 7290 7295 7300 kHz",
        "  raster        5 kHz",
        "  order         up",
        "  visit         settle 0.3 s, dwell 2 s",
        # 21 * (0.3 + 2) s.
        "  pass          48.3 s, holds and yields not counted",
        "  revisit time  48.3 s",
        "  in a pass     0 changes of range, 0 switchings of the band filter",
        # 4 * 3600 s / 48.3 s is 298.1.
        "  298 visits of each channel in 4 h",
        "  an occupancy of                  5%       10%       20%       50%",
        # 1.96 * sqrt((1 - p) / (298 p)) is 0.4949, 0.3406, 0.2271 and 0.1135.
        "  is known to, at best   ±        49%       34%       23%       11%",
        "  visits for ± 10 % of it        7300      3458      1537       385",
    ):
        assert line in lines
    assert len(lines) <= 16


def test_the_defaults_are_told_when_they_are_asked_for(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Behind the plan, each with what is otherwise here."""
    assert 0 == main(["plan", "both"])
    plan_alone = capsys.readouterr().out
    assert 0 == main(["plan", "both", "--defaults"])
    out = capsys.readouterr().out
    assert out.startswith(f"{plan_alone}\ndefaults, and what this configuration says otherwise\n")
    for line in (
        "  dwell                                   2 s, with 8 readings in it",
        "  end of a window                         the dial returns to where it was",
        "                                          here both: edge to edge",
    ):
        assert f"\n{line}\n" in out


def test_a_sweep_as_json(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The same for a machine, with every channel."""
    assert 0 == main(["plan", "--json"])
    (found,) = json.loads(capsys.readouterr().out)
    dials = [channel["dial"] for channel in found["channels"]]
    assert list(range(7_200_000, 7_300_001, 5_000)) == dials
    assert 48.3 == found["pass_duration"]
    (window,) = found["windows"]
    assert (4 * 3600, 298) == (window["closes"] - window["opens"], window["visits"])
    assert {"0.05": 0.4949, "0.1": 0.3406, "0.2": 0.2271, "0.5": 0.1135} == {
        share: round(error, 4) for share, error in window["relative_error"].items()
    }


def test_the_sweeps_in_lines(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A line for each, and the same sums."""
    assert 0 == main(["sweep", "list"])
    line = "both: lower, upper, joined; 21 channels, a pass takes 48.3 s\n"
    assert line == capsys.readouterr().out
    assert 0 == main(["sweep", "list", "--json"])
    assert ["both"] == [sweep["sweep"] for sweep in json.loads(capsys.readouterr().out)]


def test_which_windows_are_shown(config: Path) -> None:
    """The one that is open, else the next; a sweep without a window has none."""
    found = load(str(config))
    evening = datetime(2026, 11, 25, 21, 0, tzinfo=UTC).timestamp()
    for when in (evening - 3600, evening, evening + 3 * 3600):
        (slot,) = plan.next_windows(found, found.sweeps["both"], when)
        assert (evening, evening + 4 * 3600) == (slot.opens, slot.closes)
    (slot,) = plan.next_windows(found, found.sweeps["both"], evening + 5 * 3600)
    assert evening + 24 * 3600 == slot.opens


def test_single_channels_without_a_window(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What a sweep does not have is said, not left out."""
    text = config.read_text().partition("windows:")[0]
    config.write_text(text + "  few: {channels: [6070k, 7210k], hold: off, settle: 1s}\n")
    assert 0 == main(["plan", "few", "--defaults"])
    out = capsys.readouterr().out
    assert "  bands         none, single channels\n" in out
    assert "  channels      2: 6070 7210 kHz\n" in out
    assert "  no window: it runs when it is started\n" in out
    here = " " * 42 + "here "
    assert f"{here}few: 1 s\n" in out
    assert f"{here}few: off\n" in out


SHARED = """
  few: {channels: [7205k, 7210k], hold: off}
windows:
  - {name: w, sweep: both, from: 21:00, until: 01:00, with: [{sweep: few, every: EVERY}]}
"""


def test_a_shared_window(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both sweeps are told what they have of it, and a revisit time that cannot be had is."""
    alone = config.read_text().partition("windows:")[0]
    config.write_text(alone + SHARED.strip("\n").replace("EVERY", "1m") + "\n")
    assert 0 == main(["plan", "few"])
    lines = capsys.readouterr().out.splitlines()
    # 2 visits of 2.3 s, and 24 of the other 19 channels before a minute is over: 59.8 s, so that
    # it comes 241 times in 4 h and the other one 5779 times, 304 for each channel.
    assert "  241 visits of each channel in 4 h" in lines
    assert "  shared with both: 8% of the time is its own" in lines
    assert "  revisit time in it: 60 s at the longest" in lines or (
        "  revisit time in it: 59.8 s at the longest" in lines
    )
    assert 0 == main(["plan", "both", "--json"])
    (window,) = json.loads(capsys.readouterr().out)[0]["windows"]
    assert (304, []) == (window["visits"], window["warnings"])
    assert 0.92 == pytest.approx(window["share"], abs=0.005)
    # Every 5 s: 4.6 s and a visit of the other sweep are 6.9 s, and 0.3 s more the first time.
    config.write_text(alone + SHARED.strip("\n").replace("EVERY", "5s") + "\n")
    assert 0 == main(["plan", "few"])
    assert (
        "  warning: few cannot be had every 5 s: it takes up to 7.2 s, "
        "because a pass of it takes 4.6 s\n"
    ) in capsys.readouterr().out
    assert 0 == main(["check"])
    assert "\n      warning: few cannot be had every 5 s" in capsys.readouterr().out


def test_no_such_sweep(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The nearest name is offered; without any sweep, the way to one."""
    assert 2 == main(["plan", "bth"])
    assert "vfod: there is no sweep 'bth'; did you mean both?\n" == capsys.readouterr().err
    config.write_text(config.read_text().partition("sweeps:")[0])
    assert 2 == main(["plan"])
    assert "has no sweep; describe one under sweeps:" in capsys.readouterr().err
    assert 0 == main(["sweep", "list"])
    assert "no sweep is configured\n" == capsys.readouterr().out


def test_what_a_configuration_says_otherwise(config: Path) -> None:
    """Under the default it stands for, with the name of the sweep or the VFO; nothing else is."""
    assert {"bands in a sweep": "both: edge to edge", "HTTP": "off"} == defaults.changed(
        load(str(config))
    )
    text = config.read_text().replace(
        "port: /dev/ttyACM0",
        "port: /dev/ttyACM0\n    quiet: 5m\n    afterwards: 7210k\n    output: windows\n"
        "    speaker: leave",
    )
    config.write_text(
        text.replace(
            "joined: true}",
            "dwell: 4s, readings: 4, settle: 500ms, raster: 10k, order: there-and-back, "
            "margin: {active: 10dB, stay: 5dB}, hold: {limit: 1m}}",
        )
    )
    assert {
        "settle": "both: 0.5 s",
        "dwell": "both: 4 s, with 4 readings in it",
        "margin": "both: 10 dB above the floor to become active, 5 dB to stay so",
        "hold": "both: at most 60 s, left after 3 s of quiet; after 3 holds in a row the channel "
        "rests for 10 min",
        "raster": "both: 10 kHz",
        "order of a pass": "both: there and back",
        "quiet time after a hand or a person": "main: 5 min",
        "end of a window": "main: the dial is parked at 7210 kHz",
        "oscillator's output": "main: on while a window is open, off outside of windows and at the "
        "end",
        "speaker": "main: left alone",
        "HTTP": "off",
    } == defaults.changed(load(str(config)))
    assert set() == defaults.changed(load(str(config))).keys() - defaults.table().keys()
