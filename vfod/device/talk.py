"""One question and its answer over one line: tags, repeats, time limits.

Silence and noise are told apart: a try after which nothing came is a miss, and a few of them are
the end. When something of the box came and could not be read, the line is bad and the box is
there, so the question is put again without a count, for as long as noise may last.

Nothing here knows what the questions are for. What the box says by itself is handed on in the
order of the line, but what followed an answer only after the one who asked has got that answer.
"""

import asyncio
from collections.abc import Callable, Sequence

from vfod.clock import Clock
from vfod.device.greeting import refusal
from vfod.device.port import Line, Port
from vfod.device.tally import Tally
from vfod.device.timing import BUSY_LIMIT, BUSY_PAUSE
from vfod.errors import LineError, NoReplyError
from vfod.wire.host import HostSession
from vfod.wire.host import Received as Item
from vfod.wire.messages import (
    Answered,
    Code,
    Event,
    Missed,
    Refused,
    Request,
    Stray,
    StrayReason,
)
from vfod.wire.timing import ANSWER_WITHIN, ASSUMED_SETTLE, MISSES, NOISE_LIMIT, REPLY_TIMEOUT
from vfod.wire.verbs import VERB_OF_REQUEST

_TRY_LATER = (Code.BUSY, Code.CHECKSUM)

#: What may have been an answer before the line damaged it.
_DAMAGED = (
    StrayReason.CHECKSUM,
    StrayReason.CUT,
    StrayReason.UNPRINTABLE,
    StrayReason.OVERLONG,
)


class Talk:
    """A line and what is said on it, until `error` is set.

    `heard` is called on the loop with events, with Missed when some were lost, and with None when
    the line is lost or the box told something unknown. One exchange at a time: whoever calls sees
    to that.
    """

    def __init__(
        self,
        port: Port,
        clock: Clock,
        first_tag: int,
        heard: Callable[[Event | Missed | None], None],
        tally: Tally,
    ) -> None:
        self._port = port
        self._clock = clock
        self._session = HostSession(first_tag)
        self._heard = heard
        self._tally = tally
        self._line: Line | None = None
        #: Why the line is no longer there.
        self.error: LineError | None = None
        #: Time within which the box settles, seconds; it says so in its greeting.
        self.settle = ASSUMED_SETTLE
        #: When the box last answered.
        self.answered_at = clock.monotonic()
        #: Whether the last answer may be older than an event that was handed on before it.
        self.outdated = False
        self._waiter: asyncio.Future[None] | None = None
        #: The reply of the open question until the one who asked has taken it.
        self._reply: Answered | Refused | None = None
        #: Times the open question was put, and whether its last answer may have come damaged.
        self._tries = 0
        self._damaged = False
        #: Ends the wait for the answer, unless that comes first.
        self._timer: asyncio.TimerHandle | None = None
        #: Whether anything sound was ever answered; before that, noise may be another device's.
        self._is_ours = False
        self._put_at = 0.0
        self._events = 0
        self._sample = b""

    async def start(self) -> None:
        """Open the line; raises what the port raises."""
        self._line = await self._port.open(self._received, self.lose)
        self.raise_if_lost()
        # Ends the half line that another program may have left.
        self._line.write(b"\n")

    def lose(self, error: LineError) -> None:
        """Drop the line for this reason, unless it is lost already."""
        if self.error is None:
            self.error = error
            if self._line is not None:
                self._line.close()
            _wake(self._waiter)
            self._heard(None)

    def raise_if_lost(self) -> None:
        """Raise the reason for which the line is lost, if it is."""
        if self.error is not None:
            raise self.error

    async def exchange(self, request: Request, pauses: Sequence[float] = ()) -> Answered:
        """The answer to a question, put again after each pause, and while the box is busy.

        Raises a RefusedError when the box refuses and a LineError when the line is lost, which it
        is when no answer comes. May be cancelled: a late answer is never taken for another's.
        """
        began = self._clock.monotonic()
        pauses = pauses or [REPLY_TIMEOUT + self.settle] * MISSES
        result = "lost"
        try:
            while True:
                reply = await self._put(request, pauses)
                now = self._clock.monotonic()
                if isinstance(reply, Answered):
                    result = "ok"
                    return reply
                if reply.code not in _TRY_LATER or now > began + self.settle + BUSY_LIMIT:
                    result = reply.code
                    raise refusal(request, reply)
                await self._clock.sleep_until(now + BUSY_PAUSE)
        except asyncio.CancelledError:
            result = "cancelled"
            raise
        finally:
            seconds = self._clock.monotonic() - began
            self._tally.measured(VERB_OF_REQUEST[type(request)].word, seconds, result)

    def hurry(self) -> None:
        """Put the open question again now instead of later: the box could not have read it."""
        self._damaged = True
        # What is never read is not asked for faster than a box must answer.
        self._end_wait(0.0 if self._tries == 1 else ANSWER_WITHIN)

    async def _put(self, request: Request, pauses: Sequence[float]) -> Answered | Refused:
        self.raise_if_lost()
        events = self._events
        self.outdated = False
        self._sample = b""
        give_up = self._clock.monotonic() + max(sum(pauses), NOISE_LIMIT)
        self._tries, misses = 1, 0
        self._write(self._session.ask(request))
        try:
            while True:
                self._damaged = False
                left = give_up - self._clock.monotonic()
                await self._wait(min(pauses[misses], left))
                now = self._clock.monotonic()
                if self._reply is not None:
                    self._is_ours = True
                    self.answered_at = now
                    self.outdated = self._tries > 1 and events != self._events
                    return self._reply
                self.raise_if_lost()
                misses += not self._damaged
                if misses == len(pauses) or now >= give_up:
                    break
                self._tries += 1
                self._tally.retries += 1
                self._write(self._session.again())
        finally:
            self._reply = None
            self._session.drop()
        error = self._silence(request)
        self.lose(error)
        raise error

    async def _wait(self, seconds: float) -> None:
        """Until a reply is there, the line is lost or the time is over."""
        loop = asyncio.get_running_loop()
        self._waiter = loop.create_future()
        self._put_at = loop.time()
        self._timer = loop.call_later(seconds, _wake, self._waiter)
        try:
            await self._waiter
        finally:
            self._timer.cancel()
            self._timer = self._waiter = None

    def _end_wait(self, seconds: float) -> None:
        """Wait no longer than so many seconds after the question was put."""
        if self._timer is not None:
            at = min(self._put_at + seconds, self._timer.when())
            self._timer.cancel()
            self._timer = asyncio.get_running_loop().call_at(at, _wake, self._waiter)

    def _write(self, data: bytes) -> None:
        if self._line is not None:
            self._line.write(data)

    def _received(self, data: bytes) -> None:
        for item in self._session.receive(data):
            if isinstance(item, Answered | Refused):
                self._reply = item
                _wake(self._waiter)
            elif self._reply is not None:
                # Waking the one who asked was scheduled before this, and so comes first.
                asyncio.get_running_loop().call_soon(self._take, item)
            else:
                self._take(item)

    def _take(self, item: Item) -> None:
        if self.error is not None:
            return
        if isinstance(item, Stray):
            self._tally.strays[item.reason] += 1
            self._sample = item.line
            if item.reason is StrayReason.RESEND:
                self.hurry()
            elif item.reason in _DAMAGED and self._is_ours:
                # A sound answer may still be on its way behind it.
                self._damaged = True
                self._end_wait(ANSWER_WITHIN)
            elif item.reason is StrayReason.UNKNOWN_EVENT:
                # It may have been by a hand, which only a reply tells.
                self._heard(None)
        elif not isinstance(item, Answered | Refused):
            self._events += 1
            self._heard(item)

    def _silence(self, request: Request) -> NoReplyError:
        name, verb = self._port.name, VERB_OF_REQUEST[type(request)].word
        says = f"{name}: no answer to {verb}, asked {self._tries} times"
        if self._sample:
            text = self._sample.decode("ascii", "backslashreplace")
            return NoReplyError(
                f"{says}; what came instead ended with {text!r}",
                remedy="check that the VFO hangs on this port and that the speed is right",
                port=name,
            )
        return NoReplyError(says, remedy="check that the VFO is switched on", port=name)


def _wake(waiter: asyncio.Future[None] | None) -> None:
    if waiter is not None and not waiter.done():
        waiter.set_result(None)
