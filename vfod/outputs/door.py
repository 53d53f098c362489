"""What every door is built from, and how it is kept open.

A door may fail at any time: a broker goes away, an address is taken. It then says so once, waits,
and is built anew; nothing of its trouble reaches the rest of the daemon.
"""

import logging
import random
from collections.abc import Awaitable, Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass

from vfod.clock import Clock
from vfod.errors import DoorError, VfodError
from vfod.events import Door, DoorFailed, DoorOpened
from vfod.state import Feed, State, Tell

#: Entering it begins a subscription: nothing that happens from then on is missed.
Subscribe = Callable[[], AbstractContextManager[Feed]]

#: The state at this moment.
Snapshot = Callable[[], State]

#: Counts a request: through which door, its method ("other" where there is no such method), and
#: "ok" or the word of the error.
Count = Callable[[Door, str, str], None]

#: To be called with the door's address when it works.
Opened = Callable[[str], None]

#: What is counted for a request that cannot be named.
OTHER = "other"

_log = logging.getLogger(__name__)


@dataclass(frozen=True, kw_only=True, slots=True)
class Pauses:
    """Seconds to wait before a door is built anew.

    `first`, twice as long after each failure up to `limit`; `first` again once it has stayed open
    for `steady`, so that two daemons which keep throwing each other out do so ever more rarely.
    """

    first: float = 0.5
    limit: float = 30.0
    steady: float = 5.0


async def keep_open(
    door: str,
    serve: Callable[[Opened], Awaitable[None]],
    *,
    tell: Tell,
    clock: Clock,
    pauses: Pauses = Pauses(),
    jitter: Callable[[], float] = random.random,
) -> None:
    """Let `serve` run, again and again, until cancelled or until it returns of its own accord.

    A failure is told as DoorFailed, each reason once until the door is open again. `jitter` gives
    numbers from 0 to 1; a pause is stretched by up to a quarter, or shortened.
    """
    told: set[str] = set()
    pause = pauses.first
    opened_at: float | None = None

    def opened(where: str) -> None:
        nonlocal opened_at
        opened_at = clock.monotonic()
        told.clear()
        tell(DoorOpened(door=door, where=where))

    while True:
        try:
            return await serve(opened)
        except Exception as error:  # whatever it is, it must not reach the sweep
            reason, detail = _explain(door, error)
        if reason not in told:
            told.add(reason)
            tell(DoorFailed(door=door, reason=reason, detail=detail))
        now = clock.monotonic()
        if opened_at is not None and now - opened_at >= pauses.steady:
            pause = pauses.first
        opened_at = None
        await clock.sleep_until(now + pause * (0.75 + jitter() / 2))
        pause = min(2 * pause, pauses.limit)


def _explain(door: str, error: Exception) -> tuple[str, str]:
    """A short word and a sentence; what nobody foresaw also goes into the log, with its place."""
    while isinstance(error, ExceptionGroup):
        error = error.exceptions[0]
    match error:
        case DoorError():
            return error.reason, str(error)
        case VfodError():
            return error.code, str(error)
        case OSError():
            return "system", str(error)
    _log.error("%s: a defect of vfod itself", door, exc_info=error)
    return "internal", f"{type(error).__name__}: {error}"
