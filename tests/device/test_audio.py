"""The recorder as a child process: real programs, without a sound card."""

import asyncio
import math
import os
import random
import sys
from array import array
from collections.abc import Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.real_parts import real_part
from tests.sound_server import SINK, SOURCE, SoundServer
from vfod.clock import SystemClock
from vfod.device import audio
from vfod.device.audio import PROGRAMS, Audio
from vfod.errors import LineError
from vfod.survey.sound import RATE, level_of, line
from vfod.survey.soundness import Soundness

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


@pytest.fixture(autouse=True)
def _patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """A busy machine may need longer to start a child than a sound card to give sound."""
    monkeypatch.setattr(audio, "NO_DATA", 60.0)


class Told:
    """What a recorder said of itself."""

    def __init__(self, command: Sequence[str]) -> None:
        self.said: list[Any] = []
        self._news = asyncio.Event()
        self.audio = Audio(
            command,
            SystemClock(),
            random.Random(1),
            up=lambda: self._hear("up"),
            down=self._hear,
            judged=self._hear,
        )

    def _hear(self, what: Any) -> None:
        self.said.append(what)
        self._news.set()

    async def until(self, count: int, *, sound: bool = False) -> Any:
        """The so-manieth of what it said, what is said of the sound itself only where asked for."""
        while len(said := self._of(sound)) < count:
            self._news.clear()
            await self._news.wait()
        return said[count - 1]

    def _of(self, sound: bool) -> list[Any]:
        return [one for one in self.said if sound or not isinstance(one, Soundness)]


@asynccontextmanager
async def recording(command: Sequence[str]) -> Any:
    told = Told(command)
    running = asyncio.create_task(told.audio.run())
    try:
        yield told
    finally:
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)


def child(code: str) -> list[str]:
    return [sys.executable, "-c", code]


async def test_levels_from_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A sine at a tenth of full scale comes out at -20 dB, by arecord and its file plugin."""
    real_part("arecord")
    sound = tmp_path / "sound.raw"
    sine = [round(3276.7 * math.sin(2 * math.pi * 440 * n / RATE)) for n in range(4 * RATE)]
    sound.write_bytes(array("h", sine).tobytes())
    described = tmp_path / "alsa.conf"
    described.write_text(
        "</usr/share/alsa/alsa.conf>\n"
        f'pcm.rxfile {{ type file slave.pcm "null" file /dev/null infile "{sound}" format raw }}\n'
    )
    monkeypatch.setenv("ALSA_CONFIG_PATH", str(described))
    # Its configuration looks for a sound server, which is none of this test.
    monkeypatch.setenv("HOME", str(tmp_path))
    async with recording([*PROGRAMS["arecord"], "rxfile", "-d", "3"]) as told:
        ended = await told.until(2)
        assert "up" == told.said[0]
        assert isinstance(ended, LineError)
        # It is read as fast as it can be, so it seems to have begun before the program did.
        now = asyncio.get_running_loop().time()
        part = told.audio.recording.part(now - 100.0, now)
        assert 3 * RATE == pytest.approx(len(part), rel=0.05)
        assert -20.0 == pytest.approx(level_of(part[RATE : 2 * RATE]), abs=0.05)


@pytest.mark.parametrize(
    ("command", "reason", "says"),
    [
        (["no-such-recorder"], "missing", "there is no program no-such-recorder"),
        (
            child("import sys; sys.exit('no such device: attic')"),
            "lost",
            "ended (no such device: attic)",
        ),
        (child("import time; time.sleep(60)"), "silent", "runs and gives no sound"),
    ],
)
async def test_why_there_is_no_sound(
    monkeypatch: pytest.MonkeyPatch, command: list[str], reason: str, says: str
) -> None:
    """Each way in which a recorder can fail is told, once, with what to do."""
    if reason == "silent":
        monkeypatch.setattr(audio, "NO_DATA", 0.2)
    async with recording(command) as told:
        error = await told.until(1)
        assert reason == error.reason
        assert says in str(error)
        assert error.remedy
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(1.2):
                await told.until(2)


async def test_a_program_that_may_not_be_started(tmp_path: Path) -> None:
    """Is told as forbidden, not as missing."""
    program = tmp_path / "recorder"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o644)
    async with recording([str(program)]) as told:
        assert "forbidden" == (await told.until(1)).reason


async def test_silence_is_told() -> None:
    """Zeros come at the pace of a sound card; after three seconds they are silence."""
    code = (
        "import sys, time\n"
        "while True:\n"
        "    sys.stdout.buffer.write(bytes(800)); sys.stdout.flush(); time.sleep(0.05)\n"
    )
    async with recording(child(code)) as told:
        assert Soundness.SILENT is await told.until(2, sound=True)


async def test_the_child_ends_with_us() -> None:
    """And none is left over when the daemon ends."""
    code = (
        "import os, sys, time\n"
        "sys.stdout.buffer.write(os.getpid().to_bytes(4, 'little') * 200)\n"
        "sys.stdout.flush(); time.sleep(60)\n"
    )
    async with recording(child(code)) as told:
        await told.until(1)
        now = asyncio.get_running_loop().time()
        heard = told.audio.recording.part(now - 100, now + 100)[:2]
        number = int.from_bytes(heard.tobytes(), "little")
        assert number
        os.kill(number, 0)
    with pytest.raises(ProcessLookupError):
        os.kill(number, 0)


async def test_a_server_that_is_killed_and_comes_back(sound_server: SoundServer) -> None:
    """A tone is recorded; the kill is told; the tone is recorded again."""
    async with recording([*PROGRAMS["parec"], SOURCE]) as told:
        assert "up" == await told.until(1)
        await _tone_is_heard(told)
        sound_server.kill()
        error = await told.until(2)
        assert "lost" == error.reason
        sound_server.start()
        assert "up" == await told.until(3)
        await _tone_is_heard(told)


async def _tone_is_heard(told: Told) -> None:
    """It is played for as long as that takes."""
    clock = SystemClock()
    player = await asyncio.create_subprocess_exec(
        *(real_part("pacat"), "--playback", "--raw", f"--device={SINK}", "--latency-msec=50"),
        *("--format=s16le", f"--rate={RATE}", "--channels=1"),
        stdin=asyncio.subprocess.PIPE,
    )
    assert player.stdin is not None
    sine = [round(3276.7 * math.sin(2 * math.pi * 1000 * n / RATE)) for n in range(RATE)]
    player.stdin.write(array("h", sine).tobytes() * 100)
    while True:
        now = clock.monotonic()
        await clock.sleep_until(now + 0.2)
        part = told.audio.recording.part(now - 0.3, now)
        if len(part) > 1000 and (line(part) or 0) > 40 and level_of(part) > -23:
            break
    player.kill()
    await player.wait()
