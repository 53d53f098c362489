"""What happened, in words: one line an event, for the journal, the log and whoever asked.

Times in it are those of the place, by the zone that is handed in; an hour that the clocks show
twice is told with the name of its zone.
"""

from datetime import tzinfo

from vfod import events as e
from vfod.events import plain
from vfod.plan.localtime import local_words
from vfod.radio.levels import in_words
from vfod.units import format_duration, format_frequency

#: Why a window went by without its sweep, for a person; see events.WindowMissed.
MISSED = {
    "daemon-down": "the daemon was not running",
    "asleep": "the machine slept",
    "clock-doubted": "the clock could not be believed",
    "clock-set": "the clock was set past it",
    "vfo-absent": "the VFO was not there",
    "declined": "a person stopped the sweep",
    "refused": "the sweep cannot run",
    "battery": "the battery was low",
    "yielded": "somebody had the dial all the time",
    "unfinished": "it was too short for a visit",
}
#: Why the clock cannot be believed; see events.ClockDoubted.
DOUBTED = {
    "before-release": "it is before the release of this program",
    "before-journal": "it is earlier than the newest entry of the journal",
}


#: What to do about sound that is recorded and cannot be measured; see events.AudioJudged.
UNSOUND = {
    "silent": "is it plugged in and turned up? where the mute silences it, write speaker: leave",
    "clipped": "turn down the level of the recording",
}
#: What becomes of sound that is gone.
SOUND_GONE = "it is tried again all the time; nothing is measured by it meanwhile"


def event_text(event: e.Event, zone: tzinfo | None) -> str:
    """An event in a few words; `zone` is that of the times in it, None the machine's own."""
    match event:
        case e.DialTuned(dial=dial, by=by):
            return f"tuned to {format_frequency(dial)} by {by}"
        case e.KnobTurned(dial=dial):
            return f"knob turned to {_frequency(dial)}"
        case e.DialFound(dial=dial):
            return f"dial found at {_frequency(dial)}"
        case e.CrystalCalibrated(error=error, low=low, high=high, against=against, by=by):
            return (
                f"crystal measured against {against}: {error:+.4f} ppm, "
                f"{low:+.4f} to {high:+.4f}, by {by}"
            )
        case e.OwnSignalsMeasured(sweep=sweep, channels=channels, dials=dials, images=images):
            at = ", ".join(format_frequency(dial) for dial in dials) or "nowhere"
            if images:
                return f"of {channels} channels of {sweep}, images heard: {at}"
            return f"without the antenna, over {channels} channels of {sweep}, heard itself: {at}"
        case e.LevelWatched(dial=dial, seconds=seconds, readings=readings, counts=counts, by=by):
            return (
                f"level watched at {format_frequency(dial)} for {format_duration(seconds)}: "
                f"{_count(readings, 'reading')}, median {counts} counts, by {by}"
            )
        case e.CorrectionTaken(correction=correction, source=source):
            return f"the dial goes by a correction of {correction:+.4f} ppm, {source}"
        case e.ButtonPressed(button=button):
            return f"button {button} pressed"
        case e.StepChanged(step=step, by=by):
            return f"step {format_frequency(step)} by {by}"
        case e.BandEntered(band=band, left=left):
            return f"entered {band}" if band else f"left {left}"
        case e.OutputSwitched(on=on, by=by):
            return f"output {'on' if on else 'off'} by {by}"
        case e.SpeakerMuted(muted=muted, by=by):
            return f"speaker {'muted' if muted else 'released'} by {by}"
        case e.LinkGreeted(model=model, port=port):
            return f"link up: {model} on {port}"
        case e.LinkLost(reason=reason, detail=detail):
            return f"link down: {detail or reason}"
        case e.AudioHeard(source=source):
            return f"sound comes from {source}"
        case e.AudioLost(source=source, reason=reason, detail=detail):
            return f"no sound from {source}: {detail or reason}"
        case e.AudioJudged(soundness=soundness):
            return f"the sound is {soundness}"
        case e.AudioTimed(delay=None, used=used):
            return f"how late the sound is could not be heard; {used * 1000:.0f} ms is assumed"
        case e.AudioTimed(means=means, used=used):
            return f"the sound is {used * 1000:.0f} ms late, by the {means}"
        case e.AudioEnded(source=source):
            return f"sound is no longer recorded from {source}"
        case e.LevelsMissed(sweep=sweep, reason=reason):
            return f"sweep {sweep} goes on without levels: the sound is {reason}"
        case e.LevelsFound(sweep=sweep):
            return f"sweep {sweep} has levels again"
        case e.SweepStarted(sweep=sweep, channels=channels, dial=dial, by=by):
            at = format_frequency(dial)
            return f"sweep {sweep} started at {at}, {channels} channels, by {by}"
        case e.SweepChanged(sweep=sweep, channels=channels):
            return f"sweep {sweep} goes on as it is described now, {channels} channels"
        case e.SweepEnded(sweep=sweep, visits=visits, passes=passes, reason=reason):
            done = f"{_count(visits, 'visit')}, {_count(passes, 'pass', 'passes')}"
            return f"sweep {sweep} ended after {done}: {reason}"
        case e.SweepYielded(sweep=sweep, to=to, dial=dial, until=until):
            ends = until_text(until, zone)
            return f"sweep {sweep} yielded to {to} before {format_frequency(dial)},{ends}"
        case e.SweepPaused(sweep=sweep, reason=reason):
            return f"sweep {sweep} waits: {reason}"
        case e.SweepResumed(sweep=sweep, dial=dial, lost=lost):
            at = format_frequency(dial)
            return f"sweep {sweep} resumed at {at} after {format_duration(lost)}"
        case e.PassCompleted(sweep=sweep, number=number, seconds=seconds, held=held):
            took = f"sweep {sweep}: pass {number} took {format_duration(seconds)}"
            return took + (f", {format_duration(held)} of it held" if held else "")
        case e.ChannelSkipped(dial=dial, by=by):
            return f"{format_frequency(dial)} skipped by {by}"
        case e.HoldBegan(dial=dial, level=level, unit=unit):
            return f"holding at {format_frequency(dial)}, level {level:.0f} {unit}".rstrip()
        case e.HoldLeft(dial=dial, guest=guest):
            return f"left {format_frequency(dial)} for {guest}, coming back"
        case e.HoldResumed(dial=dial, away=away):
            at = format_frequency(dial)
            return f"holding at {at} again, {format_duration(away)} later"
        case e.HoldEnded(dial=dial, seconds=seconds, reason=reason):
            return f"left {format_frequency(dial)} after {format_duration(seconds)}: {reason}"
        case e.ChannelObserved():
            return observation_text(event)
        case e.ActivityBegan(dial=dial, above_floor=above):
            return f"{format_frequency(dial)} active, {above:.0f} dB above the floor"
        case e.ActivityEnded(dial=dial):
            return f"{format_frequency(dial)} quiet"
        case e.WindowAwaited(window=None):
            return "no window ahead"
        case e.WindowAwaited(window=window, sweep=sweep, opens=opens) if opens is not None:
            begins = local_words(opens, zone, "%Y-%m-%d %H:%M")
            return f"next window {window}, {begins}, for sweep {sweep}"
        case e.WindowOpened(window=window, sweep=sweep):
            return f"window {window} opened for sweep {sweep}"
        case e.WindowMoved(window=window):
            return f"window {window} is open by its new times"
        case e.WindowClosed(window=window):
            return f"window {window} closed"
        case e.WindowMissed(window=window, night=night, reason=reason):
            lost = event.until - event.since
            whole = lost >= event.closes - event.opens
            return (
                f"window {window} of {night}: {'all ' if whole else ''}{format_duration(lost)}"
                f" missed, {MISSED.get(reason, reason)}"
            )
        case e.ClockJumped(seconds=seconds, cause="suspended"):
            return f"the machine slept for {format_duration(seconds)}"
        case e.ClockJumped(seconds=seconds):
            way = "forward" if seconds > 0 else "back"
            return f"the clock was set {way} by {format_duration(abs(seconds))}"
        case e.ClockDoubted(reason=reason):
            return doubted_text(reason)
        case e.ClockTrusted(doubted=doubted):
            return f"the clock can be believed again, after {format_duration(doubted)}"
        case e.ConfigReloaded(config_digest=digest, changed=changed, waiting=waiting):
            what = ", ".join(changed) or "nothing"
            later = f"; waits for a restart: {', '.join(waiting)}" if waiting else ""
            return f"configuration {digest} is in force, changed: {what}{later}"
        case e.ConfigRefused(mistakes=mistakes, complaints=complaints):
            says = "1 mistake" if mistakes == 1 else f"{mistakes} mistakes"
            return f"the configuration stays as it was, its file has {says}: " + " | ".join(
                complaints
            )
        case e.JournalSetAside(kept_as=kept_as, reason=reason):
            return f"the journal could not be used ({reason}): kept as {kept_as}, a new one begun"
        case e.OutputHeldOff(resets=resets):
            return (
                f"{resets} resets within a minute: the output is no longer switched on; "
                "look at the supply, then switch it on by hand"
            )
        case e.SweepRefused(sweep=sweep, window=window, reason=reason):
            return f"window {window} opened, but sweep {sweep} cannot run: {reason}"
        case e.EncoderJittered(times=times):
            return f"the knob trembled {times} times without a hand on it; look at its contacts"
        case e.DaemonStarted(version=version, config_path=path):
            return f"vfod {version} started with {path}"
        case e.DaemonStopped(reason=reason):
            return f"vfod stopped: {reason}"
        case e.FilterSelected(select=select):
            return f"band filter {select} switched on"
        case e.BoxMeasured(battery=battery, temperature=temperature):
            volts = [] if battery is None else [f"battery {battery:.2f} V"]
            degrees = [] if temperature is None else [f"{temperature:.1f} \u00b0C"]
            return ", ".join([*volts, *degrees]) or "the box measured nothing"
        case e.BoxReset():
            return "the box was reset; it is set again as it was"
        case e.BatteryLow(battery=battery):
            return f"battery low: {battery:.2f} V"
        case e.NoteTaken():
            return note_text(event)
        case e.BatteryFine(battery=battery):
            return f"battery fine again: {battery:.2f} V"
        case e.DoorFailed(door=door, reason=reason, detail=detail):
            return f"{door} does not work: {detail or reason}"
        case e.DoorClosed(door=door):
            return f"{door} is switched off"
        case e.DoorOpened(door=door, where=where):
            return f"{door} works at {where}"
    fields = ", ".join(f"{k} {v}" for k, v in plain.to_plain(event).items() if v is not None)
    return f"{plain.kind(event).replace('-', ' ')}: {fields}"


def observation_text(observed: e.ChannelObserved) -> str:
    """`9420 kHz, -61.2 dBm, S9+12 dB, 40.1 dB over the floor, active`."""
    parts = [format_frequency(observed.dial)]
    if observed.level is None:
        parts.append("nothing was measured")
    else:
        parts.append(in_words(observed.level, observed.unit, observed.dial))
        if observed.floor is not None:
            parts.append(f"{observed.level - observed.floor:.1f} dB over the floor")
    if observed.active:
        parts.append("active")
    return ", ".join(parts)


def note_text(note: e.NoteTaken) -> str:
    """`noted: weak; 9420 kHz, 31m, -61.2 dBm, S9+12 dB; SINPO 45344; heard Radio Haldrun`."""
    parts = [f"noted: {visible(note.text)}"]
    if note.dial is not None:
        where = [format_frequency(note.dial)]
        if note.band:
            where.append(note.band)
        if note.level is not None:
            where.append(in_words(note.level, note.unit or "", note.dial))
        parts.append(", ".join(where))
    if note.sinpo:
        parts.append(f"SINPO {note.sinpo}")
    if note.heard:
        parts.append(f"heard {visible(note.heard)}")
    return "; ".join(parts)


def visible(text: str) -> str:
    """A text from outside for a terminal: control characters as their numbers."""
    return "".join(
        sign if sign.isprintable() or sign in "\u200c\u200d" else repr(sign)[1:-1] for sign in text
    )


def doubted_text(reason: str) -> str:
    """Why the clock cannot be believed, what follows from it, and what to do."""
    return (
        f"the clock cannot be believed, {DOUBTED.get(reason, reason)}: no window runs; set the"
        " clock, network time will do, and any correction by some seconds vouches for it"
    )


def until_text(until: float | None, zone: tzinfo | None) -> str:
    """How long a yield lasts."""
    if until is None:
        return " until asked to resume"
    return f" until {local_words(until, zone, '%H:%M:%S')}"


def _count(number: int, one: str, more: str = "") -> str:
    return f"{number} {one if number == 1 else more or one + 's'}"


def _frequency(dial: int | None) -> str:
    return "a frequency outside the receiver's range" if dial is None else format_frequency(dial)
