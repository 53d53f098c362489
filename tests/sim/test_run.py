"""The simulator as a process, and a person's keys."""

import asyncio
import os
import pty as ptys
import select
import signal
import subprocess
import sys
import termios
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.sim.conftest import EVENING
from tests.sim.terminal import Terminal
from vfod.device.address import port_from
from vfod.errors import UsageError
from vfod.sim.hands import Keys, describe
from vfod.sim.jump import SimClock
from vfod.sim.memory import MemoryPort
from vfod.sim.run import simulate
from vfod.sim.scenario import load
from vfod.sim.world import build

ROOT = Path(__file__).parents[2]


class Process:
    """`simulate` in a process of its own, with a pipe or a terminal for its keys."""

    def __init__(self, arguments: str, *, stdin: int = subprocess.PIPE, stdout: int = -1) -> None:
        code = (
            "import asyncio; from pathlib import Path; from vfod.sim.run import simulate;"
            f"asyncio.run(simulate({arguments}))"
        )
        self.process = subprocess.Popen(
            [sys.executable, "-c", code],
            cwd=ROOT, stdin=stdin, stdout=stdout, stderr=subprocess.PIPE,
        )  # fmt: skip

    def where(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().decode().split()[-1]

    def end(self, number: int | None) -> tuple[int, str]:
        """The exit status and what it complained of."""
        if number is not None:
            self.process.send_signal(number)
        _, complaints = self.process.communicate(timeout=60)
        return self.process.returncode, complaints.decode()


@pytest.fixture
def start() -> Iterator[Callable[..., Process]]:
    started: list[Process] = []

    def start(arguments: str, *, stdin: int = subprocess.PIPE, stdout: int = -1) -> Process:
        started.append(Process(arguments, stdin=stdin, stdout=stdout))
        return started[-1]

    yield start
    for one in started:
        if one.process.poll() is None:
            one.process.kill()
        one.process.communicate()


@pytest.mark.real_time
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
async def test_it_says_where_it_is_serves_and_leaves_nothing(
    start: Callable[..., Process], tmp_path: Path, number: int
) -> None:
    """One line with the name to open; after the signal exit 0, no complaint, no link."""
    link = tmp_path / "vfo"
    process = start(f"link=Path({str(link)!r})")
    assert str(link) == process.where()
    terminal = Terminal()
    await terminal.open(port_from(str(link)))
    assert "simulated" == (await terminal.ok("who"))["model"]
    terminal.close()
    assert (0, "") == process.end(number)
    assert not link.is_symlink()


@pytest.mark.real_time
async def test_a_pipe_is_a_hand(start: Callable[..., Process]) -> None:
    """Two steps up, one down, a button, and q ends it; the end of the pipe alone does not."""
    process = start("listen='127.0.0.1:0', keys=True")
    terminal = Terminal()
    await terminal.open(port_from(process.where()))
    before = float((await terminal.ok("read"))["f"])
    assert process.process.stdin is not None
    process.process.stdin.write(b"++-7")
    process.process.stdin.flush()
    await terminal.until(lambda: {"knob", "button"} == {event.word for event in terminal.events})
    assert before + 1000 == float((await terminal.ok("read"))["f"])
    process.process.stdin.write(b"q")
    process.process.stdin.flush()
    assert (0, "") == process.end(None)
    terminal.close()


@pytest.mark.real_time
async def test_a_terminal_is_left_as_it_was_found(
    start: Callable[..., Process], tmp_path: Path
) -> None:
    """Arrow keys work without enter, the line shows them, and echo is back afterwards."""
    master, slave = ptys.openpty()
    before = termios.tcgetattr(slave)
    link = tmp_path / "vfo"
    process = start(f"link=Path({str(link)!r}), keys=True", stdin=slave, stdout=slave)

    def wait_for(text: bytes) -> None:
        shown = b""
        # The line is drawn four times a second, so this is a patience of some seconds.
        for _ in range(40):
            assert select.select([master], [], [], 10)[0], shown
            shown += os.read(master, 1000)
            if text in shown:
                return
        pytest.fail(f"{text!r} does not come: {shown!r}")

    wait_for(b"receives 7300.009 kHz")
    os.write(master, b"\x1b[C\x1b[C\x1b[D")
    wait_for(b"receives 7301.009 kHz")
    os.write(master, b"u")
    wait_for(b"unplugged")
    assert not link.is_symlink()
    os.write(master, b"u\x1b")
    os.write(master, b"[A")
    wait_for(b"receives 7302.009 kHz")
    assert link.is_symlink()
    os.write(master, b"q")
    assert 0 == process.end(None)[0]
    assert before == termios.tcgetattr(slave)
    os.close(master)
    os.close(slave)


@pytest.mark.real_time
def test_a_terminal_that_is_closed_ends_it(tmp_path: Path) -> None:
    """Nobody sees it any more, so its link goes too; and there is no traceback."""
    master, slave = ptys.openpty()
    link = tmp_path / "vfo"
    # In a session whose terminal this is: closing it sends SIGHUP (POSIX, General Terminal
    # Interface, Modem Disconnect).
    command = ["setsid", "--ctty", "--wait", sys.executable, "-m", "vfod", "simulate", "--keys"]
    process = subprocess.Popen(
        [*command, "--link", str(link)],
        cwd=ROOT,
        stdin=slave,
        stdout=slave,
        stderr=subprocess.PIPE,
    )
    os.close(slave)
    shown = b""
    while b"receives" not in shown:
        assert select.select([master], [], [], 60)[0], shown
        shown += os.read(master, 1000)
    assert link.is_symlink()
    os.close(master)
    _, complaints = process.communicate(timeout=60)
    assert b"Traceback" not in complaints
    assert not link.is_symlink()


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        ({"listen": "7300"}, "no address"),
        ({"listen": "localhost:99999"}, "no address"),
        ({"listen": "127.0.0.1:0", "link": Path("/tmp/x")}, "either link or tcp"),
        ({"scenario": Path("/none.yaml")}, "cannot be read"),
        ({"link": Path("/")}, "no symbolic link"),
    ],
)
async def test_what_cannot_be_is_a_clear_error(
    arguments: dict[str, object], complaint: str
) -> None:
    """UsageError with one line, before anything is printed."""
    said: list[str] = []
    with pytest.raises(UsageError, match=complaint):
        await simulate(**arguments, say=said.append)  # type: ignore[arg-type]  # a table of bad ones
    assert [] == said


async def test_the_line_for_a_person_tells_the_truth() -> None:
    """What the receiver hears is the crystal's frequency, not what the box believes."""
    scenario = load()
    world = build(scenario, clock=SimClock(wall=EVENING))
    world.box.feed(b"tune f=7710000\n")
    await Terminal().pause(0.1)
    line = describe(world)
    assert line.startswith("oscillator 7710.000 kHz, receives 7255.009 kHz, -")
    assert line.endswith(" dBm Radio Fennimoor")
    world.box.feed(b"output on=0\nmute on=1\n")
    assert "oscillator 7710.000 kHz, unplugged, muted, output off" == describe(world, plugged=False)
    world.box.close()


async def test_keys_do_what_the_head_of_the_file_says() -> None:
    """Each key once, and what means nothing does nothing."""
    world = build(load(), clock=SimClock(wall=EVENING))
    stopped = asyncio.Event()
    port = MemoryPort(world.box)
    keys = Keys(world, port, stopped.set)
    start = world.box.oscillator
    for key, steps in (("+", 1), ("=", 2), ("A", 3), ("C", 4), ("-", 3), ("B", 2), ("D", 1)):
        keys.press(key)
        assert start + steps * 1_000_000 == world.box.oscillator, key
    for key in ("x", "\x00", "0", " ", "\xff"):
        keys.press(key)
    assert start + 1_000_000 == world.box.oscillator
    boot = world.box.boot
    keys.press("r")
    assert (boot, start) != (world.box.boot, world.box.oscillator)
    assert not stopped.is_set()
    keys.press("q")
    assert stopped.is_set()
    world.box.close()
