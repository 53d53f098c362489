"""What follows from an event: pure functions for the stream to apply.

Each takes the state before the event and the stamped event, and returns further events.
"""

from collections.abc import Sequence

from vfod import events as e
from vfod.radio.bands import Band, band_at
from vfod.run.stream import Derive
from vfod.state import State


def band_edges(bands: Sequence[Band]) -> Derive:
    """The dial crossed a band edge: `BandEntered`."""

    def derive(state: State, stamped: e.Stamped) -> list[e.Event]:
        event = stamped.event
        if not isinstance(event, e.DialTuned | e.KnobTurned | e.DialFound):
            return []
        vfo = state.vfos[stamped.vfo]
        band = band_at(event.dial, bands) if event.dial is not None else None
        name = band.name if band else None
        return [e.BandEntered(band=name, left=vfo.band)] if name != vfo.band else []

    return derive


def levels(state: State, stamped: e.Stamped) -> list[e.Event]:
    """A sweep's visits lost their levels with the sound, or have them again.

    `LevelsMissed`, `LevelsFound`; each is told once.
    """
    vfo = state.vfos.get(stamped.vfo)
    if vfo is None:
        return []
    sweep, sound = vfo.sweep, vfo.sound
    match stamped.event:
        case e.ChannelObserved(level=None) if sound.is_deaf and sweep.without_levels is None:
            return [e.LevelsMissed(sweep=sweep.name or stamped.event.sweep, reason=sound.phase)]
        case e.ChannelObserved(level=None) | e.AudioJudged(soundness="silent"):
            return []
        case e.ChannelObserved() | e.AudioHeard() | e.AudioJudged():
            if sweep.without_levels is not None:
                return [e.LevelsFound(sweep=sweep.name or "")]
    return []


def activity(state: State, stamped: e.Stamped) -> list[e.Event]:
    """A channel became active or quiet: `ActivityBegan`, `ActivityEnded`."""
    event = stamped.event
    if not isinstance(event, e.ChannelObserved) or event.active is None or event.level is None:
        return []
    was = any(h.dial == event.dial and h.now for h in state.vfos[stamped.vfo].heard)
    if event.active and not was:
        above = event.level - (event.floor if event.floor is not None else event.level)
        return [
            e.ActivityBegan(
                dial=event.dial, band=event.band, level=event.level, above_floor=round(above, 1)
            )
        ]
    if was and not event.active:
        return [e.ActivityEnded(dial=event.dial, band=event.band)]
    return []
