"""Bytes at the speed of a serial line: one timer for each piece, never one for each byte."""

import asyncio
from collections.abc import Callable

#: A start bit, eight data bits, a stop bit.
BITS_PER_BYTE = 10
#: The rate of docs/protocol.md, 1.1.
BAUD = 115_200


class Pace:
    """Hands pieces on in their order, each when its last byte would have arrived.

    `baud` None: at once, within `send`. `delay` is what the way takes besides, seconds.
    """

    def __init__(
        self, deliver: Callable[[bytes], None], *, baud: int | None = BAUD, delay: float = 0.0
    ) -> None:
        self._deliver = deliver
        self._byte_time = BITS_PER_BYTE / baud if baud else 0.0
        self._delay = delay
        self._at_once = not baud and not delay
        self._loop = asyncio.get_running_loop()
        self._free = 0.0
        self._cut = False

    def send(self, data: bytes) -> None:
        """Put bytes on the line."""
        if self._at_once:
            self._arrive(data)
            return
        self._free = max(self._free, self._loop.time()) + len(data) * self._byte_time
        self._loop.call_at(self._free + self._delay, self._arrive, data)

    def cut(self) -> None:
        """Lose what is under way and all that is sent from now on."""
        self._cut = True

    def _arrive(self, data: bytes) -> None:
        if not self._cut:
            self._deliver(data)
