"""The quick verbs: what they send, what they print, what they refuse by themselves."""

import json
import subprocess
import sys
from typing import Any

import pytest

from tests.cli.conftest import Stub, refusal, success
from vfod.__main__ import main
from vfod.cli import quick
from vfod.errors import (
    BoxRefusedError,
    HandError,
    LinkDownError,
    OutOfRangeError,
    RefusedError,
    RequestError,
    VfodError,
)
from vfod.requests import make_request

#: What is typed, and the method and parameters that it stands for. A bare number is kilohertz.
SENT = [
    ("tune 9420", "tune", {"frequency": 9_420_000}),
    ("tune 9.42M", "tune", {"frequency": 9_420_000}),
    ("tune 7200.5k", "tune", {"frequency": 7_200_500}),
    ("tune 7200.5", "tune", {"frequency": 7_200_500}),
    ("tune 9420000Hz", "tune", {"frequency": 9_420_000}),
    ("tune 9420 kHz", "tune", {"frequency": 9_420_000}),
    ("tune 9.42", "tune", {"frequency": 9_420}),
    ("tune 9420 --vfo attic", "tune", {"frequency": 9_420_000, "vfo": "attic"}),
    ("tune --vfo=attic 9420", "tune", {"frequency": 9_420_000, "vfo": "attic"}),
    ("nudge +", "nudge", {"steps": 1}),
    ("nudge -", "nudge", {"steps": -1}),
    ("nudge \N{MINUS SIGN}", "nudge", {"steps": -1}),
    ("nudge ++", "nudge", {"steps": 2}),
    ("nudge --", "nudge", {"steps": -2}),
    ("nudge ---", "nudge", {"steps": -3}),
    ("nudge +3", "nudge", {"hertz": 3_000}),
    ("nudge 3", "nudge", {"hertz": 3_000}),
    ("nudge -5k", "nudge", {"hertz": -5_000}),
    ("nudge -- -5k", "nudge", {"hertz": -5_000}),
    ("nudge -5k --vfo attic", "nudge", {"hertz": -5_000, "vfo": "attic"}),
    ("nudge \N{MINUS SIGN}500Hz", "nudge", {"hertz": -500}),
    ("step 1k", "step", {"step": 1_000}),
    ("step 0.1", "step", {"step": 100}),
    ("band 31m", "band", {"band": "31m"}),
    ("band up", "band", {"band": "up"}),
    ("band list", "bands", {}),
    ("output on", "output", {"on": True}),
    ("output off", "output", {"on": False}),
    ("mute on", "mute", {"muted": True}),
    ("mute off", "mute", {"muted": False}),
    ("sweep start evening", "sweep-start", {"sweep": "evening"}),
    ("sweep stop", "sweep-stop", {}),
    ("sweep skip", "skip", {}),
    ("stay", "stay", {}),
    ("stay 30m", "stay", {"seconds": 1800.0}),
    ("stay 1h 30m", "stay", {"seconds": 5400.0}),
    ("resume", "resume", {}),
    ("status", "status", {}),
    ("status --json", "status", {}),
]


@pytest.mark.parametrize(("typed", "method", "params"), SENT)
def test_what_is_sent(stub: Stub, typed: str, method: str, params: dict[str, Any]) -> None:
    """One line of JSON-RPC 2.0, which the one table of requests understands."""
    assert 0 == main(typed.split(" "))
    (line,) = stub.lines
    assert line.endswith(b"}\n")
    assert 1 == line.count(b"\n")
    call = {"jsonrpc": "2.0", "id": "plain", "method": method, "params": params}
    assert call == json.loads(line)
    params.pop("vfo", None)
    make_request(method, params)


#: What is typed, and what its one line of complaint says; nothing is sent.
REFUSED = [
    ("tune 9.4.2M", "'9.4.2M' is not a frequency; write it like 9420 (kHz), 9.42M"),
    ("tune nan", "'nan' is not a frequency"),
    ("tune inf", "'inf' is not a frequency"),
    ("tune 9,42M", "'9,42M' is not a frequency; write a point for the comma"),
    ("tune -9420", "'-9420' is not a positive frequency"),
    ("tune 0", "'0' is not a positive frequency"),
    ("tune 9.42m", "'m' is not a unit of frequency; did you mean 9.42M?"),
    ("tune 9420 --json=yes", "vfod tune: --json takes no value, not 'yes'; write --json alone"),
    ("tune 9.4205", "a bare number is kilohertz, did you mean 9.4205M?"),
    ("tune 9420.1234", "is finer than a hertz; leave out the last digits"),
    ("tune " + "9" * 100, "is too long for a frequency"),
    ("tune", "vfod tune needs a word more; write 9420, 9.42M or 7200.5k"),
    ("nudge", "vfod nudge needs a word more; write +, -, +3, -5k or 500Hz"),
    ("nudge 0", "a nudge by 0 moves nothing"),
    ("nudge +-", "'+-' is not a frequency difference"),
    ("nudge NaN", "'NaN' is not a frequency difference"),
    ("nudge --vfo", "vfod nudge: --vfo needs a value; write it like --vfo NAME"),
    ("nudge + --vfoo x", "vfod nudge has no option --vfoo"),
    ("step 0", "'0' is not a step"),
    ("step -1k", "'-1k' is not a step"),
    ("stay 30", "'30' has no unit; write 30s for seconds or 30m for minutes"),
    ("stay 0s", "'0s' is no time to stay"),
    ("output maybe", "vfod output needs on or off, not 'maybe'; write vfod output on"),
    ("mute", "vfod mute needs on or off"),
    ("sweep", "vfod sweep needs a word more; write start NAME, stop, skip or list"),
    ("sweep start", "vfod sweep start needs the name of a sweep; `vfod sweep list` knows them"),
    ("sweep begin evening", "vfod sweep does not know 'begin evening'"),
    ("resume now", "vfod resume takes no 'now'"),
    ("status main", "vfod status takes no 'main'"),
    ("band b\N{LATIN SMALL LETTER A WITH DIAERESIS}nd", "is no name of a band"),
    ("tune 9420 --vfo a\udc80", "is no name of a VFO"),
]


@pytest.mark.parametrize(("typed", "says"), REFUSED)
def test_what_is_refused_before_it_is_sent(
    stub: Stub, capsys: pytest.CaptureFixture[str], typed: str, says: str
) -> None:
    """Bad words are one clear line on the standard error and exit code 2, without the daemon."""
    assert 2 == main(typed.split(" "))
    out, err = capsys.readouterr()
    assert ("", 1) == (out, err.count("\n"))
    assert err.startswith(f"vfod {typed.split()[0]}")
    assert says in err
    assert [] == stub.lines


ANSWERS = [
    "tuned to 9420 kHz by shell (listener)",
    "two\nlines",
    'a "quoted" \\ word and \\n that is none',
    "Z\N{LATIN SMALL LETTER U WITH DIAERESIS}rich \N{MINUS SIGN}5 kHz",
    "beyond the first plane \N{ROCKET}",
    '"}}',
    '"text":"',
    "",
]


@pytest.mark.parametrize("text", ANSWERS)
def test_what_is_printed(stub: Stub, capsys: pytest.CaptureFixture[str], text: str) -> None:
    """The daemon's text, whatever characters JSON had to escape in it."""
    stub.answers = [success(text, data={"text": "not this", "a": {"b": {}}})]
    assert 0 == main(["status"])
    assert text + "\n" == capsys.readouterr().out


def test_json_is_the_daemons_own(stub: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """With --json the result is printed as it came, in one line."""
    stub.answers = [success("x", vfos={"main": {"dial": 9_420_000}})]
    assert 0 == main(["status", "--json"])
    out = capsys.readouterr().out
    assert {"vfos": {"main": {"dial": 9_420_000}}, "text": "x"} == json.loads(out)
    assert 1 == out.count("\n")


REFUSALS: list[VfodError] = [
    RequestError("there is no VFO 'x'", remedy="known: main"),
    HandError("a hand is on the knob", remedy="ask again"),
    OutOfRangeError("40000 kHz is outside", remedy="it tunes 150 kHz to 30000 kHz"),
    LinkDownError("the VFO main is not reachable", remedy="plug it in"),
    BoxRefusedError('the box says "no"', box_code="hardware"),
    RefusedError("no sweep is running"),
]


@pytest.mark.parametrize("error", REFUSALS, ids=lambda error: error.code)
def test_a_refusal_of_the_daemon(
    stub: Stub, capsys: pytest.CaptureFixture[str], error: VfodError
) -> None:
    """Its whole sentence goes to the standard error, its status becomes the exit code."""
    stub.answers = [refusal(error)]
    assert error.exit_code == main(["resume"])
    assert ("", f"vfod: {error}\n") == capsys.readouterr()


@pytest.mark.parametrize(
    ("typed", "hint"),
    [
        ("tune 9.42", "a bare number is kilohertz, did you mean 9.42M?"),
        ("tune 9420000", "a bare number is kilohertz, did you mean 9420000Hz?"),
        ("tune 9420M", "did you mean 9420k?"),
        ("tune 9420 MHz", "did you mean 9420k?"),
        ("tune 9.42k", "did you mean 9.42M?"),
        ("tune 9420Hz", "did you mean 9420k?"),
        ("nudge 9420", "a nudge is a difference; to go there, write vfod tune 9420"),
        ("tune 9420", ""),
        ("tune 40M", ""),
        ("nudge +9420", ""),
    ],
)
def test_what_was_meant(
    stub: Stub, capsys: pytest.CaptureFixture[str], typed: str, hint: str
) -> None:
    """A bare number out of range gets a suggestion, where another scale makes sense."""
    error = OutOfRangeError("that is outside", remedy="it tunes 3000 kHz to 15000 kHz")
    stub.answers = [refusal(error), refusal(RefusedError("something else"))]
    assert 4 == main(typed.split())
    assert f"vfod: {error}{'; ' + hint if hint else ''}\n" == capsys.readouterr().err
    assert 4 == main(typed.split())
    assert "vfod: something else\n" == capsys.readouterr().err


def test_somebody_else_answers(stub: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """A line that is no answer of ours is said to be that."""
    stub.answers = [b"220 ready\n"]
    assert 2 == main(["status"])
    assert "what answers at " in capsys.readouterr().err


def test_a_daemon_that_goes_away(stub: Stub, capsys: pytest.CaptureFixture[str]) -> None:
    """A connection that ends without an answer is not taken for one."""
    stub.answers = [b'{"jsonrpc":"2.0","id":"plain","result":{"text":"half']
    assert 6 == main(["status"])
    assert "went away before it answered" in capsys.readouterr().err


#: Modules that cost more than a whole nudge may, and what they bring with them.
COSTLY = {
    "argparse",
    "ast",
    "asyncio",
    "collections",
    "dataclasses",
    "difflib",
    "enum",
    "functools",
    "importlib.resources",
    "inspect",
    "json",
    "logging",
    "pathlib",
    "random",
    "re",
    "select",
    "selectors",
    "shutil",
    "socket",
    "subprocess",
    "tempfile",
    "threading",
    "typing",
    "zoneinfo",
}


@pytest.mark.parametrize("verb", ["nudge +", "tune 9420", "status", "band up", "stay 1h"])
def test_a_quick_verb_imports_next_to_nothing(stub: Stub, verb: str) -> None:
    """A whole nudge loads none of the costly modules, beyond what the interpreter had."""
    code = (
        "import sys; before = set(sys.modules)\n"
        "from vfod.__main__ import main\n"
        f"status = main({verb.split()!r})\n"
        "print(*sorted(set(sys.modules) - before)); sys.exit(status)"
    )
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert "done" == done.stdout.splitlines()[0]
    loaded = set(done.stdout.splitlines()[-1].split())
    assert set() == COSTLY & loaded
    ours = {name for name in loaded if not name.startswith("vfod")}
    assert {"_socket"} == ours


def test_which_words_are_quick() -> None:
    """Help, watching and what needs the configuration go another way."""
    assert quick.is_quick(["nudge", "+"])
    assert quick.is_quick(["nudge", "-5k"])
    assert not quick.is_quick([])
    assert not quick.is_quick(["nudge", "--help"])
    assert not quick.is_quick(["status", "--watch"])
    assert not quick.is_quick(["sweep", "list"])
    assert not quick.is_quick(["serve"])
