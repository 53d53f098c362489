"""vfod calibrate with the real daemon and a simulated VFO whose crystal is off.

Whether the dial is right afterwards is asked of the box: what does the receiver truly receive?
"""

import asyncio
import contextlib
import io
import json
import os
import random
import sys
import wave
from collections.abc import AsyncIterator
from dataclasses import dataclass
from math import cos, pi
from pathlib import Path

import pytest

from vfod import events as e
from vfod.__main__ import main
from vfod.app.daemon import Daemon
from vfod.app.recall import Memory
from vfod.clock import SystemClock
from vfod.config.loading import load
from vfod.errors import UsageError
from vfod.sim.memory import MemoryPort
from vfod.sim.scenario import parse
from vfod.sim.world import World, build
from vfod.store import Direct, Reader

CONFIG = """\
vfos:
  main:
    port: /dev/main
    output: on
    receiver: [{from: 1M, to: 30M, detector: product, intermediate_frequency: 455k}]
web: off
"""


@dataclass
class Shack:
    """A listener's place: the simulated set, and where everything is."""

    here: Path
    world: World

    @property
    def receives(self) -> float:
        """The frequency the receiver truly receives, hertz."""
        found = self.world.box.listening
        assert found is not None
        return found

    async def do(self, *words: str) -> int:
        """A verb of the command line."""
        return await asyncio.to_thread(main, ["calibrate", *words])

    async def tune(self, text: str) -> None:
        """By the command line too."""
        assert 0 == await asyncio.to_thread(main, ["tune", text])


@contextlib.asynccontextmanager
async def shack(here: Path, ppm: float, more: str = "") -> AsyncIterator[Shack]:
    """A daemon on the real clock, its box greeted."""
    path = here / "vfod.yaml"
    path.write_text(CONFIG.replace("    output", f"{more}    output"))
    clock = SystemClock()
    world = build(parse(f"box: {{crystal: {{error: {ppm}}}}}"), clock=clock)
    store = Direct(here / "journal.sqlite")
    store.open(clock.wall())
    daemon = Daemon(
        load(str(path)),
        clock=clock,
        store=store,
        port_for=lambda _: MemoryPort(world.box),
        memory=Memory(None),
        socket=here / "control.sock",
    )
    assert daemon.control is not None
    daemon.control.claim()
    living = asyncio.create_task(daemon.run())
    try:
        await daemon.vfos["main"].tuner.connected.wait()
        yield Shack(here, world)
    finally:
        living.cancel()
        await asyncio.gather(living, return_exceptions=True)
        world.box.close()
        daemon.control.release()


@pytest.fixture(autouse=True)
def _places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("VFOD_CONFIG", str(tmp_path / "vfod.yaml"))
    monkeypatch.setenv("VFOD_SOCKET", str(tmp_path / "control.sock"))


class Ear(io.TextIOBase):
    """A listener: hears the beat with a carrier, moves the dial, presses Enter near zero.

    `times` on each of the carriers, hertz; then `last` lines.
    """

    def __init__(self, place: Shack, carriers: list[int], times: int, last: list[str]) -> None:
        super().__init__()
        self._place = place
        self._waiting = [carrier for carrier in carriers for _ in range(times)]
        self._last = last
        self._at = carriers[0]
        self._rng = random.Random(7)
        self._hears: float | None = None
        self._loop = asyncio.get_running_loop()

    def _receives(self) -> float:
        """The command line has a thread of its own; the box lives on the loop."""

        async def ask() -> float:
            return self._place.receives

        return asyncio.run_coroutine_threadsafe(ask(), self._loop).result()

    def readline(self, size: int = -1, /) -> str:  # type: ignore[override]  # TextIOBase has it so
        if not self._waiting:
            return self._last.pop(0) + "\n"
        if self._waiting[0] != self._at:
            self._at = self._waiting[0]
            return f"{self._at // 1000}\n"
        if self._hears is None:
            # Of a zero beat the ear knows no more than this.
            self._hears = self._rng.gauss(0.0, 2.0)
        beat = self._receives() - self._at - self._hears
        if abs(beat) > 1:
            return f"{-round(beat):+d}Hz\n"
        self._waiting.pop(0)
        self._hears = None
        return "\n"


@pytest.mark.real_time
async def test_zero_beat_by_ear(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Afterwards the receiver receives what the dial says, within the stated uncertainty."""
    async with shack(tmp_path, ppm=-17.3) as place:
        await place.tune("15000")
        # 1 kHz below the carrier is where a product detector is tuned (design: offset).
        assert 200 < abs(place.receives - 14_999_000) < 300
        ear = Ear(place, [9_996_000, 14_996_000], 3, ["q", "y"])
        monkeypatch.setattr("sys.stdin", ear)
        assert 0 == await place.do("9996")
        said = capsys.readouterr().out
        assert "RWM is plain" in said
        assert "keep it and go by it?" in said
        with Reader(tmp_path / "journal.sqlite") as reader:
            (kept,) = reader.events(kinds=("crystal-calibrated",))
        assert isinstance(kept.event, e.CrystalCalibrated)
        assert kept.event.low <= -17.3 <= kept.event.high
        assert (6, "9996 kHz, 14996 kHz") == (kept.event.measurements, kept.event.against)
        within = (kept.event.high - kept.event.low) / 2 * 1e-6
        assert within < 0.5e-6
        for kilohertz in (2500, 9420, 21_500):
            await place.tune(str(kilohertz))
            wanted = kilohertz * 1000 - 1000
            # The VFO makes tenths of a hertz.
            oscillator = wanted + 455_000
            assert abs(place.receives - wanted) <= within * oscillator + 0.05


def recording(path: Path, tone: float, *, card: float, seed: int) -> None:
    """Three seconds of a tone in noise, by a sound card whose clock is fast by a fraction."""
    rng, rate = random.Random(seed), 8000
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        turn = 2 * pi * tone / (rate * (1 + card))
        file.writeframes(
            b"".join(
                round(6000 * cos(turn * n) + rng.gauss(0, 600)).to_bytes(2, "little", signed=True)
                for n in range(3 * rate)
            )
        )


@pytest.mark.real_time
@pytest.mark.parametrize("drives", ["vfo", "all"])
async def test_recordings_from_both_sides(
    tmp_path: Path, drives: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sound card that is 70 ppm fast does no harm; a few parts in 10^8 are reached.

    Where all oscillators hang on the crystal, all of them are off; the box is asked for the VFO
    and the other one is worked out here.
    """
    ppm = 8.25

    def receives(place: Shack) -> float:
        if drives == "vfo":
            return place.receives
        return place.world.box.produced - 455_000 * (1 + ppm * 1e-6)

    more = f"    crystal_drives: {drives}\n"
    async with shack(tmp_path, ppm=ppm, more=more) as place:
        words = []
        for number, (side, sign) in enumerate({"upper": 1, "lower": -1}.items()):
            assert 0 == await place.do("--place", f"14996k:{side}")
            path = tmp_path / f"{side}.wav"
            tone = sign * (14_996_000 - receives(place))
            assert 800 < tone < 1200
            recording(path, tone, card=70e-6, seed=number)
            words += ["--recording", f"14996k:{side}:{path}"]
        capsys.readouterr()
        assert 0 == await place.do(*words, "--take", "--json")
        out, err = capsys.readouterr()
        found = json.loads(out)
        assert found["low"] <= ppm <= found["high"]
        assert found["high"] - found["low"] < 0.06
        assert "dB above the noise" in err
        assert 0 == await asyncio.to_thread(main, ["tune", "9420"])
        within = (found["high"] - found["low"]) / 2 * 1e-6
        assert abs(receives(place) - 9_419_000) <= within * 9_875_000 + 0.05


#: Plays the tone whose frequency stands in a file, in white noise, as a recorder would. The file is
#: written again and again: what is written twice after the start is not of before.
RECORDER = """\
#!{python}
import array, math, os, random, sys, time
for _ in range(2):
    old = os.stat({file!r}).st_mtime_ns
    while os.stat({file!r}).st_mtime_ns == old:
        time.sleep(0.002)
tone = float(open({file!r}).read())
noise = random.Random(round(tone * 1000))
for block in range(20 * 20):
    samples = array.array("h", (
        round(8000 * math.cos(2 * math.pi * tone * n / 8000) + noise.gauss(0, 800))
        for n in range(block * 400, block * 400 + 400)))
    sys.stdout.buffer.write(samples.tobytes())
    sys.stdout.flush()
"""


@pytest.mark.real_time
async def test_listening_by_the_recorder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The dial goes to both sides, the recorder is heard, and the dial is right afterwards."""
    beat, program = tmp_path / "beat", tmp_path / "bin" / "arecord"
    program.parent.mkdir()
    program.write_text(RECORDER.format(python=sys.executable, file=str(beat)))
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{program.parent}:{os.environ['PATH']}")
    audio = "    audio: {program: arecord, device: plughw, delay: 0.1s}\n    level_from: box\n"
    async with shack(tmp_path, 12.5, audio) as place:

        async def play() -> None:
            clock = SystemClock()
            while True:
                fresh = tmp_path / "fresh"
                fresh.write_text(str(abs(9_996_000 - place.receives)))
                fresh.replace(beat)  # whoever reads has the one or the other, whole
                await clock.sleep_until(clock.monotonic() + 0.01)

        playing = asyncio.create_task(play())
        try:
            assert 0 == await place.do("--listen", "9996", "--take")
        finally:
            playing.cancel()
        said = capsys.readouterr()
        assert "the crystal is off by +12.5" in said.out
        assert 6 == said.err.count("dB above the noise")
        await place.tune("15000")
        assert abs(place.receives - (15_000_000 - 1000)) < 0.3


@pytest.mark.real_time
async def test_listening_without_a_recorder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """None named, none installed, one that ends: each is one line with what to do."""
    async with shack(tmp_path, 0):
        assert UsageError.exit_code == await asyncio.to_thread(
            main, ["calibrate", "--listen", "9996"]
        )
    assert "no recorder is named for main; write audio: under it" in capsys.readouterr().err
    audio = "    audio: {program: arecord, device: plughw, delay: 0.1s}\n    level_from: box\n"
    program = tmp_path / "bin" / "arecord"
    program.parent.mkdir()
    program.write_text("#!/bin/sh\necho 'arecord: main: audio open error: busy' >&2\nexit 1\n")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{program.parent}:{os.environ['PATH']}")
    async with shack(tmp_path, 0, audio):
        assert UsageError.exit_code == await asyncio.to_thread(
            main, ["calibrate", "--listen", "9996"]
        )
    assert "arecord plughw ended too early (arecord: main: audio open error: busy)" in (
        capsys.readouterr().err
    )


@pytest.mark.real_time
async def test_one_side_has_the_sound_card_in_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its interval is wider, and holds although the sound card is off."""
    async with shack(tmp_path, ppm=0.0) as place:
        assert 0 == await place.do("--place", "9996k:upper")
        path = tmp_path / "upper.wav"
        recording(path, 9_996_000 - place.receives, card=70e-6, seed=1)
        capsys.readouterr()
        assert 0 == await place.do("--recording", f"9996k:upper:{path}", "--json")
        found = json.loads(capsys.readouterr().out)
        assert found["low"] <= 0 <= found["high"]
        assert found["high"] - found["low"] > 0.03


@pytest.mark.real_time
async def test_a_figure_in_the_file_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is said that it goes before what was measured; the file is as it was."""
    async with shack(tmp_path, ppm=5.0, more="    correction: 1ppm\n") as place:
        before = (tmp_path / "vfod.yaml").read_text()
        monkeypatch.setattr("sys.stdin", Ear(place, [9_996_000], 3, ["q"]))
        assert 0 == await place.do("9996", "--take")
        assert "figure of its own, +1 ppm" in capsys.readouterr().err
        assert before == (tmp_path / "vfod.yaml").read_text()


@pytest.mark.real_time
async def test_what_is_measured_is_not_lost_by_a_slip(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wrong word, a frequency without a station, a dial gone astray: told, and on it goes."""
    async with shack(tmp_path, ppm=5.0) as place:
        slips = ["9996 Mhz!", "9420", "+40", "", "-40", "q", "n"]
        monkeypatch.setattr("sys.stdin", Ear(place, [9_996_000], 3, slips))
        assert 0 == await place.do("9996")
        out = capsys.readouterr().out
        assert "no station of standard frequency is known on 9420 kHz" in out
        assert "the dial is not near 9996 kHz" in out
        assert "(3 measurements)" in out
        with Reader(tmp_path / "journal.sqlite") as reader:
            assert [] == reader.events(kinds=("crystal-calibrated",))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["9420"], "no station of standard frequency is known on 9420 kHz"),
        (["--place", "9996k"], "write it like 9996k:upper"),
        (
            ["--place", "9996k:left"],
            "'9996k:left' names no side of a carrier; write it like 9996k:upper",
        ),
        (["9996", "--place", "9996k:upper"], "take one of them"),
    ],
)
def test_what_is_refused_before_anything_moves(
    tmp_path: Path, words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line with the remedy."""
    (tmp_path / "vfod.yaml").write_text(CONFIG)
    assert UsageError.exit_code == main(["calibrate", *words])
    assert says in capsys.readouterr().err


@pytest.mark.real_time
async def test_recordings_that_are_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The file is named, and what to do."""
    (tmp_path / "text.wav").write_text("no sound at all")
    recording(tmp_path / "other.wav", 2500.0, card=0, seed=3)
    async with shack(tmp_path, ppm=0.0) as place:
        for text, says in (
            ("9996k:upper", "write it like 9996k:upper:below.wav"),
            (f"9996k:upper:{tmp_path}/none.wav", "none.wav: No such file"),
            (f"9996k:upper:{tmp_path}/text.wav", "text.wav: no recording that can be read"),
            (f"9996k:upper:{tmp_path}/other.wav", "no tone near 1000 Hz"),
        ):
            assert UsageError.exit_code == await place.do("--recording", text)
            assert says in capsys.readouterr().err


def test_the_guide(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without a carrier: which to try, and what to type next; needs no daemon."""
    text = CONFIG.replace("detector: product", "detector: envelope")
    (tmp_path / "vfod.yaml").write_text("place: {latitude: 52.5, longitude: 13.4}\n" + text)
    assert 0 == main(["calibrate"])
    lines = capsys.readouterr().out.splitlines()
    assert "by the sun" in lines[0]
    assert "likely to be heard now:" == lines[1]
    assert lines[-1].startswith("next: vfod calibrate ")
    assert "no beat by an envelope detector" in lines[2]
    assert not any(" 60 kHz" in line for line in lines)
