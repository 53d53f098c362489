"""A small box and a line in memory, both of which can be made to misbehave.

Written with the wire's box session only, so that what the link is tested against does not share
its insides with the simulator.
"""

import asyncio
from collections import deque
from collections.abc import Callable

from vfod.device.port import WRITE_LIMIT, Lost, Received
from vfod.errors import LineLostError, PortMissingError
from vfod.wire import messages as m
from vfod.wire.box import Asked, BoxSession

EVERYTHING = frozenset(m.Ability)
LOW, HIGH = 1_000_000_000, 60_000_000_000


def _as_it_is(data: bytes) -> bytes | None:
    return data


def tune(megahertz: float, hand: int | None = None) -> m.Tune:
    return m.Tune(frequency=round(megahertz * 1e9), hand=hand)


class TinyBox:
    """Answers at once, a tune after `settle` seconds. Switches make it a bad one."""

    def __init__(self, *, boot: int = 0xB007, settle: float = 0.0) -> None:
        self.settle = settle
        self.identity = m.Identity(protocol=1, model="tiny", firmware="0.1", serial="T1", boot=boot)
        self.frequency = 10_000_000_000
        #: Every request that was done or refused, in order; a repeated one is here once.
        self.asked: list[m.Request] = []
        #: Takes no notice of anything.
        self.deaf = False
        #: Refuses requests of this type with this code.
        self.refuses: dict[type, str] = {}
        #: What becomes of the bytes it sends; None: nothing.
        self.mangle: Callable[[bytes], bytes | None] = _as_it_is
        self.send: Callable[[bytes], None] = lambda _: None
        self.session = BoxSession(EVERYTHING)

    def feed(self, data: bytes) -> None:
        if self.deaf:
            return
        for asked in self.session.receive(data):
            self.asked.append(asked.request)
            if isinstance(asked.request, m.Tune) and self.settle:
                asyncio.get_running_loop().call_later(self.settle, self._answer, asked)
            else:
                self._answer(asked)
        self.say(self.session.to_send())

    def say(self, data: bytes) -> None:
        """Send bytes, if any are left of them."""
        if data and (left := self.mangle(data)):
            self.send(left)

    def turn(self, frequency: int) -> None:
        """A hand brings the output to `frequency`."""
        self.frequency = frequency
        self.say(self.session.tell(m.Turned(frequency=frequency)))

    def press(self, button: str) -> None:
        self.say(self.session.tell(m.Pressed(button=button)))

    def reset(self, boot: int, *, silently: bool = False) -> None:
        """Start anew, at once."""
        self.session = BoxSession(EVERYTHING)
        self.identity = m.Identity(protocol=1, model="tiny", firmware="0.1", serial="T1", boot=boot)
        if not silently:
            self.say(self.session.tell(m.Booted(boot=boot)))

    def _answer(self, asked: Asked) -> None:
        if asked is not self.session.pending and not isinstance(asked.request, m.Ping):
            return  # It was reset meanwhile.
        code = self.refuses.get(type(asked.request))
        request = asked.request
        if code is None and isinstance(request, m.Tune):
            if self.session.hand_is_newer(request):
                code = "hand"
            elif not LOW <= request.frequency <= HIGH:
                code = "range"
        if code is not None:
            self.say(self.session.refuse(asked, code, "told to", self.frequency))
        else:
            self.say(self.session.answer(asked, self._do(request)))

    def _do(self, request: m.Request) -> m.Answer:
        match request:
            case m.Who():
                return self.identity
            case m.Range():
                return m.Limits(low=LOW, high=HIGH, resolution=1, settle=self.settle)
            case m.Can():
                return m.Abilities(can=EVERYTHING)
            case m.Tune(frequency=frequency):
                self.frequency = frequency
                return m.Tuned(frequency=frequency)
            case m.Read():
                return m.Reading(frequency=self.frequency, level=500)
            case m.Ping():
                return m.Alive(boot=self.identity.boot)
            case _:
                return m.Done()


class MemoryPort:
    """A port to `box` whose bytes take `delay` seconds each way, by one timer for each piece."""

    name = "memory"

    def __init__(self, box: TinyBox, *, delay: float = 0.004) -> None:
        self.box = box
        self.delay = delay
        self.plugged = True
        #: The far end takes no more bytes.
        self.stuck = False
        #: When it was tried to open it.
        self.tried: list[float] = []
        #: What becomes of the bytes the host writes.
        self.damage: Callable[[bytes], bytes] = bytes
        #: All bytes the host wrote.
        self.written = b""
        self._line: _MemoryLine | None = None

    async def open(self, received: Received, lost: Lost) -> "_MemoryLine":
        self.tried.append(asyncio.get_running_loop().time())
        if not self.plugged:
            raise PortMissingError("memory is not there")
        assert self.all_closed, "the old line was left open"
        self._line = _MemoryLine(self, received, lost)
        return self._line

    @property
    def all_closed(self) -> bool:
        return self._line is None or self._line.closed

    def unplug(self) -> None:
        self.plugged = False
        if self._line is not None:
            self._line.fail("unplugged", "lost")


class _MemoryLine:
    def __init__(self, port: MemoryPort, received: Received, lost: Lost) -> None:
        self._port = port
        self._received = received
        self._lost: Lost | None = lost
        self._loop = asyncio.get_running_loop()
        self._unsent = 0
        # Timers of the same moment come in any order; bytes do not.
        self._down: deque[bytes] = deque()
        self._up: deque[bytes] = deque()
        self.closed = False
        port.box.send = self._arrive

    def write(self, data: bytes) -> None:
        if self.closed:
            return
        self._port.written += data
        if self._port.stuck:
            self._unsent += len(data)
            if self._unsent > WRITE_LIMIT:
                self.fail("it accepts no more bytes", "stuck")
            return
        self._down.append(self._port.damage(data))
        self._loop.call_later(self._port.delay, lambda: self._port.box.feed(self._down.popleft()))

    def close(self) -> None:
        self._lost = None
        self.closed = True

    def fail(self, message: str, reason: str) -> None:
        if not self.closed:
            self.closed = True
            self._loop.call_soon(self._report, LineLostError(message, reason=reason))

    def _arrive(self, data: bytes) -> None:
        self._up.append(data)
        self._loop.call_later(self._port.delay, self._deliver)

    def _deliver(self) -> None:
        data = self._up.popleft()
        if not self.closed:
            self._received(data)

    def _report(self, error: LineLostError) -> None:
        if self._lost is not None:
            self._lost(error)
