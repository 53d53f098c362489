"""One attempt to greet whatever hangs on a port, with an ear for what else speaks there."""

import asyncio
from collections.abc import Awaitable, Callable

from vfod.clock import Clock
from vfod.device.diagnosis import Sounding
from vfod.device.port import Line, Port
from vfod.device.timing import GREETING_PAUSES
from vfod.errors import LineError
from vfod.wire.host import HostSession, agreed_version
from vfod.wire.messages import Answered, Can, Identity, Range, Refused, Request, Stray, Who

#: Speeds tried after the one that was asked for, the usual ones first.
SPEEDS = (115_200, 9600, 57_600, 38_400, 19_200, 230_400)

#: Pauses at a speed that is only a guess: one question, and one after a board has started.
GUESS_PAUSES = (0.4, 1.6)

#: Bytes kept of what is nothing of ours.
_SAMPLE = 120


async def sound(
    port: Port,
    clock: Clock,
    *,
    baud: int,
    first_tag: int,
    guess: bool = False,
    meanwhile: Callable[[], Awaitable[None]] | None = None,
) -> Sounding:
    """Greet the box at `port` and close it again; raises what the port raises at opening.

    `meanwhile` is done after the greeting, while the port is still open.
    """
    attempt = _Attempt(clock, first_tag)
    line = await port.open(attempt.received, attempt.lose)
    try:
        line.write(b"\n")
        result = await attempt.greet(line, baud, GUESS_PAUSES if guess else GREETING_PAUSES)
        if meanwhile is not None:
            await meanwhile()
        return result
    finally:
        line.close()


class _Attempt:
    def __init__(self, clock: Clock, first_tag: int) -> None:
        self._clock = clock
        self._session = HostSession(first_tag)
        #: At most one: one question is open at a time.
        self._replies: list[Answered | Refused] = []
        self._stirred = asyncio.Event()
        self._lost = False
        self._ours = False
        self._bytes = b""

    async def greet(self, line: Line, baud: int, pauses: tuple[float, ...]) -> Sounding:
        who = await self._ask(line, Who(), pauses)
        if not isinstance(who, Answered) or not isinstance(who.answer, Identity):
            return Sounding(baud=baud, ours=self._ours, sample=self._bytes)
        identity = who.answer
        greeted = agreed_version(identity) is not None
        for question in (Range(), Can()):
            greeted = greeted and isinstance(await self._ask(line, question, pauses), Answered)
        return Sounding(
            baud=baud,
            ours=True,
            greeted=greeted,
            versions=(identity.oldest, identity.protocol),
            name=f"{identity.model} {identity.firmware}, serial number {identity.serial}",
        )

    async def _ask(
        self, line: Line, request: Request, pauses: tuple[float, ...]
    ) -> Answered | Refused | None:
        self._replies.clear()
        data = self._session.ask(request)
        for pause in pauses:
            line.write(data)
            deadline = self._clock.monotonic() + pause
            while not self._replies and not self._lost:
                self._stirred.clear()
                try:
                    async with asyncio.timeout_at(deadline):
                        await self._stirred.wait()
                except TimeoutError:
                    break
            if self._replies or self._lost:
                break
            data = self._session.again()
        return self._replies[0] if self._replies else None

    def received(self, data: bytes) -> None:
        self._bytes = (self._bytes + data)[-_SAMPLE:]
        for item in self._session.receive(data):
            self._ours = self._ours or not isinstance(item, Stray)
            if isinstance(item, Answered | Refused):
                self._replies.append(item)
        self._stirred.set()

    def lose(self, error: LineError) -> None:
        self._lost = True
        self._stirred.set()
