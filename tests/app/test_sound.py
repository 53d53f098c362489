"""Sound that a reload switches on, exchanges and switches off, on the clock that jumps."""

import asyncio
from array import array
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from tests.app.reloading import LATE, SHELL, Attended, attended
from vfod import events as e
from vfod import requests as r
from vfod.app.listening import Told
from vfod.clock import Clock
from vfod.config.model import VfoConfig
from vfod.errors import LineLostError
from vfod.state import SoundPhase
from vfod.survey.sound import Samples
from vfod.survey.soundness import Soundness

PORT = "port: /dev/main\n"
SOUND = PORT + "    audio: {program: parec, device: default}\n"


async def test_the_delay_is_found_anew(tmp_path: Path) -> None:
    """As at a start: the box is muted and released, and heard; then it is as it was before."""
    async with attended(tmp_path, (PORT, SOUND)) as it:
        await it.until(e.PassCompleted)
        (first,) = it.since(e.AudioTimed)
        assert first.delay is not None
        assert abs(first.delay - LATE["default"]) < 0.06
        muted = it.vfo().muted
        await it.reload(("device: default", "device: 'plughw:0'"))
        assert it.vfo().sound.delay is None
        second = await it.until(e.AudioTimed)
        assert second.delay is not None
        assert abs(second.delay - LATE["plughw:0"]) < 0.06
        assert second.used == it.vfo().sound.delay
        await it.until(e.PassCompleted)
        assert muted == it.vfo().muted
        done = await it.until(e.PassCompleted)
        assert done.seconds >= 7 * (0.3 + second.used + 1.0)
        assert [] == it.since(e.LinkLost) + it.since(e.SweepEnded)


async def test_without_sound_levels_are_the_boxes_again(tmp_path: Path) -> None:
    """Taken out of the file, or levels taken from elsewhere: it is recorded no more."""
    async with attended(tmp_path, (PORT, SOUND)) as it:
        await it.until(e.PassCompleted)
        await it.reload((SOUND, PORT))
        assert ["parec default"] == [event.source for event in it.since(e.AudioEnded)]
        assert SoundPhase.NONE is it.vfo().sound.phase
        await it.until(e.ChannelObserved)
        assert {"dBm"} == {one.unit for one in await it.visits()}
        await it.reload((PORT, SOUND + "    level_from: box\n"))
        await it.until(e.PassCompleted)
        assert [] == it.since(e.AudioHeard) + it.since(e.AudioEnded)
        await it.reload(("level_from: box", "level_from: both"))
        await it.wait(0.1)
        assert ["parec default"] == [event.source for event in it.since(e.AudioHeard)]


class Silenced:
    """A recorder that says what the test has it say, and brings no sample."""

    def __init__(self, told: Told) -> None:
        self.told = told
        self.running = False

    @property
    def recording(self) -> "Silenced":
        return self

    def part(self, since: float, until: float) -> Samples:
        return array("h")

    async def run(self) -> None:
        self.running = True
        self.told.up()
        try:
            await asyncio.get_running_loop().create_future()
        finally:
            self.running = False


@asynccontextmanager
async def silenced(folder: Path) -> AsyncIterator[tuple[Attended, list[Silenced]]]:
    """A daemon whose sound comes from such recorders, and those that it made."""
    made: list[Silenced] = []

    def recorder_for(clock: Clock, settings: VfoConfig, told: Told) -> Silenced:
        made.append(Silenced(told))
        return made[-1]

    timed = SOUND.replace("default", "default, delay: 100ms")
    async with attended(folder, (PORT, timed), recorder_for=recorder_for) as it:
        yield it, made


ENDED = LineLostError("parec ended", remedy="start the server")


async def test_what_a_retired_recorder_says_is_heard_by_nobody(tmp_path: Path) -> None:
    """It is stopped, and the state is that of the new one."""
    async with silenced(tmp_path) as (it, made):
        await it.reload(("device: default", "device: other"))
        await it.wait(0.1)
        old, new = made
        assert (False, True) == (old.running, new.running)
        old.told.down(ENDED)
        old.told.judged(Soundness.CLIPPED)
        assert [] == it.since(e.AudioLost) + it.since(e.AudioJudged)
        assert SoundPhase.GOOD is it.vfo().sound.phase
        new.told.down(ENDED)
        assert SoundPhase.GONE is it.vfo().sound.phase


async def test_a_sweep_without_levels_says_so(tmp_path: Path) -> None:
    """In the journal once, in the status as long as it is so."""
    async with silenced(tmp_path) as (it, made):
        made[0].told.down(ENDED)
        await it.until(e.PassCompleted)
        assert ["gone"] == [event.reason for event in it.since(e.LevelsMissed)]
        text = (await it.ask(r.ShowStatus(), SHELL))["text"]
        assert "no sound from parec default since Wed 18:30: parec ended; start the server" in text
        assert "sweep evening goes on without levels since Wed 18:30" in text
        made[0].told.up()
        await it.wait(0.1)
        assert ["evening"] == [event.sweep for event in it.since(e.LevelsFound)]
        assert "without levels" not in (await it.ask(r.ShowStatus(), SHELL))["text"]
    assert "sweep evening goes on without levels: the sound is gone" in it.written()
