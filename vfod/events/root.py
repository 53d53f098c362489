"""The root of all events."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Event:
    """Root of everything that happened."""
