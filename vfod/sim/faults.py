"""What goes wrong on a serial line, around any port.

A FaultyPort is a port with switches that a test sets while a sweep runs; all are off at first.
Which byte is hit is left to chance that is the same in every run.
"""

import asyncio
from collections import deque

from vfod.device.port import WRITE_LIMIT, Line, Lost, Port, Received
from vfod.errors import LineError, LineLostError
from vfod.sim.noise import uniform


class FaultyPort:
    """A port around another; the switches hold for the open line and for later ones."""

    def __init__(self, port: Port, *, seed: int = 0) -> None:
        self._port = port
        self._seed = seed
        self._line: _FaultyLine | None = None
        self._bytes = 0
        #: One byte of so many is lost, or comes twice, in both directions; 0: none.
        self.loses_one_in = 0
        self.doubles_one_in = 0
        #: The line stays open and nothing comes through, either way.
        self.silent = False
        #: The far end takes no more bytes.
        self.stuck = False
        #: What the box says comes so many seconds later, to whoever has the line open then.
        self.late = 0.0
        # Timers of the same moment come in any order; bytes do not.
        self._on_the_way: deque[bytes] = deque()
        self._due = 0.0

    @property
    def name(self) -> str:
        """See Port."""
        return self._port.name

    async def open(self, received: Received, lost: Lost) -> Line:
        """See Port."""
        line = _FaultyLine(self, received, lost)
        self._line = line
        try:
            line.inner = await self._port.open(line.received, line.report)
        except BaseException:
            line.close()
            raise
        return line

    def garble(self, garbage: bytes) -> None:
        """The host receives this, out of nothing."""
        if self._line is not None:
            self._line.pass_up(garbage)

    def intrude(self, probe: bytes) -> None:
        """The box receives this, as from a foreign program that opened the port too."""
        if self._line is not None and self._line.inner is not None:
            self._line.inner.write(probe)

    def deliver(self, data: bytes) -> None:
        """What the box said, now or later."""
        loop = asyncio.get_running_loop()
        self._due = max(self._due, loop.time() + self.late)
        if self._due <= loop.time():
            self.garble(data)
        else:
            self._on_the_way.append(data)
            loop.call_at(self._due, lambda: self.garble(self._on_the_way.popleft()))

    def damaged(self, data: bytes) -> bytes:
        """What is left of bytes that pass through."""
        if not self.loses_one_in and not self.doubles_one_in:
            return data
        left = bytearray()
        for byte in data:
            self._bytes += 1
            chance = uniform(self._seed, self._bytes)
            if self.loses_one_in and chance * self.loses_one_in < 1.0:
                continue
            left.append(byte)
            if self.doubles_one_in and (1.0 - chance) * self.doubles_one_in < 1.0:
                left.append(byte)
        return bytes(left)


class _FaultyLine:
    def __init__(self, port: FaultyPort, received: Received, lost: Lost) -> None:
        self._port = port
        self._received = received
        self._lost: Lost | None = lost
        self._unsent = 0
        self.inner: Line | None = None

    def write(self, data: bytes) -> None:
        port = self._port
        if self.inner is None or port.silent:
            return
        if not port.stuck:
            self.inner.write(port.damaged(data))
            return
        self._unsent += len(data)
        if self._unsent > WRITE_LIMIT:
            self._close_inner()
            error = LineLostError(
                f"{port.name} accepts no more bytes", port=port.name, reason="stuck"
            )
            asyncio.get_running_loop().call_soon(self.report, error)

    def close(self) -> None:
        self._lost = None
        self._close_inner()

    def received(self, data: bytes) -> None:
        if not self._port.silent:
            self._port.deliver(self._port.damaged(data))

    def pass_up(self, data: bytes) -> None:
        if data and self._lost is not None:
            self._received(data)

    def report(self, error: LineError) -> None:
        lost, self._lost = self._lost, None
        self.inner = None
        if lost is not None:
            lost(error)

    def _close_inner(self) -> None:
        inner, self.inner = self.inner, None
        if inner is not None:
            inner.close()
