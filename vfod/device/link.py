"""A greeted box at the far end of a line, until the line is lost.

A link lives once. It ends with the LineError that `run` raises: the line is gone, the box is
silent, or it was reset and has forgotten what it was told.

Where something the box said by itself got lost, the box is read before any further question is
put, and the reading is passed on in its place, after a Turned if a hand was there. Until then a
tune still carries the number of the last hand that was passed on, so that it cannot cross a turn
of the knob nobody has heard of.
"""

import asyncio
import contextlib
from collections.abc import Callable, Sequence
from typing import overload

from vfod.clock import Clock
from vfod.device.greeting import Greeting, check_version
from vfod.device.port import Port
from vfod.device.talk import Talk
from vfod.device.tally import Tally
from vfod.device.timing import GREETING_PAUSES, PING_AT_LEAST
from vfod.errors import LineError, LineLostError, RefusedError
from vfod.wire.messages import (
    Abilities,
    Alive,
    Answer,
    Answered,
    BatteryLow,
    Booted,
    Can,
    Done,
    Event,
    Identity,
    Limits,
    Missed,
    Mute,
    Output,
    Ping,
    Pressed,
    Range,
    Read,
    Reading,
    Request,
    Select,
    Step,
    Tune,
    Tuned,
    Turned,
    Who,
)
from vfod.wire.timing import PING_EVERY

#: What the box says by itself; and what it was read as when something it said got lost, or when
#: nobody waited for the end of what it was asked to do.
Told = Turned | Pressed | BatteryLow | Reading

#: Questions after which the box may be other than before.
_DEEDS = (Tune, Output, Select, Mute, Step)


class Link:
    """An open line to a greeted box; made by `Link.open`.

    `told` is called on the loop, from the first `ask` or `run` on, in the order of the line.
    """

    def __init__(
        self, port: Port, clock: Clock, first_tag: int, told: Callable[[Told], None], tally: Tally
    ) -> None:
        #: The port's name.
        self.name = port.name
        #: Monotonic time at which `run` last showed life.
        self.last_beat = clock.monotonic()
        self._clock = clock
        self._told = told
        self._tally = tally
        self._talk = Talk(port, clock, first_tag, self._heard, tally)
        self._turn = asyncio.Lock()
        self._greeting: Greeting | None = None
        self._reading: Reading | None = None
        self._boot: int | None = None
        self._hand = 0
        self._last_number = 0
        #: Whether the box may be other than what was passed on says.
        self._behind = False
        #: What is to be passed on once somebody has taken the link over.
        self._held: list[Told] | None = []
        self._pinged_at = clock.monotonic()
        #: Set when `run` has something to do at once.
        self._stirred = asyncio.Event()

    @classmethod
    async def open(
        cls,
        port: Port,
        clock: Clock,
        first_tag: int,
        told: Callable[[Told], None],
        tally: Tally | None = None,
    ) -> "Link":
        """Open the port, greet the box and read it once; patient with a box that only starts.

        Raises what the port raises; NoReplyError when nothing there speaks the protocol;
        LineError with reason "version" or "refused" when the box is of no use.
        """
        link = cls(port, clock, first_tag, told, tally or Tally())
        try:
            await link._talk.start()
            await link._greet()
        except BaseException:
            link.close()
            raise
        return link

    @property
    def greeting(self) -> Greeting:
        """Who the box is, where it can be tuned, what it is able to do."""
        assert self._greeting is not None, "given out greeted only"
        return self._greeting

    @property
    def reading(self) -> Reading:
        """The newest reading of the box."""
        assert self._reading is not None, "given out read only"
        return self._reading

    @property
    def newest_hand(self) -> int:
        """Number of the newest hand event that was passed on: what a tune should carry."""
        return self._hand

    @overload
    async def ask(self, request: Tune) -> Tuned: ...
    @overload
    async def ask(self, request: Read) -> Reading: ...
    @overload
    async def ask(self, request: Ping) -> Alive: ...
    @overload
    async def ask(self, request: Output | Select | Mute | Step) -> Done: ...
    @overload
    async def ask(self, request: Request) -> Answer: ...
    async def ask(self, request: Request) -> Answer:
        """The box's answer; questions wait for each other in the order they came.

        Raises HandError, OutOfRangeError or BoxRefusedError when the box refuses and LineError
        when the line is lost. May be cancelled; the box may have done it all the same, so it is
        then read.
        """
        self._let_go()
        async with self._turn:
            await self._catch_up()
            try:
                answer = (await self._talk.exchange(request)).answer
            except asyncio.CancelledError:
                if isinstance(request, _DEEDS):
                    self._fall_behind()
                raise
            finally:
                if self._talk.outdated:
                    self._fall_behind()
            if isinstance(answer, Reading):
                self._reading = answer
            return answer

    async def run(self) -> None:
        """Watch until the line is lost, and raise the LineError that says why.

        After a reset of the box that is a LineLostError with reason "reset".
        """
        self._let_go()
        while self._talk.error is None:
            self.last_beat = self._clock.monotonic()
            self._stirred.clear()
            if not self._behind and self.last_beat < self._due():
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout_at(self._due()):
                        await self._stirred.wait()
                continue
            async with self._turn:
                await self._catch_up()
                if self._clock.monotonic() >= self._due():
                    await self._ping()
        self._talk.raise_if_lost()

    def close(self) -> None:
        """Drop the line; open questions and `run` end with a LineLostError."""
        self._lose(LineLostError(f"{self.name} was closed here", reason="closed"))

    # --- what the link asks by itself -----------------------------------------------------------

    async def _own(self, request: Request, pauses: Sequence[float] = ()) -> Answered:
        """The answer to a question no sound box refuses; a refusal ends the link."""
        try:
            return await self._talk.exchange(request, pauses)
        except RefusedError as error:
            lost = LineError(f"{self.name}: {error.message}", reason="refused")
            self._lose(lost)
            raise lost from error

    async def _greet(self) -> None:
        identity = (await self._own(Who(), GREETING_PAUSES)).answer
        assert isinstance(identity, Identity)
        check_version(self.name, identity)
        self._boot = identity.boot
        limits = (await self._own(Range(), GREETING_PAUSES)).answer
        abilities = (await self._own(Can(), GREETING_PAUSES)).answer
        assert isinstance(limits, Limits)
        assert isinstance(abilities, Abilities)
        self._greeting = Greeting(identity=identity, limits=limits, abilities=abilities)
        self._talk.settle = limits.settle
        self._behind = True
        await self._catch_up()
        # What was heard until now is in this reading.
        self._held = []

    async def _ping(self) -> None:
        alive = (await self._own(Ping())).answer
        assert isinstance(alive, Alive)
        self._pinged_at = self._clock.monotonic()
        if alive.boot != self._boot:
            self._reset()
            self._talk.raise_if_lost()

    async def _catch_up(self) -> None:
        """Read the box if need be, and pass the reading on."""
        if not self._behind:
            return
        # A counter of the box that went back may be a reset.
        await self._ping()
        while True:
            read = await self._own(Read())
            if not self._talk.outdated:
                break
        assert isinstance(read.answer, Reading)
        self._behind = False
        self._reading = read.answer
        if read.newest_hand not in (0, self._hand):
            # By a button perhaps; what counts is that a hand was there, and where it left off.
            self._pass_on(Turned(frequency=read.answer.frequency, number=read.newest_hand))
        self._hand = read.newest_hand
        self._pass_on(read.answer)

    def _due(self) -> float:
        return min(self._talk.answered_at + PING_EVERY, self._pinged_at + PING_AT_LEAST)

    # --- what comes by itself -------------------------------------------------------------------

    def _heard(self, item: Event | Missed | None) -> None:
        match item:
            case None | Missed():
                self._fall_behind()
            case Booted(boot=boot):
                if self._boot is None:
                    self._talk.hurry()
                elif boot != self._boot:
                    self._reset()
                else:
                    self._fall_behind()
            case _:
                if item.number != self._last_number:
                    self._last_number = item.number
                    self._pass_on(item)

    def _pass_on(self, item: Told) -> None:
        if self._held is not None:
            self._held.append(item)
            return
        if isinstance(item, Turned | Pressed):
            self._hand = item.number
        self._told(item)

    def _let_go(self) -> None:
        held, self._held = self._held, None
        for item in held or ():
            self._pass_on(item)

    def _fall_behind(self) -> None:
        if not self._behind:
            self._behind = True
            self._tally.gaps += 1
        self._stirred.set()

    def _reset(self) -> None:
        self._lose(LineLostError(f"{self.name}: the box was reset", reason="reset"))

    def _lose(self, error: LineError) -> None:
        error.port = error.port or self.name
        self._talk.lose(error)
