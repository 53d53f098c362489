"""What is counted about a line for metrics; it outlives the links."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

Measured = Callable[[str, float, str], None]


def _ignore(verb: str, seconds: float, result: str) -> None:
    """Nobody measures."""


@dataclass(slots=True)
class Tally:
    """Counts since the start of the program, of one box."""

    #: Called after every question: its verb, seconds until its end, and the result, which is
    #: "ok", the code the box refused with, "lost" or "cancelled".
    measured: Measured = _ignore
    #: Bytes received that were for nobody, by wire.StrayReason.
    strays: Counter[str] = field(default_factory=Counter)
    #: Links lost and openings failed, by LineError.reason.
    losses: Counter[str] = field(default_factory=Counter)
    #: Questions put again because no answer came in time.
    retries: int = 0
    #: Times the box was read because what it had told was not the whole.
    gaps: int = 0
