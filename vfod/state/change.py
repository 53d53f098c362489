"""How an event changes what is the case: `apply(state, stamped) -> State`. Pure."""

import dataclasses
from types import MappingProxyType
from typing import Any

from vfod import events as e
from vfod.state.model import (
    RECENT,
    DoorState,
    Heard,
    LinkPhase,
    LinkState,
    SoundPhase,
    SoundState,
    State,
    SweepPhase,
    SweepState,
    VfoState,
)

#: The words of events.AudioJudged.
_SOUNDNESS = {
    str(phase): phase for phase in (SoundPhase.GOOD, SoundPhase.SILENT, SoundPhase.CLIPPED)
}


def apply(state: State, stamped: e.Stamped) -> State:
    """The state after an event. Pure."""
    if stamped.vfo in state.vfos:
        vfos = dict(state.vfos)
        vfos[stamped.vfo] = _apply_vfo(vfos[stamped.vfo], stamped)
        return dataclasses.replace(state, sequence=stamped.sequence, vfos=MappingProxyType(vfos))
    state = dataclasses.replace(state, sequence=stamped.sequence)
    match stamped.event:
        case e.DaemonStarted(version=version, config_digest=digest, zone=zone):
            return dataclasses.replace(
                state,
                version=version,
                config_digest=digest,
                config_read=stamped.time,
                started=stamped.time,
                zone=zone,
            )
        case e.ClockDoubted(reason=reason):
            return dataclasses.replace(state, clock_doubted=reason)
        case e.ClockTrusted():
            return dataclasses.replace(state, clock_doubted="")
        case e.ConfigReloaded(config_digest=digest, waiting=waiting, zone=zone):
            return dataclasses.replace(
                state,
                config_digest=digest,
                config_read=stamped.time,
                config_waiting=waiting,
                config_refused=False,
                zone=zone,
            )
        case e.ConfigRefused():
            return dataclasses.replace(state, config_refused=True)
        case e.DoorOpened(door=door, where=where):
            return _with_door(state, door, DoorState(up=True, where=where, since=stamped.time))
        case e.DoorFailed(door=door, reason=reason):
            where = state.doors[door].where if door in state.doors else ""
            failed = DoorState(up=False, where=where, reason=reason, since=stamped.time)
            return _with_door(state, door, failed)
        case e.DoorClosed(door=door):
            doors = {name: known for name, known in state.doors.items() if name != door}
            return dataclasses.replace(state, doors=MappingProxyType(doors))
    return state


def _with_door(state: State, name: str, door: DoorState) -> State:
    return dataclasses.replace(state, doors=MappingProxyType({**state.doors, name: door}))


def _apply_vfo(vfo: VfoState, stamped: e.Stamped) -> VfoState:
    for part in (_link_changes, _dial_changes, _sound_changes, _sweep_changes):
        if (changes := part(vfo, stamped.event, stamped.time)) is not None:
            return dataclasses.replace(vfo, **changes)
    return vfo


def _link_changes(vfo: VfoState, event: e.Event, time: float) -> dict[str, Any] | None:
    match event:
        case e.LinkGreeted():
            link = LinkState(
                phase=LinkPhase.UP,
                since=time,
                port=event.port,
                model=event.model,
                firmware=event.firmware,
                serial=event.serial,
                low=event.low,
                high=event.high,
                resolution=event.resolution,
                abilities=event.abilities,
                losses=vfo.link.losses,
            )
            return {"link": link}
        case e.LinkLost(reason=reason):
            was_up = vfo.link.phase is LinkPhase.UP
            link = dataclasses.replace(
                vfo.link,
                phase=LinkPhase.DOWN,
                since=time if was_up or vfo.link.since is None else vfo.link.since,
                port=event.port,
                reason=reason,
                losses=vfo.link.losses + was_up,
            )
            return {"link": link}
        case e.BoxMeasured(battery=battery, temperature=temperature):
            return {"battery": battery, "temperature": temperature}
        case e.BatteryLow(battery=battery):
            return {"battery": battery, "battery_low": True}
        case e.BatteryFine(battery=battery):
            return {"battery": battery, "battery_low": False}
        case e.OutputHeldOff():
            return {"output": False}
    return None


def _dial_changes(vfo: VfoState, event: e.Event, time: float) -> dict[str, Any] | None:
    match event:
        case e.DialTuned():
            sweep = vfo.sweep
            if event.by.door is e.Door.SWEEP:
                sweep = dataclasses.replace(sweep, channel=event.dial)
            return {
                "sweep": sweep,
                "dial": event.dial,
                "oscillator": event.oscillator,
                "produced": event.produced,
                "moved_by": event.by,
                "moved_at": time,
            }
        case e.KnobTurned():
            return {
                "dial": event.dial,
                "oscillator": event.oscillator,
                "produced": event.oscillator,
                "moved_by": e.Origin(door=e.Door.KNOB),
                "moved_at": time,
            }
        case e.DialFound():
            return {
                "dial": event.dial,
                "oscillator": event.oscillator,
                "produced": event.oscillator,
                "moved_at": time,
            }
        case e.BandEntered(band=band):
            return {"band": band}
        case e.CorrectionTaken(correction=correction, source=source):
            return {"correction": correction, "correction_source": source}
        case e.StepChanged(step=step):
            return {"step": step}
        case e.OutputSwitched(on=on):
            return {"output": on}
        case e.SpeakerMuted(muted=muted):
            return {"muted": muted}
        case e.FilterSelected(select=select):
            # What it was found at is no switching.
            switched = vfo.select is not None and select != vfo.select
            return {"select": select, "filter_switchings": vfo.filter_switchings + switched}
    return None


def _sound_changes(vfo: VfoState, event: e.Event, time: float) -> dict[str, Any] | None:
    sound, sweep = vfo.sound, vfo.sweep
    match event:
        case e.AudioHeard(source=source):
            # A recorder that starts is taken for good until it was listened to.
            heard = SoundState(phase=SoundPhase.GOOD, since=time, source=source, delay=sound.delay)
            return {"sound": heard}
        case e.AudioLost(source=source, reason=reason, detail=detail):
            # It was gone already where only the reason is another.
            was_gone = sound.phase is SoundPhase.GONE
            lost = SoundState(
                phase=SoundPhase.GONE,
                since=sound.since if was_gone else time,
                source=source,
                reason=reason,
                detail=detail,
                delay=sound.delay,
            )
            return {"sound": lost}
        case e.AudioJudged(soundness=soundness):
            phase = _SOUNDNESS.get(soundness, SoundPhase.NONE)
            return {"sound": dataclasses.replace(sound, phase=phase, since=time)}
        case e.AudioTimed(used=used):
            return {"sound": dataclasses.replace(sound, delay=used)}
        case e.AudioEnded():
            return {
                "sound": SoundState(),
                "sweep": dataclasses.replace(sweep, without_levels=None),
            }
        case e.LevelsMissed():
            return {"sweep": dataclasses.replace(sweep, without_levels=time)}
        case e.LevelsFound():
            return {"sweep": dataclasses.replace(sweep, without_levels=None)}
    return None


def _sweep_changes(vfo: VfoState, event: e.Event, time: float) -> dict[str, Any] | None:
    sweep = vfo.sweep
    match event:
        case e.WindowAwaited():
            window = dataclasses.replace(
                vfo.window,
                next_name=event.window,
                next_sweep=event.sweep,
                next_opens=event.opens,
                next_closes=event.closes,
            )
            return {"window": window}
        case e.WindowOpened() | e.WindowMoved():
            return {
                "window": dataclasses.replace(vfo.window, name=event.window, closes=event.closes)
            }
        case e.WindowClosed():
            return {"window": dataclasses.replace(vfo.window, name=None, closes=None)}
        case e.SweepStarted():
            started = SweepState(
                phase=SweepPhase.SWEEPING,
                name=event.sweep,
                channels=event.channels,
                channel=event.dial,
                since=time,
            )
            return {"sweep": started}
        case e.SweepChanged(channels=channels):
            return {"sweep": dataclasses.replace(sweep, channels=channels)}
        case e.SweepEnded():
            return {
                "sweep": dataclasses.replace(
                    sweep,
                    phase=SweepPhase.IDLE,
                    since=time,
                    until=None,
                    yielded_to=None,
                    without_levels=None,
                )
            }
        case e.PassCompleted(number=number, seconds=seconds, held=held) if (
            event.sweep == sweep.name
        ):
            kept = dataclasses.replace(sweep, passes=number, in_pass=0, revisit=seconds, held=held)
            return {"sweep": kept}
        case e.SweepYielded():
            return {
                "sweep": dataclasses.replace(
                    sweep,
                    phase=SweepPhase.YIELDED,
                    channel=event.dial,
                    until=event.until,
                    yielded_to=event.to,
                )
            }
        case e.SweepPaused(dial=dial):
            return {"sweep": dataclasses.replace(sweep, phase=SweepPhase.PAUSED, channel=dial)}
        case e.SweepResumed(dial=dial):
            return {
                "sweep": dataclasses.replace(
                    sweep,
                    phase=SweepPhase.SWEEPING,
                    channel=dial,
                    until=None,
                    yielded_to=None,
                )
            }
        case e.HoldBegan(dial=dial) | e.HoldResumed(dial=dial):
            return {"sweep": dataclasses.replace(sweep, phase=SweepPhase.HOLDING, channel=dial)}
        case e.HoldLeft() | e.HoldEnded():
            return {"sweep": dataclasses.replace(sweep, phase=SweepPhase.SWEEPING)}
        case e.ChannelObserved():
            return _observed(vfo, event, time)
        case e.ActivityEnded(dial=dial):
            return {
                "heard": tuple(
                    dataclasses.replace(h, now=False) if h.dial == dial else h for h in vfo.heard
                )
            }
    return None


def _observed(vfo: VfoState, event: e.ChannelObserved, time: float) -> dict[str, Any]:
    sweep = dataclasses.replace(
        vfo.sweep,
        visits=vfo.sweep.visits + 1,
        in_pass=vfo.sweep.in_pass + (event.sweep == vfo.sweep.name),
    )
    heard = vfo.heard
    if event.active and event.level is not None:
        first = next((h.first for h in heard if h.dial == event.dial and h.now), time)
        now = Heard(
            dial=event.dial,
            band=event.band,
            level=event.level,
            unit=event.unit,
            first=first,
            last=time,
            now=True,
        )
        heard = (now, *(h for h in heard if h.dial != event.dial))[:RECENT]
    return {
        "sweep": sweep,
        "heard": heard,
        "level": event.level,
        "level_unit": event.unit,
        "floor": event.floor,
        "visits": vfo.visits + 1,
        "active_visits": vfo.active_visits + bool(event.active),
    }
