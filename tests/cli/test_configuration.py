"""`vfod check` and `vfod config`."""

import json
from pathlib import Path

import pytest

from vfod.__main__ import main

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["minimal.yaml", "documented.yaml"])
def test_the_shipped_configurations_are_good(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Both examples pass, and the answer tells what they amount to."""
    path = ROOT / "configs" / name
    assert 0 == main(["check", str(path)])
    out, err = capsys.readouterr()
    assert f"{path} is good" == out.splitlines()[0]
    assert "" == err


def test_what_it_amounts_to(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """VFOs, bands, sweeps with their windows, doors."""
    assert 0 == main(["check"])
    lines = capsys.readouterr().out.splitlines()
    for line in (
        "  VFO main at /dev/ttyACM0, 115200 baud; dial 3000 kHz to 15000 kHz in 1 range",
        "  sweep both: lower, upper, joined; 21 channels, a pass takes 48.3 s",
        f"  control socket {config.parent}/control.sock",
        "  MQTT off",
        "  HTTP off",
        f"  journal {config.parent}/journal.sqlite",
    ):
        assert line in lines
    assert any(line.endswith("; own: lower (7200 kHz to 7240 kHz), upper (7260 kHz to 7300 kHz)")
               for line in lines)  # fmt: skip
    assert any(line.startswith("    window both ") for line in lines)


def test_all_complaints_at_once(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each in a line that begins with its place, as editors want it, and exit code 3."""
    text = config.read_text().replace("dwell", "dwel").replace("joined: true", "joind: true")
    config.write_text(text.replace("port:", "prt:").replace("22:00", "25:00"))
    for words in (["check"], ["plan"], ["agenda"], ["serve"], ["sweep", "list"]):
        assert 3 == main(words)
        out, err = capsys.readouterr()
        assert "" == out
        lines = err.splitlines()
        assert len(lines) >= 3
        assert all(line.startswith(f"{config}:") for line in lines)
        assert any("did you mean joined?" in line for line in lines)


@pytest.mark.parametrize("content", [b"\x00\xff", b"a: [", b"", b"- 1\n", b"'"])
def test_no_configuration_at_all(
    config: Path, capsys: pytest.CaptureFixture[str], content: bytes
) -> None:
    """What is no YAML, or no section, is one line with its place."""
    config.write_bytes(content)
    assert 3 == main(["check"])
    assert capsys.readouterr().err.startswith(f"{config}:")


def test_no_such_file(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that was named is not passed over."""
    assert 3 == main(["check", str(config.parent / "none.yaml")])
    assert "none.yaml: there is no such file" in capsys.readouterr().err


def test_the_schema_is_the_one_that_is_shipped(capsys: pytest.CaptureFixture[str]) -> None:
    """What editors are given is what the program understands."""
    assert 0 == main(["config", "schema"])
    assert (ROOT / "configs" / "vfod.schema.json").read_text() == capsys.readouterr().out


def test_the_configuration_in_force(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Everything with its defaults, in hertz and seconds, as JSON."""
    assert 0 == main(["config", "show"])
    shown = json.loads(capsys.readouterr().out)
    assert str(config) == shown["path"]
    assert "Europe/Berlin" == shown["place"]["zone"]
    main_vfo = shown["vfos"]["main"]
    assert (600.0, "return", "0") == (
        main_vfo["quiet"],
        main_vfo["afterwards"],
        main_vfo["receiver"]["correction"],
    )
    assert 455_000 == main_vfo["receiver"]["ranges"][0]["intermediate_frequency"]
    assert (2.0, 8, True) == tuple(
        shown["sweeps"]["both"][k] for k in ("dwell", "readings", "joined")
    )
    assert ["22:00:00", [0, 1, 2, 3, 4, 5, 6]] == [
        shown["windows"][0][key] for key in ("start", "weekdays")
    ]


def test_check_reads_the_list_of_stations(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is wrong in the list is told as what is wrong in the configuration; so is no list."""
    config.write_text(config.read_text() + "stations: mine.csv\n")
    assert 3 == main(["check"])
    assert f"{config.parent}/mine.csv: there is no such file" in capsys.readouterr().err
    (config.parent / "mine.csv").write_text("khz,from,to,name\n94x0,18:00,19:00,X\n")
    assert 3 == main(["check"])
    assert f"{config.parent}/mine.csv:2: khz: '94x0'" in capsys.readouterr().err
    (config.parent / "mine.csv").write_text("khz,from,to,name\n9420,18:00,19:00,X\n")
    assert 0 == main(["check"])
    assert "stations: 1 lines in" in capsys.readouterr().out


def test_check_takes_the_file_either_way(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By itself, or by --config as other verbs have it; but not two."""
    file = tmp_path / "vfod.yaml"
    file.write_text("vfos: {main: {port: /dev/x}}\n")
    assert 0 == main(["check", str(file)])
    by_itself = capsys.readouterr().out
    assert 0 == main(["check", "--config", str(file)])
    assert by_itself == capsys.readouterr().out
    assert 2 == main(["check", str(file), "--config", str(file)])
    assert "two files are named; name one" in capsys.readouterr().err
