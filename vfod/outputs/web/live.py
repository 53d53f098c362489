"""The state, streamed to pages as server-sent events (WHATWG HTML, section 9.2).

What happens is gathered for a moment and rendered once for all pages. A page that reads too slowly
is not waited for and keeps nothing: when it reads again it is given the whole state, and of what
happened meanwhile as much as is still remembered. The same serves a page that comes back and says
which event it saw last.
"""

import asyncio
import collections
import json
from collections.abc import AsyncIterator, Callable, Container
from dataclasses import dataclass
from typing import Any

from vfod import events as e
from vfod.clock import Clock
from vfod.outputs.door import Snapshot, Subscribe
from vfod.state import State, show

#: Seconds in which what happens is gathered: two of them are well within the tenth of a second in
#: which a hand's change shall be seen, and a sweep of ten visits a second renders twenty times.
GATHER = 0.04

#: Events remembered for pages that come back: an evening of hands and sweeps, without visits.
REMEMBERED = 200

#: Events a new page is shown.
SHOWN = 30

#: Seconds after which a silent stream says that it lives, below the minute of common proxies.
HEARTBEAT = 15.0

#: Pages at the same time.
PAGES = 60

#: What the state does not hold and a page shows all the same, by the name of the VFO.
Beside = Callable[[str], dict[str, Any]]


@dataclass(frozen=True, kw_only=True, slots=True)
class _Message:
    """What all pages that are up to date are sent next; `sequence` is that of its last event."""

    number: int
    sequence: int
    text: bytes


class Live:
    """One subscription, rendered once for every page."""

    def __init__(
        self,
        *,
        subscribe: Subscribe,
        snapshot: Snapshot,
        beside: Beside,
        clock: Clock,
    ) -> None:
        self.pages = 0
        self._subscribe = subscribe
        self._snapshot = snapshot
        self._beside = beside
        self._clock = clock
        self._remembered: collections.deque[dict[str, Any]] = collections.deque(maxlen=REMEMBERED)
        self._gathered: list[dict[str, Any]] = []
        self._touched: set[str] = set()
        self._happened = asyncio.Event()
        self._message = _Message(number=0, sequence=0, text=b"")
        self._following = asyncio.Event()
        self._ended = False

    async def run(self) -> None:
        """Gather and render until cancelled."""
        self._ended = False
        try:
            with self._subscribe() as feed:
                telling = asyncio.create_task(self._tell_pages(), name="live pages")
                try:
                    async for stamped, state in feed:
                        self._take(stamped, state)
                finally:
                    telling.cancel()
        finally:
            self.end()

    def end(self) -> None:
        """Let every page go."""
        self._ended = True
        self._following.set()

    def _take(self, stamped: e.Stamped, state: State) -> None:
        told = _worth_telling(stamped, state)
        if told is not None:
            self._remembered.append(told)
            self._gathered.append(told)
        self._touched.add(stamped.vfo)
        self._happened.set()

    async def _tell_pages(self) -> None:
        while True:
            await self._happened.wait()
            self._happened.clear()
            state, number = self._snapshot(), self._message.number + 1
            text = b""
            if self.pages:
                text = self._render(state, self._touched, self._gathered, whole=False)
            self._touched, self._gathered = set(), []
            self._message = _Message(number=number, sequence=state.sequence, text=text)
            self._following.set()
            self._following = asyncio.Event()
            await self._clock.sleep_until(self._clock.monotonic() + GATHER)

    def _render(
        self, state: State, vfos: Container[str], events: list[dict[str, Any]], *, whole: bool
    ) -> bytes:
        said = {
            "whole": whole,
            "version": state.version,
            "started": state.started,
            "time": self._clock.wall(),
            "zone": state.zone,
            "vfos": {
                name: {**show.vfo_to_plain(vfo, state.place), **self._beside(name)}
                for name, vfo in state.vfos.items()
                if name in vfos
            },
            "troubles": show.daemon_troubles(state),
            "doors": {name: door.up for name, door in state.doors.items()},
            "events": events,
        }
        text = json.dumps(said, separators=(",", ":"), allow_nan=False)
        return f"id: {state.sequence}\ndata: {text}\n\n".encode()

    def _catch_up(self, seen: int | None) -> tuple[int, bytes]:
        """The whole state and its sequence, with what happened since event `seen`, or lately."""
        state = self._snapshot()
        if seen is None or seen > state.sequence:
            events = list(self._remembered)[-SHOWN:]
        else:
            events = [event for event in self._remembered if event["sequence"] > seen]
        return state.sequence, self._render(state, state.vfos, events, whole=True)

    async def stream(self, seen: int | None) -> AsyncIterator[bytes]:
        """What one page is sent, until it goes or the door closes."""
        self.pages += 1
        try:
            yield b"retry: 1000\n\n"
            number = self._message.number
            sent, text = self._catch_up(seen)
            yield text
            while not self._ended:
                following, message = self._following, self._message
                if message.number == number:
                    try:
                        async with asyncio.timeout(HEARTBEAT):
                            await following.wait()
                    except TimeoutError:
                        yield b": still here\n\n"
                elif message.number == number + 1 and message.text:
                    number, sent = message.number, message.sequence
                    yield message.text
                else:
                    number = message.number
                    sent, text = self._catch_up(sent)
                    yield text
        finally:
            self.pages -= 1


def _worth_telling(stamped: e.Stamped, state: State) -> dict[str, Any] | None:
    """An event as a page lists it; None for a sweep's every visit, which the state tells."""
    match stamped.event:
        case e.ChannelObserved() | e.FilterSelected() | e.BoxMeasured() | e.BandEntered():
            return None
        case e.DialTuned(by=by) if by.door is e.Door.SWEEP:
            return None
    answer = show.answer(stamped, state.place)
    del answer["data"]
    return answer
