"""What the listener wrote into the log."""

from dataclasses import dataclass

from vfod.events.root import Event
from vfod.origin import Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class NoteTaken(Event):
    """A note of the listener's about the time `at`; the daemon added where the dial was then.

    `sinpo` is a report by ITU-R SM.1135 and `heard` the name of a station, None where not given.
    `dial`, `band` and `level` (in `unit`) are None as far as they are not known.
    """

    text: str
    sinpo: str | None
    heard: str | None
    at: float
    dial: int | None
    band: str | None
    level: float | None
    unit: str | None
    by: Origin
