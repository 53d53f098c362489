"""Completion in a real bash and a real zsh: what is offered for the words typed so far.

COMP_WORDS, COMP_CWORD and COMPREPLY are those of bash(1), section Programmable Completion; words,
CURRENT and compadd those of zshcompwid(1).
"""

import os
import pty
import select
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import Stub, success
from tests.real_parts import real_part
from vfod.__main__ import main
from vfod.cli.overview import SUMMARY
from vfod.events.plain import KINDS


@pytest.fixture(params=["bash", "zsh"])
def script(
    request: pytest.FixtureRequest, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> Path:
    """The script of a shell, and beside it a command `vfod` that is this program."""
    shell: str = request.param
    assert 0 == main(["completion", shell])
    path = tmp_path / f"vfod.{shell}"
    path.write_text(capsys.readouterr().out)
    command = tmp_path / "vfod"
    command.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m vfod "$@"\n')
    command.chmod(0o755)
    return path


def in_bash(script: Path, words: list[str]) -> list[str]:
    return [
        f"source {shlex.quote(str(script))}",
        "[[ $(complete -p vfod) =~ ' -F '([^ ]+) ]] || exit 9",
        f"COMP_WORDS=({shlex.join(words)})",
        f"COMP_CWORD={len(words) - 1}",
        '"${BASH_REMATCH[1]}" vfod || exit 8',
        'printf "%s\\n" "${COMPREPLY[@]}"',
    ]


def in_zsh(script: Path, words: list[str]) -> list[str]:
    """What its function hands to compadd, of which the shell offers what begins as typed."""
    return [
        "compdef() { function=$1 }",
        "_files() { }",
        f"compadd() {{ shift; print -l -- ${{(M)@:#{shlex.quote(words[-1])}*}} }}",
        f"source {shlex.quote(str(script))}",
        f"words=({shlex.join(words)})",
        f"CURRENT={len(words)}",
        "$function || exit 8",
    ]


def offered(script: Path, *typed: str) -> list[str]:
    """What the function that the shell would call offers for the last word of `vfod TYPED...`."""
    words = [str(script.parent / "vfod"), *typed]
    if script.suffix == ".bash":
        command, lines = ["bash", "--norc", "-u", "-c"], in_bash(script, words)
    else:
        command, lines = [real_part("zsh"), "-f", "-u", "-c"], in_zsh(script, words)
    done = subprocess.run([*command, "\n".join(lines)], capture_output=True, text=True, check=False)
    assert (0, "") == (done.returncode, done.stderr)
    return done.stdout.split()


def test_verbs(script: Path) -> None:
    """All of them, or those that begin as typed."""
    assert {*SUMMARY, "help", "--help", "--version"} == set(offered(script, ""))
    assert ["status", "step", "stay"] == [w for w in offered(script, "st") if w in SUMMARY]
    assert {*SUMMARY} == set(offered(script, "help", ""))
    assert [] == offered(script, "xyz")


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("output ", {"on", "off"}),
        ("sweep s", {"start", "stop", "skip"}),
        ("config ", {"schema", "show"}),
        ("service i", {"install"}),
        ("nudge --", {"--help", "--vfo", "--socket", "--json"}),
        ("status --w", {"--watch"}),
        ("serve --log ", {"error", "warning", "info", "debug"}),
        ("serve --log d", {"debug"}),
        ("journal --kind sweep-s", {"sweep-started"}),
        ("journal --kind ", {*KINDS}),
        ("journal ch", {"channels"}),
        # Names of files then, by `-o default`.
        ("serve --config ", set()),
        ("serve --config a.yaml --log ", {"error", "warning", "info", "debug"}),
        ("tune 9420 ", set()),
    ],
)
def test_words_and_options(script: Path, typed: str, expected: set[str]) -> None:
    """Fixed words where they may stand, options after a hyphen, values after an option."""
    assert expected == set(offered(script, *typed.split(" ")))


def test_names_of_the_configuration(script: Path, config: Path) -> None:
    """Sweeps where a sweep is wanted."""
    assert ["both"] == offered(script, "sweep", "start", "")
    assert ["both"] == offered(script, "plan", "b")
    assert [] == offered(script, "plan", "x")


def test_names_of_the_running_daemon(script: Path, stub: Stub) -> None:
    """Bands as the daemon lists them; a few words beside."""
    stub.answers = [success("49m (5900 kHz to 6200 kHz)\nlower (7200 kHz to 7240 kHz)")]
    assert ["up", "down", "list", "49m", "lower"] == offered(script, "band", "")
    assert ["49m"] == offered(script, "band", "4")
    assert "bands" == stub.asked[0]["method"]


def test_without_configuration_and_daemon(
    script: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Nothing is offered and nothing is said on the terminal."""
    monkeypatch.setenv("VFOD_CONFIG", str(tmp_path / "none.yaml"))
    monkeypatch.setenv("VFOD_SOCKET", str(tmp_path / "none.sock"))
    assert [] == offered(script, "sweep", "start", "")
    assert ["up", "down", "list"] == offered(script, "band", "")


@pytest.mark.real_time
def test_the_tab_key_in_zsh(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As a file of $fpath, found by the shell itself, in a terminal."""
    assert 0 == main(["completion", "zsh"])
    (tmp_path / "_vfod").write_text(capsys.readouterr().out)
    master, slave = pty.openpty()
    shell = subprocess.Popen(
        [real_part("zsh"), "-f", "-i"],
        stdin=slave,
        stdout=slave,
        stderr=slave,
        env={"PATH": os.environ["PATH"], "TERM": "dumb", "HOME": str(tmp_path)},
        start_new_session=True,
    )
    os.close(slave)
    try:
        # In two pieces, because the line itself is shown too.
        ready = "print -n re; print ady"
        os.write(master, f"fpath=({tmp_path} $fpath); autoload -Uz compinit\n".encode())
        os.write(master, f"compinit -u -D; {ready}\n".encode())
        wait_for(master, b"ready")
        os.write(master, b"vfod drif\t--sv\t")
        wait_for(master, b"--svg")
    finally:
        shell.kill()
        shell.wait()
        os.close(master)


def wait_for(terminal: int, text: bytes) -> None:
    shown = b""
    while text not in shown:
        assert select.select([terminal], [], [], 60)[0], shown
        shown += os.read(terminal, 1000)
