"""`vfod doctor` and `vfod conform` as commands, on real ports."""

import asyncio
import os
import re
import socket
import termios
import threading
import tty
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest

from tests.conform.habits import resealed
from vfod.cli.conform import ask_a_hand
from vfod.cli.verbs import run
from vfod.clock import SystemClock
from vfod.device import serial, sounding
from vfod.device.address import port_from
from vfod.errors import NoReplyError, UsageError
from vfod.sim.box import SimBox
from vfod.sim.pty import PtyLine
from vfod.sim.scenario import BoxSetup, Scenario
from vfod.sim.world import build

pytestmark = pytest.mark.real_time


@pytest.fixture
async def box() -> AsyncIterator[SimBox]:
    box = build(Scenario(box=BoxSetup()), clock=SystemClock()).box
    yield box
    box.close()


@pytest.fixture
async def line(box: SimBox) -> AsyncIterator[PtyLine]:
    line = PtyLine(box)
    line.open()
    yield line
    line.close()


@pytest.fixture
def brief(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fewer tries, since nothing will come."""
    monkeypatch.setattr(sounding, "GREETING_PAUSES", (0.1,))
    monkeypatch.setattr(sounding, "GUESS_PAUSES", (0.05,))


async def test_a_vfo_that_answers(line: PtyLine, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 0, and who it is."""
    assert 0 == await asyncio.to_thread(run, ["doctor", line.device])
    said = capsys.readouterr().out
    assert f"{line.device}: the VFO answers: sim 1.0, serial number 0001\n" == said


async def test_the_ports_of_the_configuration(
    line: PtyLine, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each VFO's own; one that is not reached makes the exit code 1."""
    config = tmp_path / "vfod.yaml"
    receiver = "[{from: 150k, to: 30M, detector: envelope, intermediate_frequency: 455k}]"
    config.write_text(
        "place: {zone: UTC, region: 1}\n"
        "vfos:\n"
        f"  main: {{port: {line.device}, receiver: {receiver}}}\n"
        f"  other: {{port: {tmp_path}/none, receiver: {receiver}}}\n"
    )
    assert 1 == await asyncio.to_thread(run, ["doctor", "--config", str(config)])
    said = capsys.readouterr().out
    assert f"{line.device}: the VFO answers" in said
    assert f"{tmp_path}/none: the VFO is not reached\n1. " in said
    assert "there is no such port" in said


async def test_a_port_that_another_process_holds(
    line: PtyLine, capsys: pytest.CaptureFixture[str]
) -> None:
    """It says which."""
    held = await port_from(line.device).open(lambda _: None, lambda _: None)
    assert 1 == await asyncio.to_thread(run, ["doctor", line.device])
    held.close()
    assert f"is held by process {os.getpid()} (" in capsys.readouterr().out


async def test_a_port_that_another_process_reads_too(
    line: PtyLine, capsys: pytest.CaptureFixture[str]
) -> None:
    """It did not ask to be alone, so both may open it, and each gets a part of the bytes."""
    slave = os.open(line.device, os.O_RDWR | os.O_NOCTTY)
    other = await asyncio.create_subprocess_exec("sleep", "60", pass_fds=[slave])
    os.close(slave)
    assert 0 == await asyncio.to_thread(run, ["doctor", line.device])
    other.kill()
    await other.wait()
    said = capsys.readouterr().out
    assert f"1. by the way: process {other.pid} (sleep 60) has" in said


@pytest.mark.usefixtures("brief")
async def test_something_else_that_answers(capsys: pytest.CaptureFixture[str]) -> None:
    """Its words are shown, after the other speeds were tried as well."""
    master, kept = os.openpty()
    tty.setraw(kept)
    os.set_blocking(master, False)
    loop = asyncio.get_running_loop()

    def greet() -> None:
        os.read(master, 1000)
        os.write(master, b"login: \x07")

    loop.add_reader(master, greet)
    assert 1 == await asyncio.to_thread(run, ["doctor", os.ttyname(kept)])
    loop.remove_reader(master)
    os.close(master)
    os.close(kept)
    out, err = capsys.readouterr()
    assert r"1. something else answers: 'login: \x07" in out
    assert "trying 9600 baud" in err


class Speaker:
    """A box on a pseudo-terminal that understands one speed only; else it hears and says rubbish.

    The far end of a pseudo-terminal sees the speed that the host has set (Linux, pty(7) and
    termios(3)).
    """

    def __init__(self, box: SimBox, speed: int) -> None:
        self._box = box
        self._speed = speed
        self._master, self._kept = os.openpty()
        tty.setraw(self._kept)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._kept)
        box.connect(self._say)
        asyncio.get_running_loop().add_reader(self._master, self._hear)

    @property
    def _is_wrong(self) -> bool:
        return bool(termios.tcgetattr(self._master)[5] != self._speed)

    def _say(self, data: bytes) -> None:
        if not self._is_wrong:
            os.write(self._master, data)

    def _hear(self) -> None:
        data = os.read(self._master, 1000)
        if self._is_wrong:
            os.write(self._master, b"\xf8\x80\x00")
        else:
            self._box.feed(data)

    def close(self) -> None:
        asyncio.get_running_loop().remove_reader(self._master)
        os.close(self._master)
        os.close(self._kept)


async def test_another_speed(
    box: SimBox, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The common ones are tried and the protocol is recognised; the daemon's speed stays wrong.

    The port closes slowly here: a guess must wait for that, or it finds the port held by us.
    """
    monkeypatch.setattr(sounding, "GREETING_PAUSES", (0.3,))
    monkeypatch.setattr(sounding, "GUESS_PAUSES", (0.5, 0.5))
    speaker = Speaker(box, termios.B38400)
    really_close = serial._close

    def close_slowly(fd: int) -> None:
        """As a driver does that waits for its output."""
        threading.Event().wait(0.05)
        really_close(fd)

    monkeypatch.setattr(serial, "_close", close_slowly)
    assert 1 == await asyncio.to_thread(run, ["doctor", speaker.path])
    assert 0 == await asyncio.to_thread(run, ["doctor", "--baud", "38400", speaker.path])
    speaker.close()
    out, err = capsys.readouterr()
    assert (
        f"{speaker.path}: the VFO is not reached\n1. it speaks at 38400 baud, not at 115200" in out
    )
    assert "write `baud: 38400`" in out
    assert ["9600", "57600", "38400"] == re.findall(r"trying (\d+) baud", err)


async def test_a_protocol_that_is_too_new(
    box: SimBox, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The box is recognised, and it is this program that is to be updated."""
    change = resealed("proto=1", "proto=3 min=2")
    connect = box.connect

    def changed(send: Callable[[bytes], None] | None) -> None:
        connect(send and (lambda data: send(b"".join(map(change, data.splitlines(True))))))

    monkeypatch.setattr(box, "connect", changed)
    line = PtyLine(box)
    line.open()
    assert 1 == await asyncio.to_thread(run, ["doctor", line.device])
    line.close()
    said = capsys.readouterr().out
    assert (
        "1. the box speaks version 2 and newer of the line protocol, this program version 1" in said
    )
    assert "update this program" in said


@pytest.mark.usefixtures("brief")
async def test_a_network_that_is_silent(capsys: pytest.CaptureFixture[str]) -> None:
    """No speeds are tried, because there are none."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        address = f"socket://127.0.0.1:{server.getsockname()[1]}"
        assert 1 == await asyncio.to_thread(run, ["doctor", address])
    out, err = capsys.readouterr()
    assert f"1. {address} can be opened, and nothing answers" in out
    assert "" == err


@pytest.mark.parametrize("verb", ["doctor", "conform"])
def test_what_is_no_port(verb: str) -> None:
    """A usage error, as everywhere."""
    with pytest.raises(UsageError, match="ftp:// is not spoken here"):
        run([verb, "ftp://x:1", *(["--no-hands"] if verb == "conform" else [])])


def test_conform_asks_a_hand_only_at_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """A pipe has no hand."""
    with Path(os.devnull).open() as nothing:
        monkeypatch.setattr("sys.stdin", nothing)
        with pytest.raises(UsageError, match="no terminal to ask a hand at; add --no-hands"):
            run(["conform", "/dev/null"])


async def test_conform_asks_a_hand_and_waits_for_the_enter_key(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What to do is told beside the results, so that those can be piped; s: it cannot be done."""
    master, slave = os.openpty()
    with os.fdopen(slave) as terminal:
        monkeypatch.setattr("sys.stdin", terminal)
        asked = asyncio.create_task(ask_a_hand("press"))
        await asyncio.wait([asked], timeout=0.05)
        assert not asked.done()
        os.write(master, b"\n")
        assert await asked
        os.write(master, b"s\n")
        assert not await ask_a_hand("drain")
    os.close(master)
    out, err = capsys.readouterr()
    assert "press one button" in err
    assert "" == out


async def test_conform_at_a_port_where_nothing_answers(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It leaves that to the doctor."""
    monkeypatch.setattr("vfod.conform.bench._TRIES", (0.05,))
    with socket.create_server(("127.0.0.1", 0)) as server:
        address = f"socket://127.0.0.1:{server.getsockname()[1]}"
        with pytest.raises(NoReplyError, match="vfod doctor"):
            await asyncio.to_thread(run, ["conform", address, "--no-hands"])
    assert "" == capsys.readouterr().out
