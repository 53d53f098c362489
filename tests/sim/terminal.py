"""A terminal on a box that knows the protocol from its document only, not from vfod.wire."""

import asyncio
import binascii
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import pytest

from vfod.device.port import Line, Port
from vfod.errors import LineError
from vfod.sim.box import SimBox

#: Longest wait for an answer: far more than a box may take (docs/protocol.md, 7.1), because a busy
#: machine may let it wait for its turn. Whether it is in time is judged where a test measures it.
PATIENCE = 30.0
#: Longest wait for one of the pings of a board that may still be starting.
_STARTING = 2.0
#: After so long without a word nothing more is to come.
QUIET = 0.3


def sealed(text: str) -> bytes:
    """A line with its checksum: CRC-16/IBM-3740 as in paragraph 3.6."""
    body = text.encode("ascii")
    return b"%b *%04X\n" % (body, binascii.crc_hqx(body, 0xFFFF))


@dataclass(frozen=True)
class Reply:
    """A reply or an event taken apart: `head` is its tag or number with the mark."""

    head: str
    word: str
    fields: dict[str, str]
    at: float
    raw: bytes = field(repr=False, default=b"")


class Terminal:
    """Sends lines and collects what comes."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._line: Line | None = None
        self._held = b""
        self._replies: asyncio.Queue[Reply] = asyncio.Queue()
        self._tag = 0x1000
        self.events: list[Reply] = []
        self.lost: list[LineError] = []

    async def open(self, port: Port) -> None:
        self._line = await port.open(self._received, self.lost.append)

    def close(self) -> None:
        if self._line is not None:
            self._line.close()

    def send(self, data: bytes) -> None:
        assert self._line is not None
        self._line.write(data)

    async def answer(self, patience: float = PATIENCE) -> Reply:
        """The next reply; events are put aside."""
        async with asyncio.timeout(patience):
            return await self._replies.get()

    async def ask(self, text: str) -> Reply:
        """The reply to a request with the next tag."""
        tag = self.next_tag()
        self.send(sealed(f"{tag} {text}"))
        reply = await self.answer()
        assert tag == reply.head, reply.raw
        return reply

    async def set_as(self, before: Mapping[str, str]) -> None:
        """Set everything as a reading says that it was."""
        for verb, key, word in (
            ("output", "out", "on"),
            ("select", "sel", "n"),
            ("mute", "mute", "on"),
            ("step", "step", "hz"),
        ):
            if key in before:
                await self.ok(f"{verb} {word}={before[key]}")
        await self.ok(f"tune f={before['f']}")

    async def ok(self, text: str) -> dict[str, str]:
        """The fields of the answer, which must be ok."""
        reply = await self.ask(text)
        assert "ok" == reply.word, reply.raw
        return reply.fields

    async def refusal(self, text: str) -> dict[str, str]:
        """The fields of the answer, which must be a refusal."""
        reply = await self.ask(text)
        assert "err" == reply.word, reply.raw
        return reply.fields

    def next_tag(self) -> str:
        self._tag = (self._tag + 1) & 0xFFFF
        return f"#{self._tag:04X}"

    async def nothing(self) -> None:
        """Fails when a reply comes within a while."""
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(QUIET):
                await self._replies.get()

    async def until(self, true: Callable[[], object]) -> None:
        """Let the loop run until something is the case; the test's own limit ends it otherwise."""
        while not true():
            await self.pause(0.002)

    async def pause(self, seconds: float) -> None:
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._loop.create_future()

    async def settle_down(self) -> None:
        """Wait until a board that was reset by opening its port has started."""
        for _ in range(5):
            self.send(sealed(f"{self.next_tag()} ping"))
            try:
                await self.answer(_STARTING)
                break
            except TimeoutError:
                continue
        await self.pause(QUIET)
        while not self._replies.empty():
            self._replies.get_nowait()

    def _received(self, data: bytes) -> None:
        # Paragraph 2.5: these two begin a new line wherever they stand.
        data = data.replace(b"#", b"\n#").replace(b"!", b"\n!")
        *lines, self._held = (self._held + data).split(b"\n")
        for line in lines:
            reply = self._parse(line)
            if reply is None:
                continue
            if reply.head.startswith("!"):
                self.events.append(reply)
            else:
                self._replies.put_nowait(reply)

    def _parse(self, line: bytes) -> Reply | None:
        """None for what has no right checksum: a banner, noise."""
        body, star, check = line.rpartition(b" *")
        if not star or b"%04X" % binascii.crc_hqx(body, 0xFFFF) != check:
            return None
        assert len(line) <= 119, line
        words = body.decode("ascii").split(" ")
        head = words.pop(0) if words[0][:1] in ("#", "!") else ""
        fields = dict(word.split("=") for word in words[1:])
        return Reply(head, words[0], fields, self._loop.time(), line)


@dataclass(frozen=True)
class Rig:
    """A terminal and the box it hangs on; None when that is a real one."""

    terminal: Terminal
    box: SimBox | None

    @property
    def hand(self) -> SimBox:
        """The simulated box, for a test that needs a hand on it."""
        if self.box is None:
            pytest.skip("needs a hand on the box")
        return self.box
