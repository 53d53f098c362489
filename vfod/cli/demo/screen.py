"""What the demo shows while it runs: lines that stay, and on a terminal one that moves."""

import sys

from vfod.units import format_frequency

#: Characters of the bar, and the decibels above -110 dBm that fill it.
_BAR, _SPAN = 24, 60

_KEPT = (
    "link-greeted",
    "window-opened",
    "sweep-started",
    "sweep-yielded",
    "sweep-resumed",
    "sweep-ended",
    "pass-completed",
    "activity-began",
    "knob-turned",
    "dial-tuned",
)


class Screen:
    """Prints the course of things; `begun` is the time its seconds count from."""

    def __init__(self, begun: float) -> None:
        self._begun = begun
        self._moves = sys.stdout.isatty()

    def say(self, text: str = "") -> None:
        """A line that stays."""
        self._wipe()
        print(text, flush=True)

    def heading(self, text: str) -> None:
        """The beginning of a part."""
        self.say(f"\n{text}\n{'-' * len(text)}")

    def event(self, event: dict[str, object]) -> None:
        """Something that happened in the daemon."""
        data = event["data"]
        assert isinstance(data, dict)
        by_sweep = event["event"] == "dial-tuned" and data["by"]["door"] == "sweep"
        if event["event"] in _KEPT and not by_sweep:
            when = float(str(event["time"])) - self._begun
            self.say(f"  {when:5.1f} s  {event['text']}")
        elif event["event"] == "channel-observed" and self._moves:
            self._move(data)

    def _move(self, data: dict[str, object]) -> None:
        level = data["level"]
        filled = 0
        if isinstance(level, int | float):
            filled = max(0, min(_BAR, round((level + 110) * _BAR / _SPAN)))
        dial = format_frequency(int(str(data["dial"])))
        bar = "=" * filled + "." * (_BAR - filled)
        print(f"\r           {dial} [{bar}] {level} {data['unit']}\x1b[K", end="", flush=True)

    def _wipe(self) -> None:
        if self._moves:
            print("\r\x1b[K", end="")
