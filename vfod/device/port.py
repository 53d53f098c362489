"""What a line is, and where one comes from.

A port is a place that can be opened again and again; a line is one connection and lives once.
Everything above this file knows these two shapes only, so a pseudo-terminal, a TCP serial server
and a simulator in memory are all alike to it.
"""

from collections.abc import Callable
from typing import Protocol

from vfod.errors import LineError

#: Bytes that may wait unsent before the line counts as stuck: a few lines of the protocol. One
#: question is open at a time, so more than that means the far end takes nothing.
WRITE_LIMIT = 512

Received = Callable[[bytes], None]
Lost = Callable[[LineError], None]


class Line(Protocol):
    """One open connection, used on the loop that opened it."""

    def write(self, data: bytes) -> None:
        """Send or queue; raises nothing. A failed or stuck write is told through `lost`."""
        ...

    def close(self) -> None:
        """Drop the connection and what is unsent; never blocks, may be called again."""
        ...


class Port(Protocol):
    """A place where a box may hang."""

    @property
    def name(self) -> str:
        """The port as a person writes it."""
        ...

    async def open(self, received: Received, lost: Lost) -> Line:
        """Open by name.

        `received` is called on the loop with bytes as they come. `lost` is called on the loop, at
        most once, never from within `write` and never after `close`; the line has closed itself
        by then.
        Raises PortMissingError, PortForbiddenError, PortBusyError or another LineError.
        """
        ...
