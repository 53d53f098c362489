"""The log as a subscriber: one line an incident, what it means and what to do.

A quiet night writes nothing here; the journal has everything. What repeats is told once until it
is over, because a line an hour ago says as much as a thousand since.
"""

import logging
from dataclasses import dataclass
from datetime import tzinfo

from vfod import events as e
from vfod.state import Feed
from vfod.state.say import SOUND_GONE, UNSOUND, event_text

_log = logging.getLogger("vfod")

#: What to do, where the event itself does not say it.
_REMEDIES: dict[type[e.Event], str] = {
    e.LinkLost: "it is tried again all the time; `vfod doctor` looks closer",
    e.AudioLost: SOUND_GONE,
    e.DoorFailed: "it is tried again all the time, and the rest goes on",
    e.ConfigRefused: "mend it, then reload again",
    e.JournalSetAside: "`vfod journal repair --journal FILE` reads that file; look at the disk",
    e.SweepRefused: "`vfod check` and `vfod plan` tell more; mend the configuration",
    e.WindowMissed: "`vfod journal` tells what came before",
    e.BatteryLow: "charge it or change it; no window starts a sweep until then",
    e.BoxReset: "should that repeat, look at its supply",
    e.SweepEnded: "`vfod journal` tells what came before",
}

#: What happens several times a second all night: not worth a text that nobody reads.
_MANY = (e.ChannelObserved, e.DialTuned)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Line:
    """`incident` is the same for lines that say the same thing again."""

    level: int
    text: str
    incident: str


class Log:
    """Writes incidents; `run` follows a feed until it ends."""

    def __init__(self) -> None:
        self._down: set[str] = set()

    async def run(self, feed: Feed) -> None:
        """Log until the feed ends."""
        async for stamped, state in feed:
            line = self._line(stamped, state.place)
            if line is not None:
                _log.log(line.level, "%s", line.text, extra={"incident": line.incident})

    def _line(self, stamped: e.Stamped, zone: tzinfo) -> _Line | None:
        event, vfo = stamped.event, stamped.vfo
        if isinstance(event, _MANY):
            return None
        text = _text(event, vfo, zone)
        incident = f"{vfo} {type(event).__name__}"
        match event:
            case e.LinkLost(reason="closed"):
                # By this program, for a new configuration, which has a line of its own.
                return None
            case e.LinkLost():
                return self._failed(f"link {vfo}", text)
            case e.LinkGreeted():
                return self._works(f"link {vfo}", text)
            case e.BatteryLow():
                return self._failed(f"battery {vfo}", text)
            case e.BatteryFine():
                return self._works(f"battery {vfo}", text)
            case e.AudioLost():
                return self._failed(f"sound {vfo}", text)
            case e.AudioHeard():
                return self._works(f"sound {vfo}", text)
            case e.AudioJudged(soundness="good"):
                return self._works(f"soundness {vfo}", text)
            case e.AudioJudged(soundness=soundness):
                what = f"{text}; {UNSOUND[soundness]}"
                self._down.add(f"soundness {vfo}")
                return _Line(level=logging.WARNING, text=what, incident=f"{incident} {soundness}")
            case e.AudioEnded():
                self._down -= {f"sound {vfo}", f"soundness {vfo}"}
                return None
            case e.DoorFailed(door=door):
                return self._failed(f"door {door}", text)
            case e.DoorClosed(door=door):
                self._down.discard(f"door {door}")
                return None
            case e.DoorOpened(door=door):
                return self._works(f"door {door}", text)
            case e.JournalSetAside() | e.OutputHeldOff() | e.SweepRefused():
                return _Line(level=logging.WARNING, text=text, incident=incident)
            case e.WindowMissed():
                return _Line(level=logging.WARNING, text=text, incident=f"{incident} {text}")
            case e.ClockDoubted():
                return self._failed("clock", text)
            case e.ClockTrusted():
                return self._works("clock", text)
            case e.EncoderJittered():
                return _Line(level=logging.WARNING, text=text, incident=incident)
            case e.ConfigRefused():
                return _Line(level=logging.ERROR, text=text, incident=f"{incident} {text}")
            case e.ConfigReloaded():
                return _Line(level=logging.INFO, text=text, incident=f"{incident} {text}")
            case e.BoxReset():
                return _Line(level=logging.INFO, text=text, incident=incident)
            case e.SweepEnded(reason=reason) if reason.startswith("failed"):
                return _Line(level=logging.ERROR, text=text, incident=incident)
        return None

    def _failed(self, what: str, text: str) -> _Line | None:
        if what in self._down:
            return None
        self._down.add(what)
        return _Line(level=logging.WARNING, text=text, incident=f"{what} down")

    def _works(self, what: str, text: str) -> _Line | None:
        """Said only after a failure: that everything works is no incident."""
        if what not in self._down:
            return None
        self._down.discard(what)
        return _Line(level=logging.INFO, text=text, incident=f"{what} up")


def _text(event: e.Event, vfo: str, zone: tzinfo) -> str:
    """What happened, and what to do about it."""
    what = event_text(event, zone)
    remedy = _REMEDIES.get(type(event), "")
    # An error that knows its remedy has it after a semicolon.
    if remedy and "; " not in what.partition(": ")[2]:
        what += f"; {remedy}"
    return f"{vfo}: {what}" if vfo else what
