"""The raw line to the box on the bench.

It sends any bytes. What comes is taken apart leniently and remembered, so that one bad habit of a
box (a wrong checksum, small letters) fails the one point that is about it and not all of them.
"""

import asyncio
import re
from binascii import crc_hqx
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from vfod.clock import Clock
from vfod.conform.otherwise import DeviationError, PassedOverError
from vfod.device.port import Line, Port
from vfod.errors import LineError, LineLostError, NoReplyError
from vfod.units import format_millihertz

#: What a hand may have to do.
DEEDS = {
    "turn": "turn the knob by a few clicks, away from both ends",
    "spin": "turn the knob fast for about two seconds, then let go",
    "turn-down": "turn the knob down by a few clicks; it stands at the lowest frequency",
    "turn-up": "turn the knob up by a few clicks; it stands at the highest frequency",
    "drain": "lower the supply of the box until it calls the battery low, ten minutes or more"
    " after it did so last",
    "press": "press one button or touched area that does not change the frequency",
    "reset": "reset the box: its button, or its power off and on",
}

#: What a hand did is told within this many seconds: 100 ms (6.5), and a good deal for the way.
_TOLD = 2.0
#: Tries to be understood, and the pause after each: a board that was reset by opening its port is
#: ready within 3 s (7.1), some loaders wait one second longer.
_TRIES = (0.3, 0.7, 1.5, 1.5, 1.5)
#: Longest time for a reply beyond the settle time: much longer than a host waits (7.2); other
#: points judge times, and a machine with other work is late now and then, or stands still a second.
_PATIENCE = 3.0
#: The settle time not yet known (7.2).
_ASSUMED_SETTLE = 1.0

_HEARD = re.compile(
    rb"(?:#([0-9A-Fa-f]+) +|!([0-9]+) +)? *([A-Za-z][A-Za-z0-9]*)((?: +[^ *]+)*)"
    rb"(?: +\*([0-9A-Fa-f]{4}))? *"
)

#: Does a deed; False when it cannot be done here.
Hand = Callable[[str], Awaitable[bool | None]]


def sealed(text: str) -> bytes:
    """A line with its checksum, CRC-16/IBM-3740 (3.6)."""
    body = text.encode("ascii")
    return b"%b *%04X\n" % (body, crc_hqx(body, 0xFFFF))


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One line of the box, without its end; `tag` and `number` as written, `sound` by 3.6."""

    raw: bytes
    at: float
    tag: str
    number: int | None
    word: str
    fields: dict[str, str]
    sound: bool


class Bench:
    """The box at the far end of `port`; `hand` does a deed of DEEDS, None: there is no hand."""

    def __init__(self, port: Port, clock: Clock, *, hand: Hand | None, quick: bool) -> None:
        self.port = port
        self.clock = clock
        self.quick = quick
        self._hand = hand
        self._line: Line | None = None
        self._lost: LineError | None = None
        self._held = b""
        #: Whether nothing came yet on this opening.
        self._is_fresh = True
        self._arrived = asyncio.Event()
        self._replies: list[Heard] = []
        self._tag = 0x5A00
        self._before_hand = 0
        #: All lines of the box, in their order; and bytes outside lines.
        self.heard: list[Heard] = []
        self.events: list[Heard] = []
        self.strays: list[bytes] = []
        #: Lengths of `heard` at which the line was opened; what came between is not known.
        self.openings: set[int] = set()
        self.sent_lines: set[bytes] = set()
        #: What was sent since the last reply was taken, for the report.
        self.sent = b""
        #: From the greeting: millihertz, seconds, words.
        self.low = self.high = self.resolution = 0
        self.settle = _ASSUMED_SETTLE
        self.abilities: frozenset[str] = frozenset()

    async def open(self) -> None:
        """Open the line and wait until the box answers anything.

        Raises what the port raises; NoReplyError when nothing comes.
        """
        self._lost = None
        self._held = b""
        self._is_fresh = True
        self._replies.clear()
        self.openings.add(len(self.heard))
        self._line = await self.port.open(self._received, self._lose)
        if not await self.calm(_TRIES):
            says = f"{self.port.name}: no answer to ping, asked {len(_TRIES)} times"
            raise NoReplyError(says, remedy="look with `vfod doctor`", port=self.port.name)

    def close(self) -> None:
        """Drop the line."""
        if self._line is not None:
            self._line.close()
            self._line = None

    async def calm(self, pauses: tuple[float, ...] = (0.3, 1.0)) -> bool:
        """Forget what is under way, until a ping is answered; whether anything came at all."""
        before = len(self.heard)
        for pause in pauses:
            tag = self.next_tag()
            self.write(b"\n" + sealed(f"#{tag} ping"))
            deadline = self.clock.monotonic() + pause
            while (reply := await self._next(deadline)) is not None:
                if reply.tag.upper() == tag:
                    # Late answers to what came before; boxes in order have none.
                    while await self._next(self.clock.monotonic() + 0.02):
                        pass
                    return True
        return len(self.heard) > before

    def next_tag(self) -> str:
        """Four digits that were not used before."""
        self._tag = (self._tag + 1) & 0xFFFF
        return f"{self._tag:04X}"

    def write(self, data: bytes) -> None:
        """Send bytes as they are. Raises LineError when the line is lost."""
        if self._lost is not None:
            raise self._lost
        if self._line is None:
            raise LineLostError(f"{self.port.name} is closed", port=self.port.name)
        self.sent = data
        self.sent_lines.update(_apart(data))
        self._line.write(data)

    async def reply(self) -> Heard:
        """The next reply, which must come."""
        deadline = self.clock.monotonic() + _PATIENCE + self.settle
        reply = await self._next(deadline)
        if reply is None:
            raise DeviationError("an answer", sent=self.sent, received=None)
        return reply

    async def ask(self, text: str) -> Heard:
        """The reply to a request with a new tag, which it must have."""
        tag = self.next_tag()
        self.write(sealed(f"#{tag} {text}"))
        return self.with_tag(await self.reply(), tag)

    async def ok(self, text: str) -> dict[str, str]:
        """The fields of the answer, which must be ok."""
        reply = await self.ask(text)
        self.must(reply.word == "ok", "ok", reply)
        return reply.fields

    async def refused(self, text: str, code: str) -> Heard:
        """The reply, which must be a refusal with that code and the tag."""
        return self.with_code(await self.ask(text), code)

    async def refused_bare(self, data: bytes, code: str) -> Heard:
        """The reply to these bytes, which must be a refusal with that code and without a tag."""
        self.write(data)
        return self.with_code(self.with_tag(await self.reply(), ""), code)

    def with_tag(self, reply: Heard, tag: str) -> Heard:
        """The reply, which must have that tag, or none for ""."""
        expected = f"a reply with the tag #{tag}" if tag else "a reply without a tag"
        self.must(reply.tag.upper() == tag.upper(), expected, reply)
        return reply

    def with_code(self, reply: Heard, code: str) -> Heard:
        """The reply, which must be a refusal with that code."""
        right = reply.word == "err" and reply.fields.get("code") == code
        self.must(right, f"err code={code}", reply)
        return reply

    async def nothing(self, data: bytes) -> None:
        """Send bytes that must not be answered: the ping after them is answered first."""
        tag = self.next_tag()
        self.write(data)
        sent = self.sent
        self.write(sealed(f"#{tag} ping"))
        self.sent = sent
        reply = await self.reply()
        self.must(reply.tag.upper() == tag, "no answer", reply)

    def must(self, holds: bool, expected: str, reply: Heard | None = None) -> None:
        """Raise DeviationError unless it holds."""
        if not holds:
            raw = None if reply is None else reply.raw
            raise DeviationError(expected, sent=self.sent, received=raw)

    def hertz(self, fields: dict[str, str], key: str) -> int:
        """A frequency in millihertz, in any form that a reader takes (3.1)."""
        text = fields.get(key, "")
        good = re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,3})?", text)
        self.must(good is not None, f"{key}= and hertz", self.heard[-1])
        whole, _, part = text.partition(".")
        return int(whole) * 1000 + int(part.ljust(3, "0"))

    def whole(self, fields: dict[str, str], key: str, most: int, least: int = 0) -> int:
        """A whole number within its limits (4.3)."""
        text = fields.get(key, "")
        good = re.fullmatch(r"-?[0-9]{1,9}" if least < 0 else r"[0-9]{1,9}", text)
        right = good is not None and least <= int(text) <= most
        self.must(right, f"{key}= and {least} to {most}", self.heard[-1])
        return int(text)

    def filled(self, text: str) -> str:
        """A request with {low}, {high}, {below}, {above} put in."""
        return text.format(
            low=format_millihertz(self.low),
            high=format_millihertz(self.high),
            below=format_millihertz(max(self.low - 1, 0)),
            above=format_millihertz(self.high + 1),
        )

    def need_hand(self) -> None:
        """Raises PassedOverError when there is none."""
        if self._hand is None:
            raise PassedOverError("left out by --no-hands")

    async def hand(self, deed: str) -> None:
        """Have a hand do it and wait until it has. Raises PassedOverError when none can."""
        self.need_hand()
        assert self._hand is not None
        self.sent = b""
        self._before_hand = len(self.events)
        if await self._hand(deed) is False:
            raise PassedOverError("that could not be done here")

    async def event(self, word: str) -> Heard:
        """The first event with that word since a hand began."""
        deadline = self.clock.monotonic() + _TOLD
        while True:
            for event in self.events[self._before_hand :]:
                if event.word == word:
                    return event
            if not await self._more(deadline):
                raise DeviationError(f"an event: {word}", sent=b"", received=None)

    async def pause(self, seconds: float) -> None:
        """Wait, and listen meanwhile."""
        await self.clock.sleep_until(self.clock.monotonic() + seconds)

    # --- the bytes ------------------------------------------------------------------------------

    async def _next(self, deadline: float) -> Heard | None:
        while not self._replies:
            if not await self._more(deadline):
                return None
        return self._replies.pop(0)

    async def _more(self, deadline: float) -> bool:
        """Whether something came until then."""
        if self._lost is not None:
            raise self._lost
        self._arrived.clear()
        try:
            async with asyncio.timeout_at(deadline):
                await self._arrived.wait()
        except TimeoutError:
            return False
        return True

    def _lose(self, error: LineError) -> None:
        self._lost = error
        self._arrived.set()

    def _received(self, data: bytes) -> None:
        *lines, self._held = _apart(self._held + data)
        for raw in lines:
            # The first piece may be the rest of a line that began before the port was opened.
            if self._is_fresh and raw[:1] not in (b"#", b"!"):
                self.strays.append(raw)
            elif raw.strip(b" "):
                self._take(raw)
            self._is_fresh = False
        self._arrived.set()

    def _take(self, raw: bytes) -> None:
        match = _HEARD.fullmatch(raw)
        # What we sent comes back only by an echo: no reply has the bytes of a request, and the
        # replies among what we sent have tags that we do not use.
        if match is None or raw in self.sent_lines:
            self.strays.append(raw)
            return
        tag, number, word, rest, check = match.groups()
        is_event = number is not None
        if not is_event and word.lower() not in (b"ok", b"err"):
            self.strays.append(raw)
            return
        body = raw[: raw.rindex(b" *")] if check else raw
        pairs = [field.partition("=") for field in rest.decode("latin-1").split()]
        heard = Heard(
            raw=raw,
            at=self.clock.monotonic(),
            tag=(tag or b"").decode(),
            number=int(number) if is_event else None,
            word=word.decode().lower(),
            fields={key: value for key, _, value in pairs},
            sound=check is not None and int(check, 16) == crc_hqx(body, 0xFFFF),
        )
        self.heard.append(heard)
        (self.events if is_event else self._replies).append(heard)


def _apart(data: bytes) -> list[bytes]:
    """Lines, and what follows the last; a mark begins one wherever it stands (2.5)."""
    return re.split(rb"[\r\n]|(?=[#!])", data)
