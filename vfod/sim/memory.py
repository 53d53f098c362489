"""A line in memory between a link and a simulated box: a vfod.device.port.Port for tests.

The bytes take as long as at the baud rate, by one timer for each piece, so a night on a loop whose
clock jumps costs little. It can be unplugged and plugged in again.
"""

import asyncio

from vfod.device.port import Line, Lost, Received
from vfod.errors import LineLostError, PortBusyError, PortMissingError
from vfod.sim.box import SimBox
from vfod.sim.pace import BAUD, Pace


class MemoryPort:
    """The port that `box` hangs on; `delay` is added to each way, seconds."""

    def __init__(
        self, box: SimBox, *, name: str = "memory", baud: int = BAUD, delay: float = 0.0
    ) -> None:
        self.box = box
        self._name = name
        self._baud = baud
        self._delay = delay
        self._plugged = True
        self._line: _MemoryLine | None = None

    @property
    def name(self) -> str:
        """See Port."""
        return self._name

    async def open(self, received: Received, lost: Lost) -> Line:
        """See Port."""
        if not self._plugged:
            raise PortMissingError(f"{self._name} is not there", port=self._name)
        if self._line is not None:
            raise PortBusyError(f"{self._name} is open already", port=self._name)
        self._line = _MemoryLine(self, received, lost, self._baud, self._delay)
        return self._line

    def unplug(self) -> None:
        """Pull the cable: an open line is lost, the port is gone."""
        self._plugged = False
        if self._line is not None:
            self._line.lose(LineLostError(f"{self._name} was unplugged", port=self._name))

    def plug(self) -> None:
        """Put the cable back; the box has kept running."""
        self._plugged = True

    def released(self) -> None:
        """The open line is closed."""
        self._line = None
        self.box.connect(None)


class _MemoryLine:
    def __init__(
        self, port: MemoryPort, received: Received, lost: Lost, baud: int, delay: float
    ) -> None:
        self._port = port
        self._lost: Lost | None = lost
        self._open = True
        self._down = Pace(port.box.feed, baud=baud, delay=delay)
        self._up = Pace(received, baud=baud, delay=delay)
        port.box.connect(self._up.send)

    def write(self, data: bytes) -> None:
        self._down.send(data)

    def close(self) -> None:
        self._lost = None
        self._cut()

    def lose(self, error: LineLostError) -> None:
        self._cut()
        asyncio.get_running_loop().call_soon(self._report, error)

    def _cut(self) -> None:
        if self._open:
            self._open = False
            self._down.cut()
            self._up.cut()
            self._port.released()

    def _report(self, error: LineLostError) -> None:
        lost, self._lost = self._lost, None
        if lost is not None:
            lost(error)
