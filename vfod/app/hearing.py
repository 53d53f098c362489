"""What one VFO's levels come from, as the configuration has it now: its sound may be exchanged.

The sound is recorded only where levels are taken from it, so that nothing is said of sound that
nobody uses, and the sound card is free for others.
"""

from collections.abc import Awaitable, Callable

from vfod import events as e
from vfod.app.hook import Hook
from vfod.app.listening import Listening, RecorderFor
from vfod.clock import Clock
from vfod.config.model import VfoConfig
from vfod.radio.levels import Source
from vfod.run.hearing import Ears
from vfod.run.tuner import Tuner
from vfod.survey.activity import Detector

#: How something is told of the VFO, with the request's id.
Tell = Callable[[e.Event, str | None], object]


class Hearing:
    """The hearing of one VFO; `learned` is awaited when the sound is found to be later or sooner.

    Without `recorder_for` nothing is recorded, and the box is asked for levels instead.
    """

    def __init__(
        self,
        settings: VfoConfig,
        recorder_for: RecorderFor | None,
        tuner: Tuner,
        clock: Clock,
        tell: Tell,
        learned: Callable[[], Awaitable[None]],
    ) -> None:
        self._settings = settings
        self._recorder_for = recorder_for
        self._tuner = tuner
        self._clock = clock
        self._tell = tell
        self._learned = learned
        #: By how much the sound is late, seconds, as far as known.
        self._delay = 0.0
        #: Whether the mute of the speaker silences the sound too.
        self.mute_silences = False
        #: What the sound taught of each sweep's bands.
        self._known: dict[str, Detector] = {}
        self._hook = Hook[Listening](f"sound {settings.name}", self._new())

    @property
    def _source(self) -> Source:
        wanted = self._settings.level_from
        by_sound = wanted in (Source.AUDIO, Source.BOTH)
        return Source.BOX if by_sound and self._hook.part is None else wanted

    @property
    def late(self) -> float:
        """By how much later than it is received something can be measured, seconds."""
        return self._delay

    def ears(self) -> Ears:
        """The levels as they are taken from now on."""
        settings = self._settings
        return Ears(
            self._source,
            lambda dial, counts: settings.level(counts, dial),
            settings.receiver,
            self._hook.part,
            self._known,
        )

    def take(self, settings: VfoConfig, cause: str | None) -> bool:
        """Go by a new configuration; gives whether levels mean something else from now on."""
        was, self._settings = self._settings, settings
        if _chain(settings) != _chain(was):
            if self._hook.part is not None:
                self._hook.part.retire()
                self._tell(e.AudioEnded(source=str(was.audio)), cause)
            self._hook.hang(self._new())
        anew = _scale(settings) != _scale(was)
        if anew:
            self._known.clear()
        return anew

    async def run(self) -> None:
        """Record where that is wanted, until cancelled."""
        await self._hook.run()

    def _new(self) -> Listening | None:
        settings = self._settings
        self._delay, self.mute_silences = 0.0, False
        if _chain(settings) is None or settings.audio is None or self._recorder_for is None:
            return None
        listening = Listening(
            settings,
            settings.audio,
            self._recorder_for,
            self._tuner,
            self._clock,
            lambda event: self._tell(event, None),
            self._late_by,
        )
        self._delay = listening.delay
        return listening

    async def _late_by(self, delay: float, mute_silences: bool) -> None:
        self._delay, self.mute_silences = delay, mute_silences
        await self._learned()


def _chain(settings: VfoConfig) -> object:
    """What is recorded and how; None where no level is taken from it."""
    return settings.audio if settings.level_from in (Source.AUDIO, Source.BOTH) else None


def _scale(settings: VfoConfig) -> list[object]:
    """Where levels come from, and what the box's counts mean, range by range."""
    tables, audio = settings.level_tables, settings.audio
    return [
        settings.level_from,
        None if audio is None else (audio.program, audio.device),
        *(
            (span.low, span.high, tables.get(span.level_table or ""))
            for span in settings.receiver.ranges
        ),
    ]
