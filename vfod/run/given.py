"""What a keeper is given besides its agenda: where it left off, what it leaves behind."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class LeftOff:
    """Where a sweep stood when the daemon last stopped: read from the journal, handed in.

    `time` is the wall clock of its last visit, `by_person` whether a person had started it outside
    the agenda, so that it goes on after a restart until a person stops it.
    """

    sweep: str
    dial: int
    time: float
    by_person: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Afterwards:
    """What becomes of the dial when a window ends: back where it was, parked, or left."""

    park: int | None = None
    go_back: bool = True
