"""vfod drift: the history, the deviations of the published nine values, the line, the picture."""

import json
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.cli.conftest import Stub, success
from vfod import events as e
from vfod.__main__ import main
from vfod.errors import UsageError
from vfod.store import Writer

#: 2026-11-25 21:00 UTC, 22:00 in Berlin.
T = 1_795_640_400.0

#: NIST SP 1065, section 12 (NBS Monograph 140, annex 8.E); docs/standards.md, section 7.
NINE = (892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0)

SHELL = e.Origin(door=e.Door.SHELL, who="listener")


def calibrated(error: float, degrees: float | None, against: str = "9996 kHz") -> e.Event:
    """A calibration, give or take 0.1 ppm."""
    return e.CrystalCalibrated(
        error=error,
        deviation=0.05,
        low=error - 0.1,
        high=error + 0.1,
        measurements=3,
        against=against,
        temperature=degrees,
        by=SHELL,
    )


def journal(path: Path, events: Sequence[e.Event]) -> None:
    """An event an hour from 22:00 on, local time."""
    writer = Writer(path)
    writer.open(T)
    for n, event in enumerate(events):
        writer.add(e.Stamped(sequence=n, time=T + 3600 * n, vfo="main", event=event))
    writer.commit()
    writer.close()


def test_the_history(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A line for each, and what is wanting for more."""
    journal(config.parent / "journal.sqlite", [calibrated(1.5, 21.0), calibrated(1.75, None)])
    assert 0 == main(["drift"])
    lines = capsys.readouterr().out.splitlines()
    assert [
        "Wed 2026-11-25 22:00    +1.5000 ppm  +1.4000 to +1.6000   21.0 \N{DEGREE SIGN}C  9996 kHz",
        "Wed 2026-11-25 23:00    +1.7500 ppm  +1.6500 to +1.8500  9996 kHz",
    ] == lines[:2]
    assert "takes 4 calibrations" in lines[3]
    assert "takes 5 calibrations that span 3 degrees" in lines[5]


def test_the_deviations(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Those that NIST SP 1065 publishes for nine values, one and two steps averaged."""
    journal(config.parent / "journal.sqlite", [calibrated(error, 20.0) for error in NINE])
    assert 0 == main(["drift", "--json"])
    found = json.loads(capsys.readouterr().out)
    assert 3600.0 == found["step"]
    for averaged, published in (
        ("1", {"Allan": 91.22945, "overlapping Allan": 91.22945, "Hadamard": 70.80608}),
        ("2", {"Allan": 115.8082, "overlapping Allan": 85.95287, "modified Allan": 74.78849}),
    ):
        for name, value in published.items():
            assert value == pytest.approx(found["deviations"][averaged][name], rel=1e-6)
    assert 0 == main(["drift"])
    out = capsys.readouterr().out
    assert "9 calibrations without a gap, in steps of 1 h" in out
    assert "91.2294" in out


def test_the_line_is_used_only_when_asked(
    config: Path, stub: Stub, capsys: pytest.CaptureFixture[str]
) -> None:
    """The error at a temperature; only --take sends it to the daemon, and it is no measurement."""
    line = [calibrated(1.0 + 0.25 * n, 20.0 + n) for n in range(6)]
    odd = calibrated(50.0, 21.0, "the line at 21 degrees")
    journal(config.parent / "journal.sqlite", [*line, odd])
    assert 0 == main(["drift"])
    assert "+0.2500 ppm a degree" in capsys.readouterr().out
    assert 0 == main(["drift", "--at", "22"])
    assert "at 22 \N{DEGREE SIGN}C +1.5000 ppm" in capsys.readouterr().out
    assert [] == stub.asked
    stub.answers = [success("taken")]
    assert 0 == main(["drift", "--at", "22", "--take"])
    (asked,) = stub.asked
    assert "calibration" == asked["method"]
    assert 1.5 == pytest.approx(asked["params"]["error"])
    assert "the line at 22 degrees" == asked["params"]["against"]


def test_the_picture(config: Path, tmp_path: Path) -> None:
    """A point for each calibration with its interval, higher ones higher up, in order."""
    values = [1.0, -2.0, 3.5, 0.25]
    journal(config.parent / "journal.sqlite", [calibrated(error, 20.0) for error in values])
    assert 0 == main(["drift", "--svg", str(tmp_path / "drift.svg")])
    root = ET.fromstring((tmp_path / "drift.svg").read_text().partition("?>\n")[2])
    circles = [one for one in root.iter() if one.tag.endswith("circle")]
    across, up = ([float(one.attrib[axis]) for one in circles] for axis in ("cx", "cy"))
    assert sorted(across) == across
    order = sorted(range(4), key=lambda n: values[n])
    assert order == sorted(range(4), key=lambda n: -up[n])
    # In between by straight lines: the scale is the same everywhere.
    slopes = {round((up[n] - up[0]) / (values[n] - values[0]), 1) for n in (1, 2, 3)}
    assert max(slopes) - min(slopes) < 0.2
    reaches = [one for one in root.iter() if one.attrib.get("class") == "reach"]
    assert 4 == len(reaches)
    words = "".join(one.text or "" for one in root.iter() if one.tag.endswith("text"))
    assert "error of the crystal of main" in words
    assert "2026-11-25 22:00" in words


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--take"], "write --at 21 as well"),
        (["--at", "21"], "takes 5 calibrations"),
        (["--vfo", "attic"], "there is no VFO 'attic'"),
    ],
)
def test_what_cannot_be_told(
    config: Path, words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line with the remedy."""
    journal(config.parent / "journal.sqlite", [calibrated(1.0, 20.0)])
    assert UsageError.exit_code == main(["drift", *words])
    assert says in capsys.readouterr().err


def test_beyond_what_was_measured(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A line is not followed into the cold."""
    line = [calibrated(1.0 + 0.25 * n, 20.0 + n) for n in range(6)]
    journal(config.parent / "journal.sqlite", line)
    assert UsageError.exit_code == main(["drift", "--at", "-10"])
    assert "the line is from 20.0 to 25.0" in capsys.readouterr().err


def test_nothing_was_measured_yet(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It is said how to."""
    journal(config.parent / "journal.sqlite", [])
    assert UsageError.exit_code == main(["drift"])
    assert "see `vfod calibrate`" in capsys.readouterr().err
