"""The command as a whole: verbs, help, exit codes, and no traceback for anything a person does."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import Stub, success
from vfod.__main__ import main
from vfod.cli import quick
from vfod.cli.overview import SUMMARY

VFOD = [sys.executable, "-m", "vfod"]


def test_the_version(capsys: pytest.CaptureFixture[str]) -> None:
    """Exactly the name and the number."""
    assert 0 == main(["--version"])
    assert ("vfod 0.1.0\n", "") == capsys.readouterr()


@pytest.mark.parametrize("words", [["--help"], ["-h"], ["help"]])
def test_the_overview(capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    """It lists every verb with its line."""
    assert 0 == main(words)
    out = capsys.readouterr().out
    for verb, says in SUMMARY.items():
        assert f"  {verb:<11}{says}\n" in out


def test_no_words(capsys: pytest.CaptureFixture[str]) -> None:
    """The overview again, but as the complaint that it is."""
    assert 2 == main([])
    out, err = capsys.readouterr()
    assert "" == out
    assert "usage: vfod VERB" in err


@pytest.mark.parametrize("verb", SUMMARY)
def test_the_help_of_each_verb(capsys: pytest.CaptureFixture[str], verb: str) -> None:
    """Usage and an example with the verb in it, without a daemon or a configuration."""
    for words in ([verb, "--help"], [verb, "-h"], ["help", verb]):
        assert 0 == main(words)
        out, err = capsys.readouterr()
        assert out.startswith(f"usage: vfod {verb}")
        examples = out.partition("\nexample:")[2].replace("  sudo ", "  ")
        assert f"\n  vfod {verb}" in examples
        assert "" == err


def test_each_quick_verb_is_in_the_table() -> None:
    """No verb works that the overview does not tell."""
    assert set(quick.VERBS) <= set(SUMMARY)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("staus", "there is no verb 'staus'; did you mean status or stay?"),
        ("NUDGE", "there is no verb 'NUDGE'; did you mean nudge?"),
        ("xyzzy", "there is no verb 'xyzzy'; `vfod --help` lists the verbs"),
        ("--verbose", "there is no verb '--verbose'"),
        ("help staus", "there is no verb 'staus'"),
    ],
)
def test_wrong_words(capsys: pytest.CaptureFixture[str], typed: str, says: str) -> None:
    """One line that says what is wrong, and exit code 2."""
    assert 2 == main(typed.split())
    out, err = capsys.readouterr()
    assert ("", 1) == (out, err.count("\n"))
    assert err.startswith("vfod")
    assert says in err


def test_ctrl_c_is_no_traceback(tmp_path: Path) -> None:
    """Following a daemon is ended by SIGINT as shells expect it."""
    server = Stub(tmp_path / "s")
    server.answers = [success("where it is", zone="UTC")]
    # Whoever starts the tests in the background has them ignore SIGINT, and so would this process.
    command = ["env", "--default-signal=INT", *VFOD]
    command += ["status", "--watch", "--socket", str(tmp_path / "s")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert b"where it is\n" == process.stdout.readline()
        process.send_signal(signal.SIGINT)
        code = process.wait(120)
        said = process.stderr.read()
    server.close()
    assert (130, b"") == (code, said)


@pytest.mark.parametrize(
    "words", [["status"], ["--help"], ["plan", "--help"], ["config", "schema"]]
)
def test_a_broken_pipe_is_no_traceback(stub: Stub, words: list[str]) -> None:
    """Whoever reads may stop; that is no error to talk about."""
    stub.answers = [success("x" * 100_000)]
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [*VFOD, *words], stdout=write, stderr=subprocess.PIPE, text=True, check=False
    )
    os.close(write)
    assert "" == done.stderr
    # argparse, which writes the help of some verbs, looks away by itself.
    assert done.returncode == 141 or "--help" in words


def test_a_closed_standard_output_is_no_traceback(stub: Stub) -> None:
    """A key binding may start it without one."""
    script = f"exec {' '.join(VFOD)} nudge + >&-"
    done = subprocess.run(["/bin/sh", "-c", script], stderr=subprocess.PIPE, check=False)
    assert (0, b"") == (done.returncode, done.stderr)


@pytest.mark.parametrize("words", ["night --help", "check --config /nowhere.yaml", "help"])
def test_a_closed_standard_output_of_any_verb(words: str) -> None:
    """What would be told goes nowhere, and the exit code is as ever."""
    script = f"exec {' '.join(VFOD)} {words} >&-"
    done = subprocess.run(["/bin/sh", "-c", script], stderr=subprocess.PIPE, check=False)
    assert ("nowhere" in words) == (done.returncode != 0)
    assert b"Traceback" not in done.stderr
    assert ("nowhere" in words) == bool(done.stderr)


@pytest.mark.parametrize("words", [["status"], ["--help"], ["night", "--help"], ["manual"]])
def test_a_full_disk_under_the_output_is_no_traceback(stub: Stub, words: list[str]) -> None:
    """It is said in one line, and the exit code tells a script."""
    stub.answers = [success("x" * 100_000)]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [*VFOD, *words], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    says = "vfod: the output cannot be written: No space left on device\n"
    # argparse, which writes the help of some verbs, swallows it where it flushes.
    assert (1, says) == (done.returncode, done.stderr)


def test_a_terminal_without_the_characters(stub: Stub) -> None:
    """What the terminal cannot show is shown as a number."""
    stub.answers = [success("Z\N{LATIN SMALL LETTER U WITH DIAERESIS}rich")]
    done = subprocess.run(
        [*VFOD, "status"],
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        check=False,
    )
    assert (0, b"Z\\xfcrich\n", b"") == (done.returncode, done.stdout, done.stderr)
