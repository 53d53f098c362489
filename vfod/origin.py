"""Who caused a change, and through which door it came in."""

import enum
from dataclasses import dataclass


class Door(enum.StrEnum):
    """Through which door a change came in."""

    KNOB = "knob"
    BUTTON = "button"
    SHELL = "shell"
    PAGE = "page"
    MQTT = "mqtt"
    SWEEP = "sweep"
    WINDOW = "window"
    DAEMON = "daemon"

    @property
    def is_hand(self) -> bool:
        """A hand at the set itself."""
        return self in (Door.KNOB, Door.BUTTON)

    @property
    def is_person(self) -> bool:
        """A person, at the set or at a keyboard: what a sweep yields to."""
        return self.is_hand or self in (Door.SHELL, Door.PAGE)


@dataclass(frozen=True, kw_only=True, slots=True)
class Origin:
    """Who caused a change and through which door: `who` is a user, a client or a sweep's name."""

    door: Door
    who: str = ""

    def __str__(self) -> str:
        return f"{self.door} ({self.who})" if self.who else str(self.door)
