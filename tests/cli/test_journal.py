"""`vfod journal`: a journal that the store wrote, told in lines, as JSON and by channel."""

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from vfod import events as e
from vfod.__main__ import main
from vfod.store import Writer

#: 2026-11-25 21:00 UTC, 22:00 in Berlin.
T = 1_795_640_400.0

SHELL = e.Origin(door=e.Door.SHELL, who="listener")


def tuned(dial: int) -> e.DialTuned:
    return e.DialTuned(dial=dial, oscillator=dial * 1000, produced=dial * 1000, by=SHELL)


def observed(dial: int, level: float | None, active: bool | None) -> e.ChannelObserved:
    return e.ChannelObserved(
        sweep="both",
        dial=dial,
        band="upper",
        readings=8,
        level=level,
        highest=level,
        unit="dBm",
        floor=-100.0,
        active=active,
        lateness=0.0,
    )


EVENTS: list[e.Event] = [
    e.DaemonStarted(version="0.1.0", config_path="/c.yaml", config_digest="c0ffee"),
    tuned(7_255_000),
    observed(7_260_000, -60.0, None),
    observed(7_260_000, -61.5, True),
    observed(7_260_000, -99.0, False),
    observed(7_260_000, -58.0, True),
    observed(7_265_000, None, None),
    e.KnobTurned(number=1, dial=7_258_000, oscillator=7_713_000_000),
]


@pytest.fixture
def written(config: Path) -> Iterator[Writer]:
    """An event a minute from 22:00 on, local time."""
    writer = Writer(config.parent / "journal.sqlite")
    writer.open(T)
    for number, event in enumerate(EVENTS):
        add(writer, number, event)
    writer.commit()
    yield writer
    writer.close()


def add(writer: Writer, number: int, event: e.Event) -> None:
    vfo = "" if isinstance(event, e.DaemonStarted) else "main"
    when = T + 60 * number
    writer.add(e.Stamped(sequence=number + 1, time=when, vfo=vfo, event=event))


STARTED = "2026-11-25 22:00:00  vfod 0.1.0 started with /c.yaml"
TUNED = "2026-11-25 22:01:00  tuned to 7255 kHz by shell (listener)"
TURNED = "2026-11-25 22:07:00  knob turned to 7258 kHz"


@pytest.mark.parametrize(
    ("words", "lines"),
    [
        ("", [STARTED, TUNED, TURNED]),
        ("--last 1", [TURNED]),
        ("--kind dial-tuned", [TUNED]),
        ("--kind dial-tuned --kind knob-turned", [TUNED, TURNED]),
        ("--since 2026-11-25T22:01", [TUNED, TURNED]),
        ("--until 2026-11-25T22:01", [STARTED]),
        ("--since 2026-11-25T22:01 --until 2026-11-25T22:07", [TUNED]),
        ("--vfo main", [STARTED, TUNED, TURNED]),
        (
            "--kind channel-observed",
            [
                "2026-11-25 22:02:00  7260 kHz, -60.0 dBm, S9+13 dB, 40.0 dB over the floor",
                "2026-11-25 22:03:00  7260 kHz, -61.5 dBm, S9+12 dB, "
                "38.5 dB over the floor, active",
                "2026-11-25 22:04:00  7260 kHz, -99.0 dBm, S5, 1.0 dB over the floor",
                "2026-11-25 22:05:00  7260 kHz, -58.0 dBm, S9+15 dB, "
                "42.0 dB over the floor, active",
                "2026-11-25 22:06:00  7265 kHz, nothing was measured",
            ],
        ),
        (
            "--kind channel-observed --kind knob-turned --last 2",
            ["2026-11-25 22:06:00  7265 kHz, nothing was measured", TURNED],
        ),
    ],
)
def test_lines(
    written: Writer, capsys: pytest.CaptureFixture[str], words: str, lines: list[str]
) -> None:
    """Local time in the zone of the configuration, and the words that all doors use."""
    assert 0 == main(["journal", *words.split()])
    assert lines == capsys.readouterr().out.splitlines()


@pytest.mark.usefixtures("written")
@pytest.mark.parametrize("words", ["", "channels", "export notes", "export observations"])
def test_a_vfo_that_nobody_knows(capsys: pytest.CaptureFixture[str], words: str) -> None:
    """An empty answer would say that nothing was heard there."""
    assert 2 == main(["journal", *words.split(), "--vfo", "attic"])
    assert "vfod: there is no VFO 'attic'; known are main\n" == capsys.readouterr().err


@pytest.mark.usefixtures("config")
def test_a_vfo_of_which_there_are_only_events(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It may have been taken out of the configuration since."""
    writer = Writer(tmp_path / "old.sqlite")
    writer.open(T)
    for vfo in ("attic", ""):
        event = tuned(7_255_000) if vfo else EVENTS[0]
        writer.add(e.Stamped(sequence=1 + (not vfo), time=T, vfo=vfo, event=event))
    writer.close()
    assert 0 == main(["journal", "--vfo", "attic", "--journal", str(tmp_path / "old.sqlite")])
    assert 2 == len(capsys.readouterr().out.splitlines())


def test_lines_as_json(written: Writer, capsys: pytest.CaptureFixture[str]) -> None:
    """One object a line, with every field of the event."""
    assert 0 == main(["journal", "--json", "--kind", "dial-tuned", "--kind", "channel-observed"])
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert (T + 60, "main", "dial-tuned", 7_255_000, "listener") == (
        lines[0]["time"],
        lines[0]["vfo"],
        lines[0]["kind"],
        lines[0]["data"]["dial"],
        lines[0]["data"]["by"]["who"],
    )
    assert [7_260_000] * 4 + [7_265_000] == [line["data"]["dial"] for line in lines[1:]]


def test_channels(written: Writer, capsys: pytest.CaptureFixture[str]) -> None:
    """Visits, those with activity, and the share of those that could tell.

    Two of three: the relative error is 1.96 * sqrt((1/3) / (2/3 * 3)), which is 80 %.
    """
    assert 0 == main(["journal", "channels"])
    assert [
        "      kHz  band       visits active  occupancy     strongest   last",
        "     7260  upper           4      2  67% ± 80%     -58.0 dBm   2026-11-25 22:05:00",
        "     7265  upper           1      0  unknown",
        "± is relative to the occupancy, for visits that are independent of each other",
    ] == capsys.readouterr().out.splitlines()
    assert 0 == main(["journal", "channels", "--json", "--until", "2026-11-25T22:06"])
    (line,) = capsys.readouterr().out.splitlines()
    assert {
        "vfo": "main",
        "dial": 7_260_000,
        "band": "upper",
        "visits": 4,
        "judged_visits": 3,
        "active_visits": 2,
        "occupancy": 0.6667,
        "relative_error": 0.8002,
        "strongest": -58.0,
        "unit": "dBm",
        "first_active": T + 180,
        "last_active": T + 300,
    } == json.loads(line)
    assert 0 == main(["journal", "channels", "--since", "2026-12-01"])
    assert "no channel was visited in that time\n" == capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        ("--kind dial-tund", 2, "--kind 'dial-tund' is no kind of event; did you mean dial-tuned"),
        ("--last 0", 2, "--last '0' is no whole number from 1 to 1000000000; write it like"),
        ("--since yesterday", 2, "--since 'yesterday' is not a time; write 3h (ago), 22:00"),
        ("--follow --until 22:00", 2, "--follow has no end; leave out --until"),
        ("channels --last 3", 2, "a summary has no --follow, --last or --kind"),
        ("--journal /nowhere/x", 7, "there is no journal /nowhere/x; start the daemon once"),
        ("--journal /dev", 7, "/dev is a folder; name the journal's file"),
    ],
)
def test_bad_input(
    written: Writer, capsys: pytest.CaptureFixture[str], words: str, code: int, says: str
) -> None:
    """Each its own line and exit code."""
    assert code == main(["journal", *words.split()])
    out, err = capsys.readouterr()
    assert ("", 1) == (out, err.count("\n"))
    assert err.startswith("vfod")
    assert f": {says}" in err


def test_no_database(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is none is said to be that, and left as it is."""
    file = config.parent / "journal.sqlite"
    file.write_text("not a database at all" * 100)
    assert 7 == main(["journal"])
    assert "is no journal, or a damaged one" in capsys.readouterr().err
    assert file.read_text().startswith("not a database")


def test_a_broken_configuration_does_not_hide_the_journal(
    written: Writer,
    config: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One that was only found is passed over with a word; one that was named is an error."""
    config.write_text("nonsense: true\n")
    assert 3 == main(["journal"])
    capsys.readouterr()
    monkeypatch.delenv("VFOD_CONFIG")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(config.parent))
    (config.parent / "vfod").mkdir()
    config.rename(config.parent / "vfod" / "vfod.yaml")
    assert 0 == main(["journal", "--last", "1"])
    out, err = capsys.readouterr()
    assert out.endswith("knob turned to 7258 kHz\n")
    assert "vfod.yaml is passed over" in err
    assert "`vfod check` tells" in err


def test_following(written: Writer) -> None:
    """What is written later comes without asking again, once, until Ctrl-C."""
    # Whoever starts the tests in the background has them ignore SIGINT.
    command = ["env", "--default-signal=INT", sys.executable, "-m", "vfod"]
    command += ["journal", "--last", "1", "--follow"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    try:
        assert process.stdout is not None
        assert TURNED == process.stdout.readline().decode().rstrip()
        for number in (11, 12):
            add(written, number, tuned(7_000_100 + number))
            written.commit()
            wanted = f"2026-11-25 22:{number}:00  tuned to 7000.1{number} kHz by shell (listener)"
            assert wanted == process.stdout.readline().decode().rstrip()
        process.send_signal(signal.SIGINT)
        assert (b"", b"") == process.communicate(timeout=120)
        assert 130 == process.returncode
    finally:
        process.kill()
        process.communicate()
