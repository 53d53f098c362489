"""What happened to the receiver's sound, as far as it is recorded."""

from dataclasses import dataclass

from vfod.events.root import Event


@dataclass(frozen=True, kw_only=True, slots=True)
class AudioHeard(Event):
    """Sound comes from `source`, the program and its device."""

    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class AudioLost(Event):
    """No sound comes any more, or none ever came. `reason` is a word from errors.LineError."""

    source: str
    reason: str
    detail: str


@dataclass(frozen=True, kw_only=True, slots=True)
class AudioJudged(Event):
    """The sound is from now on `soundness`: "good", "silent" or "clipped"."""

    soundness: str


@dataclass(frozen=True, kw_only=True, slots=True)
class AudioTimed(Event):
    """By how much the sound is late was measured, seconds; None where that could not be done.

    `means` is what the box did that was to be heard ("mute", "output"), empty where it can do
    neither; `used` is the delay that is reckoned with from now on.
    """

    delay: float | None
    means: str
    used: float


@dataclass(frozen=True, kw_only=True, slots=True)
class AudioEnded(Event):
    """The sound of `source` is recorded no more: a new configuration takes no levels from it."""

    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class LevelsMissed(Event):
    """The sweep goes on, but its visits have no levels, because the sound is "gone" or "silent"."""

    sweep: str
    reason: str


@dataclass(frozen=True, kw_only=True, slots=True)
class LevelsFound(Event):
    """There is something to take levels from again, for the sweep that went on without."""

    sweep: str
