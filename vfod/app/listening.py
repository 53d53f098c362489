"""The sound of one VFO's receiver: what records it, what is told of it, and its delay."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Protocol

from vfod import events as e
from vfod.clock import Clock
from vfod.config.model import AudioConfig, VfoConfig
from vfod.errors import LineError
from vfod.run.hearing import Sound
from vfod.run.soundlag import ASSUMED, tell_delay
from vfod.run.tuner import Tuner
from vfod.survey import sound
from vfod.survey.soundness import Soundness


class Recorder(Protocol):
    """What brings the sound, like vfod.device.audio.Audio."""

    @property
    def recording(self) -> Sound:
        """The last seconds of it."""
        ...

    async def run(self) -> None:
        """Record until cancelled."""
        ...


class Told(Protocol):
    """What a recorder says of itself."""

    def up(self) -> None:
        """Sound comes, after none."""
        ...

    def down(self, error: LineError) -> None:
        """It is gone."""
        ...

    def judged(self, soundness: Soundness) -> None:
        """It became silent, clipped, or good again."""
        ...


#: Makes the recorder of a VFO, which tells that of itself.
RecorderFor = Callable[[VfoConfig, Told], Recorder]


class Listening:
    """One VFO's sound.

    `use` is awaited with each delay that is measured, seconds, and whether the mute silences it.
    """

    def __init__(
        self,
        settings: VfoConfig,
        audio: AudioConfig,
        recorder_for: RecorderFor,
        tuner: Tuner,
        clock: Clock,
        emit: Callable[[e.Event], object],
        use: Callable[[float, bool], Awaitable[None]],
    ) -> None:
        self._audio = audio
        self._tuner = tuner
        self._clock = clock
        self._emit = emit
        self._use = use
        #: Set when the delay may be another than before: sound came anew.
        self._came = asyncio.Event()
        self._retired = False
        self._recorder = recorder_for(settings, self)

    @property
    def delay(self) -> float:
        """What to reckon with before anything was measured, seconds."""
        return ASSUMED if self._audio.delay is None else self._audio.delay

    def retire(self) -> None:
        """It is about to be stopped: what it still says or finds is nobody's any more."""
        self._retired = True

    def part(self, since: float, until: float) -> sound.Samples:
        """See run.hearing.Sound: a recorder that starts again has a new recording."""
        return self._recorder.recording.part(since, until)

    def up(self) -> None:
        """See Told."""
        self._tell(e.AudioHeard(source=str(self._audio)))
        self._came.set()

    def down(self, error: LineError) -> None:
        """See Told."""
        self._tell(e.AudioLost(source=str(self._audio), reason=error.reason, detail=str(error)))

    def judged(self, soundness: Soundness) -> None:
        """See Told."""
        self._tell(e.AudioJudged(soundness=soundness.value))

    def _tell(self, event: e.Event) -> None:
        if not self._retired:
            self._emit(event)

    async def run(self) -> None:
        """Until cancelled."""
        async with asyncio.TaskGroup() as group:
            group.create_task(self._recorder.run(), name=f"recorder {self._tuner.name}")
            if self._audio.delay is None:
                group.create_task(self._keep_time(), name=f"delay {self._tuner.name}")

    async def _keep_time(self) -> None:
        while True:
            await self._came.wait()
            self._came.clear()
            found = await tell_delay(self._tuner, self, self._clock, self._tell)
            if not self._retired:
                await self._use(*found)
