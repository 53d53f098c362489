"""The log as a subscriber: one line an incident, what it means and what to do.

A quiet night writes nothing here; the journal has everything. What repeats is told once until it
is over, because a line an hour ago says as much as a thousand since.
"""

import logging
from dataclasses import dataclass

from vfod import events as e
from vfod.state import Feed
from vfod.state.show import event_text

_log = logging.getLogger("vfod")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Line:
    level: int
    text: str


class Log:
    """Writes incidents; `run` follows a feed until it ends."""

    def __init__(self) -> None:
        self._down: set[str] = set()

    async def run(self, feed: Feed) -> None:
        """Log until the feed ends."""
        async for stamped, _ in feed:
            line = self._line(stamped)
            if line is not None:
                _log.log(line.level, "%s", line.text)

    def _line(self, stamped: e.Stamped) -> _Line | None:
        event, vfo = stamped.event, stamped.vfo
        what = event_text(event)
        where = f"{vfo}: " if vfo else ""
        match event:
            case e.LinkLost():
                return self._failed(f"link {vfo}", where + what)
            case e.LinkGreeted():
                return self._works(f"link {vfo}", where + what)
            case e.DoorFailed(door=door):
                return self._failed(door, what)
            case e.DoorOpened(door=door):
                return self._works(door, what)
            case e.JournalSetAside() | e.OutputHeldOff() | e.SweepRefused() | e.BatteryLow():
                return _Line(level=logging.WARNING, text=where + what)
            case e.EncoderJittered():
                return _Line(level=logging.WARNING, text=where + what)
            case e.BoxReset():
                return _Line(level=logging.INFO, text=where + what)
            case e.SweepEnded(reason=reason) if reason.startswith("failed"):
                return _Line(level=logging.ERROR, text=where + what)
        return None

    def _failed(self, key: str, text: str) -> _Line | None:
        if key in self._down:
            return None
        self._down.add(key)
        return _Line(level=logging.WARNING, text=text)

    def _works(self, key: str, text: str) -> _Line | None:
        """Said only after a failure: that everything works is no incident."""
        if key not in self._down:
            return None
        self._down.discard(key)
        return _Line(level=logging.INFO, text=text)
