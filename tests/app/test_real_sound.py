"""A real-time sweep by sound: a real sound server, a real recorder, the daemon as it is.

The box is the simulator's. What its receiver would give is played into the server as it happens, a
quarter of a second late, which a direct detector makes a tone of 1 kHz at the station's channel:
tones at moments that are known, since each is when the dial was there.
"""

import asyncio
import contextlib
import fcntl
import os
import random
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.app.reloading import EVENING, Attended, attended
from tests.real_parts import real_part
from tests.sound_server import SINK, SOURCE, SoundServer
from vfod import events as e
from vfod.app.listening import Told
from vfod.clock import Clock
from vfod.config.model import VfoConfig
from vfod.device.audio import PROGRAMS, Audio
from vfod.radio.receiver import Detector
from vfod.sim.sound import SimSound
from vfod.survey.sound import RATE

pytestmark = pytest.mark.real_time

#: Seconds by which the receiver's sound is late before it reaches the server.
LATE = 0.25

#: So many passes, of six seconds each, are looked at before the stations count as not found.
PASSES = 8

STATIONS = {7_200_000, 7_215_000}

SCENARIO = """
box: {output: true, settle: 0s}
receiver: {intermediate_frequency: 0Hz}
floor: {bands: [{from: 7100kHz, to: 7600kHz, hours: {0: -110}}]}
stations:
  - {name: Radio Brackwater, frequency: 7200kHz, power: -70}
  - {name: Voice of the Fen, frequency: 7215kHz, power: -80}
"""

CONFIG = f"""
place: {{zone: UTC}}
vfos:
  main:
    port: /dev/main
    output: leave
    receiver: [{{from: 150k, to: 30M, detector: direct, settle: 100ms}}]
    audio: {{program: parec, device: {SOURCE}}}
bands:
  corner: {{from: 7190k, to: 7225k, raster: 5k}}
sweeps:
  evening: {{bands: [corner], dwell: 300ms, readings: 3, hold: off,
    margin: {{active: 15dB, stay: 10dB}},
    known_quiet: [7190k, 7225k]}}
windows:
  - {{name: first, sweep: evening, from: 18:00, until: 18:40}}
web: off
"""


async def play(it: Attended) -> None:
    """What the receiver hears, block by block, into the server, and again when it is back.

    As from a sound card, nothing queues up: what the server does not take in time is lost, else
    the sound would be later after each of its hiccups.
    """
    sound = SimSound(
        it.worlds["main"].receiver, it.clock, detector=lambda _: Detector.DIRECT, delay=LATE
    )
    command = [real_part("pacat"), "--playback", "--raw", f"--device={SINK}", "--latency-msec=50"]
    command += ["--format=s16le", f"--rate={RATE}", "--channels=1"]
    while True:
        far, near = os.pipe()
        fcntl.fcntl(near, fcntl.F_SETPIPE_SZ, 4096)
        os.set_blocking(near, False)
        player = await asyncio.create_subprocess_exec(
            *command, stdin=far, stderr=asyncio.subprocess.DEVNULL
        )
        os.close(far)
        try:
            played = it.clock.monotonic()
            while player.returncode is None:
                now = it.clock.monotonic()
                with contextlib.suppress(OSError):
                    os.write(near, sound.part(played, now).tobytes())
                played = now
                await it.clock.sleep_until(now + 0.05)
        finally:
            os.close(near)
            with contextlib.suppress(ProcessLookupError):
                player.kill()
            await player.wait()


class Waiting(Audio):
    """The recorder, which begins when there is something to record."""

    begun: asyncio.Event

    async def run(self) -> None:
        await self.begun.wait()
        await super().run()


@contextlib.asynccontextmanager
async def listened(folder: Path) -> AsyncIterator[Attended]:
    begun = asyncio.Event()

    def recorder_for(clock: Clock, settings: VfoConfig, told: Told) -> Waiting:
        assert settings.audio is not None
        command = (*PROGRAMS[settings.audio.program], settings.audio.device)
        recorder = Waiting(
            command, clock, random.Random(1), up=told.up, down=told.down, judged=told.judged
        )
        recorder.begun = begun
        return recorder

    async with attended(
        folder, text=CONFIG, wall=EVENING, scenario=SCENARIO, recorder_for=recorder_for
    ) as it:
        playing = asyncio.create_task(play(it))
        begun.set()
        try:
            yield it
            assert not playing.done()
        finally:
            playing.cancel()
            await asyncio.gather(playing, return_exceptions=True)


async def timed(it: Attended, server: SoundServer) -> e.AudioTimed:
    """How late the sound is; for the same reason it is begun anew where that was not found."""
    for _ in range(PASSES):
        found = await it.until(e.AudioTimed)
        if found.delay is not None:
            return found
        server.kill()
        await it.until(e.AudioLost)
        server.start()
    pytest.fail("the delay of the sound was never found")


async def right_pass(it: Attended) -> list[e.ChannelObserved]:
    """What was observed in the next whole pass that found the stations and nothing else.

    A busy machine loses sound between player, server and recorder, so a pass may go wrong.
    """
    await it.until(e.PassCompleted)
    passes = []
    for _ in range(PASSES):
        since = len(it.seen)
        await it.until(e.PassCompleted)
        found = [s.event for s in it.seen[since:] if isinstance(s.event, e.ChannelObserved)]
        passes.append({one.dial for one in found if one.active})
        if passes[-1] == STATIONS:
            return found
    pytest.fail(f"in no pass were {STATIONS} found, and nothing else: {passes}")


async def test_tones_are_found_at_their_channels(tmp_path: Path, sound_server: SoundServer) -> None:
    """The delay is found; so are the stations and nothing else, before and after an outage.

    While the server is dead the sweep goes on, and says of each visit that nothing was measured.
    """
    async with listened(tmp_path) as it:
        first = await timed(it, sound_server)
        assert "mute" == first.means
        assert first.delay is not None
        # The receiver's own delay, and what server and recorder add: 50 to 100 ms on a quiet
        # machine, and on a busy one whatever it takes.
        assert LATE <= first.delay
        found = await right_pass(it)
        assert all(one.active is not None for one in found)
        # The mute would silence what is measured, so the sweep does without.
        assert it.vfo().muted is False

        sound_server.kill()
        lost = await it.until(e.AudioLost)
        assert "lost" == lost.reason
        await it.until(e.ChannelObserved)
        deaf = await it.until(e.ChannelObserved)
        assert (0, None, None) == (deaf.readings, deaf.level, deaf.active)

        sound_server.start()
        await it.until(e.AudioHeard)
        again = await timed(it, sound_server)
        assert "mute" == again.means
        await right_pass(it)
