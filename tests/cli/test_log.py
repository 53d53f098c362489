"""How log lines leave the process.

Levels are those of syslog (RFC 5424, section 6.2.1) in the form of sd-daemon(3); whether the
standard error is the service manager's journal is told as systemd.exec(5) says of $JOURNAL_STREAM.
"""

import logging
import os
import subprocess
import sys
from pathlib import Path

import pytest

from vfod import events as e
from vfod.cli.log import HOUR, MOST, Repeats, is_journal, set_up_log
from vfod.store import Reader

VFOD = [sys.executable, "-m", "vfod"]


def test_a_record_is_a_line(log: None, capsys: pytest.CaptureFixture[str]) -> None:
    """A traceback too, so that a log can be searched by lines."""
    set_up_log("warning", {})
    logging.getLogger("vfod").info("not this")
    try:
        raise ValueError("a\nb")
    except ValueError:
        logging.getLogger("vfod").exception("it %s", "failed")
    err = capsys.readouterr().err
    assert 1 == err.count("\n")
    assert " ERROR vfod: it failed | Traceback (most recent call last): | " in err
    assert err.endswith("ValueError: a | b\n")


def run_into(path: Path, script: str, **environment: str) -> str:
    """What a script writes to a standard error that it believes to be the journal."""
    with path.open("w") as stream:
        here = os.fstat(stream.fileno())
        given = {"JOURNAL_STREAM": f"{here.st_dev}:{here.st_ino}", **environment}
        subprocess.run(
            [sys.executable, "-c", script], stderr=stream, check=False, env={**os.environ, **given}
        )
    return path.read_text()


EACH_LEVEL = """
import logging, os
from vfod import events as e
from vfod.cli.log import set_up_log
set_up_log("debug", os.environ)
for level in ("debug", "info", "warning", "error", "critical"):
    getattr(logging.getLogger("vfod"), level)("a\\n%s", level)
"""


def test_levels_for_the_journal(tmp_path: Path) -> None:
    """Debug 7, information 6, warning 4, error 3; the journal has the time and the name itself."""
    lines = run_into(tmp_path / "log", EACH_LEVEL).splitlines()
    assert [
        "<7>a | debug", "<6>a | info", "<4>a | warning", "<3>a | error", "<3>a | critical",
    ] == lines  # fmt: skip


def test_elsewhere_the_journal_is_not_meant(tmp_path: Path) -> None:
    """The variable is inherited: a pipe behind the service is not the journal."""
    text = run_into(tmp_path / "log", EACH_LEVEL, JOURNAL_STREAM="8:99")
    assert "<" not in text
    assert " WARNING vfod: a | warning\n" in text
    assert not is_journal({})


def test_what_ends_the_daemon_is_an_error_there(tmp_path: Path) -> None:
    """Each complaint about the configuration is a line of its own, at the level of errors."""
    bad = tmp_path / "bad.yaml"
    bad.write_text("vfos: {main: {port: /dev/vfo0, bawd: 9600}}\nwindow: []\n")
    script = "import sys; from vfod.__main__ import main; sys.exit(main(sys.argv[1:]))"
    script = script.replace("sys.argv[1:]", f"['serve', '--config', {str(bad)!r}]")
    lines = run_into(tmp_path / "log", script).splitlines()
    assert 2 == len(lines)
    assert all(line.startswith(f"<3>{bad}:") for line in lines)
    done = subprocess.run(
        [*VFOD, "serve", "--config", str(bad)], capture_output=True, text=True, check=False
    )
    assert [line.removeprefix("<3>") for line in lines] == done.stderr.splitlines()
    assert 3 == done.returncode


BROKEN = """
import sys
import vfod.app
from vfod.__main__ import main

class Broken:
    name = "broken"
    async def open(self, received, lost):
        raise RuntimeError("a mistake\\nof ours")

sys.modules["vfod.app.serve"]._port = lambda settings: Broken()
sys.exit(main(["serve", "--config", "CONFIG"]))
"""


def test_a_defect_is_one_line_too(config: Path, tmp_path: Path) -> None:
    """A traceback in a line, as an error; the journal says that nobody had asked for the end."""
    lines = run_into(tmp_path / "log", BROKEN.replace("CONFIG", str(config))).splitlines()
    assert 2 == len(lines)
    assert lines[1].startswith("<3>a defect of vfod itself ended the daemon | ")
    assert "RuntimeError: a mistake | " in lines[1]
    with Reader(tmp_path / "journal.sqlite") as reader:
        (stopped,) = reader.events(kinds=("daemon-stopped",))
    assert e.DaemonStopped(reason="a defect of vfod itself") == stopped.event


# --- repeats ------------------------------------------------------------------------------------


def record(at: float, message: str = "gone", incident: str | None = None) -> logging.LogRecord:
    made = logging.makeLogRecord({"name": "vfod", "msg": message, "created": at})
    if incident is not None:
        made.incident = incident
    return made


def written(records: list[logging.LogRecord]) -> list[str]:
    repeats = Repeats()
    return [one.getMessage() + one.__dict__["note"] for one in records if repeats.filter(one)]


def test_a_night_of_a_loose_cable_is_a_few_lines_an_hour() -> None:
    """Down and up every five seconds for ten hours: three of each an hour, which say so."""
    records = []
    for at in range(0, 36_000, 5):
        records.append(record(at, f"down at {at}", "main down"))
        records.append(record(at + 2, f"up at {at}", "main up"))
    lines = written(records)
    assert 10 * 2 * MOST == len(lines)
    assert ["down at 0", "up at 0", "down at 5", "up at 5"] == lines[:4]
    assert lines[4].startswith("down at 10 (repeats; ")
    assert f"down at 3600 ({3600 // 5 - MOST} such lines before were left out)" == lines[6]


def test_what_happens_now_and_then_is_written_as_it_is() -> None:
    """A kind that keeps below the limit is never remarked upon."""
    assert 24 * ["gone"] == written([record(at * HOUR) for at in range(24)])


def test_kinds_do_not_silence_each_other() -> None:
    """By incident, or else by the message before anything is filled in."""
    records = [record(0.0, "gone", str(number)) for number in range(50)]
    records += [record(0.0, f"other {number}") for number in range(50)]
    assert 100 == len(written(records))


def test_a_clock_that_is_set_back_silences_nothing() -> None:
    """Three years back, as after a start without a battery for the clock."""
    records = [record(1e9)] * (MOST + 5) + [record(1e9 - 1e8)]
    assert MOST + 1 == len(written(records))


def test_memory_of_kinds_is_bounded() -> None:
    """Of two hundred newer kinds the oldest is forgotten, and is written like a new one."""
    first = [record(0.0, "first")] * (MOST + 1)
    some, many = ([record(0.0, f"line {n}") for n in range(count)] for count in (199, 200))
    assert MOST + 199 == len(written([*first, *some, *first]))
    assert MOST + 200 + MOST == len(written([*first, *many, *first]))
