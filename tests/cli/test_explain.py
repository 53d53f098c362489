"""vfod tune --explain: the published exact plan, and a VFO that says something else."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Stub, refusal, success
from vfod.__main__ import main
from vfod.errors import OutOfRangeError, UsageError

CONFIG = """\
vfos:
  main:
    port: /dev/ttyACM0
    synthesiser: {crystal: 25M}
    receiver: [{from: 150k, to: 30M, detector: direct, offset: 0Hz}]
"""


@pytest.fixture
def described(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A configuration whose clock generator is that of the worked values."""
    path = tmp_path / "vfod.yaml"
    path.write_text(CONFIG)
    monkeypatch.setenv("VFOD_CONFIG", str(path))
    return path


def answers(produced: int, oscillator: int = 9_420_000_000) -> list[bytes]:
    """What the daemon says to the tune, and to the status; resolution 0.1 Hz."""
    data = {"dial": 9_420_000, "oscillator": oscillator, "produced": produced}
    status = {"vfos": {"main": {"link": {"resolution": 100}}}}
    return [success("dial tuned to 9420 kHz", data=data), success("main", **status)]


def test_the_exact_plan(stub: Stub, described: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """9.42 MHz from 25 MHz: 35 + 262/625, 885.48 MHz, by 94 (docs/standards.md, section 8)."""
    stub.answers = answers(9_420_000_000)
    assert 0 == main(["tune", "9420", "--explain"])
    assert [
        "dial tuned to 9420 kHz",
        "  dial 9420 kHz, oscillator 9 420 000 Hz",
        "  crystal 25000 kHz x (35 + 262/625) = 885 480 000 Hz, divided by 94",
        "  produced 9 420 000 Hz: +0 Hz off, in steps of 0.2536 Hz",
        "  the VFO says 9 420 000 Hz, which is that to within its resolution",
    ] == capsys.readouterr().out.splitlines()
    assert ["tune", "status"] == [one["method"] for one in stub.asked]


def test_a_fixed_denominator(
    stub: Stub, described: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With c = 1 048 575: b = 439563 and +0.091309 Hz (docs/standards.md, section 8)."""
    described.write_text(CONFIG.replace("25M}", "25M, fixed: true, loop_from: 870M}"))
    stub.answers = answers(9_420_000_091)
    assert 0 == main(["tune", "9420", "--explain", "--json"])
    found = json.loads(capsys.readouterr().out)["explanation"]
    assert (35, 439_563, 1_048_575, 94) == (found["a"], found["b"], found["c"], found["divider"])
    assert 0.091309 == pytest.approx(found["error"], abs=5e-7)
    assert found["agrees"]


def test_a_disagreement_is_said(
    stub: Stub, described: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Only beyond the resolution that the VFO claims, and with what to do."""
    stub.answers = answers(9_420_000_101)
    assert 0 == main(["tune", "9420", "--explain"])
    last = capsys.readouterr().out.splitlines()[-1]
    assert (
        "  the VFO says 9 420 000.101 Hz: +0.101 Hz from it, more than its resolution of 0.1 Hz; "
        "compare the synthesiser of the configuration with its firmware"
    ) == last
    stub.answers = answers(9_420_000_100)
    assert 0 == main(["tune", "9420", "--explain"])
    assert "to within its resolution" in capsys.readouterr().out


def test_nothing_is_described(
    stub: Stub, described: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is said what to write, and nothing is moved."""
    described.write_text(CONFIG.replace("    synthesiser: {crystal: 25M}\n", ""))
    stub.answers = answers(9_420_000_000)
    assert UsageError.exit_code == main(["tune", "9420", "--explain"])
    assert "write vfos.main.synthesiser: {crystal: 25M}" in capsys.readouterr().err
    assert [] == stub.lines


def test_a_refusal_is_told(stub: Stub, described: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What the daemon refuses is refused as without the word."""
    stub.answers = [refusal(OutOfRangeError("too high", remedy="go lower"))]
    assert OutOfRangeError.exit_code == main(["tune", "94200", "--explain"])
    assert "too high" in capsys.readouterr().err
