"""The state as text for a person and as plain values for a machine.

One wording for all doors: the shell prints `one_line`, MQTT and the page use the same words.
"""

import dataclasses
from collections.abc import Iterator
from datetime import tzinfo
from typing import Any

from vfod import events as e
from vfod.events import plain
from vfod.plan.localtime import local_words
from vfod.state.model import LinkPhase, SoundPhase, SoundState, State, SweepPhase, VfoState
from vfod.state.say import SOUND_GONE, UNSOUND, doubted_text, event_text, until_text
from vfod.units import format_frequency, format_millihertz

#: A moment of the last days, for a person.
_SINCE = "%a %H:%M"


def to_plain(state: State) -> dict[str, Any]:
    """The whole state as JSON knows it, with `text` for people."""
    return {
        "sequence": state.sequence,
        "version": state.version,
        "started": state.started,
        "zone": state.zone,
        "config_digest": state.config_digest,
        "config_read": state.config_read,
        "config_waiting": list(state.config_waiting),
        "config_refused": state.config_refused,
        "clock_doubted": state.clock_doubted,
        "vfos": {name: vfo_to_plain(vfo, state.place) for name, vfo in state.vfos.items()},
        "doors": {name: dataclasses.asdict(door) for name, door in state.doors.items()},
        "text": "\n".join([*_lines(state), *daemon_troubles(state)]),
    }


def _lines(state: State) -> Iterator[str]:
    """Of each VFO where it is tuned and what it does, then what is wrong."""
    for name, vfo in state.vfos.items():
        who = name if len(state.vfos) > 1 else ""
        yield one_line(vfo, state.place, who)
        for trouble in troubles(vfo, state.place):
            yield f"{who}: {trouble}" if who else trouble


def daemon_troubles(state: State) -> list[str]:
    """What a person should know of clock and configuration; nothing where all is as it should."""
    lines = [doubted_text(state.clock_doubted)] if state.clock_doubted else []
    if state.config_waiting:
        lines.append(f"waits for a restart: {', '.join(state.config_waiting)}")
    if state.config_refused:
        lines.append("the configuration file has mistakes and is not in force; see vfod check")
    return lines


def troubles(vfo: VfoState, zone: tzinfo | None) -> list[str]:
    """What is wrong with the sound of a VFO and its levels: since when, and what to do."""
    lines = [sound_text(vfo.sound, zone)] if sound_text(vfo.sound, zone) else []
    if vfo.sweep.without_levels is not None:
        since = local_words(vfo.sweep.without_levels, zone, _SINCE)
        lines.append(f"sweep {vfo.sweep.name} goes on without levels since {since}")
    return lines


def sound_text(sound: SoundState, zone: tzinfo | None) -> str:
    """What is wrong with it; empty where nothing is."""
    since = "" if sound.since is None else f" since {local_words(sound.since, zone, _SINCE)}"
    match sound.phase:
        case SoundPhase.GONE:
            return (
                f"no sound from {sound.source}{since}: {sound.detail or sound.reason}; {SOUND_GONE}"
            )
        case SoundPhase.SILENT | SoundPhase.CLIPPED as phase:
            return f"the sound from {sound.source} is {phase}{since}; {UNSOUND[phase]}"
    return ""


def vfo_to_plain(vfo: VfoState, zone: tzinfo | None) -> dict[str, Any]:
    """One VFO's state as JSON knows it; oscillator frequencies as hertz with three decimals."""
    plain = dataclasses.asdict(vfo)
    for name in ("oscillator", "produced"):
        if plain[name] is not None:
            plain[name] = format_millihertz(plain[name])
    plain["wavelength"] = None if vfo.wavelength is None else round(vfo.wavelength, 3)
    plain["troubles"] = troubles(vfo, zone)
    return plain


def away_text(vfo: VfoState, zone: tzinfo | None) -> str:
    """Since when the VFO has not been there; empty where it is."""
    link = vfo.link
    if link.phase is LinkPhase.UP:
        return ""
    if link.since is None:
        return "it has not been found yet"
    why = f" ({link.reason})" if link.reason else ""
    return f"it has been away since {local_words(link.since, zone, _SINCE)}{why}"


def dial_text(vfo: VfoState) -> str:
    """`9420 kHz, 31m, 31.8 m` as far as known."""
    if vfo.dial is None or vfo.wavelength is None:
        return "dial unknown"
    parts = [format_frequency(vfo.dial)]
    if vfo.band:
        parts.append(vfo.band)
    parts.append(f"wavelength {vfo.wavelength:.2f} m")
    return ", ".join(parts)


def one_line(vfo: VfoState, zone: tzinfo | None, name: str = "") -> str:
    """Where it is tuned and what it does, in a line a person reads at a glance."""
    parts = [dial_text(vfo)]
    if vfo.step:
        parts.append(f"step {format_frequency(vfo.step)}")
    if vfo.moved_by is not None:
        parts.append(f"moved by {vfo.moved_by}")
    parts.append(sweep_text(vfo, zone))
    if vfo.link.phase is LinkPhase.DOWN:
        parts.append(f"link down ({vfo.link.reason})" if vfo.link.reason else "link down")
    if vfo.battery_low:
        volts = "" if vfo.battery is None else f" ({vfo.battery:.2f} V)"
        parts.append(f"battery low{volts}")
    line = "; ".join(parts)
    return f"{name}: {line}" if name else line


def sweep_text(vfo: VfoState, zone: tzinfo | None) -> str:
    """What the sweep does, in a few words."""
    sweep = vfo.sweep
    if sweep.phase is SweepPhase.IDLE or sweep.name is None:
        return "no sweep"
    where = f"pass {sweep.passes + 1}, {sweep.in_pass} of {sweep.channels} channels"
    phase: str = sweep.phase
    if sweep.phase is SweepPhase.YIELDED and sweep.yielded_to is not None:
        phase = f"{phase} to {sweep.yielded_to}{until_text(sweep.until, zone)}"
    return f"sweep {sweep.name} {phase} ({where})"


def answer(stamped: e.Stamped, zone: tzinfo | None, remark: str = "") -> dict[str, Any]:
    """A stamped event as a notification or an answer, with `text` for people.

    A `remark` is what who asked should know beside the event; the text has it too.
    """
    marked: dict[str, Any] = {"doubted": True} if stamped.doubted else {}
    if remark:
        marked["remark"] = remark
    text = event_text(stamped.event, zone)
    return {
        "sequence": stamped.sequence,
        "time": stamped.time,
        **marked,
        "vfo": stamped.vfo,
        "event": plain.kind(stamped.event),
        "cause": stamped.cause,
        "data": plain.to_plain(stamped.event),
        "text": f"{text}; {remark}" if remark else text,
    }
