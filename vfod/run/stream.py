"""The one stream: stamp, derive, apply, fan out.

An event is stamped once, here and nowhere else; further events are derived from it by pure
functions listed in the composition root; each is applied to the state; and every subscriber gets
the same pairs in the same order. Nothing outside can stop it: each subscription is a bounded queue
with a stated answer when it is full.
"""

import asyncio
import collections
import contextlib
import enum
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from typing import Protocol

from vfod.clock import Clock
from vfod.events import ChannelObserved, ClockDoubted, ClockTrusted, Event, Stamped
from vfod.state import State, apply, initial

#: What happened and the state before it → what follows from it.
Derive = Callable[[State, Stamped], Sequence[Event]]

Pair = tuple[Stamped, State]


class Emit(Protocol):
    """How a part of one VFO says what happened there, and by which request."""

    def __call__(self, event: Event, cause: str | None = None, /) -> Stamped:
        """Emit."""
        ...


class Overflow(enum.Enum):
    """What a subscription does when its queue is full."""

    #: Drop the oldest observation, or the oldest event when there is none, and count it.
    DROP_OLDEST = enum.auto()
    #: Keep only the newest pair; the state in it says all that a viewer needs.
    KEEP_LATEST = enum.auto()


class Subscription:
    """A bounded queue of pairs; iterate over it until it is closed."""

    def __init__(self, name: str, limit: int, overflow: Overflow) -> None:
        self.name = name
        self.dropped = 0
        self._limit = limit
        self._overflow = overflow
        self._pairs: collections.deque[Pair] = collections.deque()
        self._filled = asyncio.Event()
        self._closed = False

    def __len__(self) -> int:
        return len(self._pairs)

    def put(self, pair: Pair) -> None:
        """Add a pair; never waits, never fails."""
        if self._closed:
            return
        if len(self._pairs) >= self._limit:
            self._make_room()
        self._pairs.append(pair)
        self._filled.set()

    def _make_room(self) -> None:
        if self._overflow is Overflow.KEEP_LATEST:
            self.dropped += len(self._pairs)
            self._pairs.clear()
            return
        self.dropped += 1
        for index, (stamped, _) in enumerate(self._pairs):
            if isinstance(stamped.event, ChannelObserved):
                del self._pairs[index]
                return
        self._pairs.popleft()

    def close(self) -> None:
        """Let the reader finish what is queued, then end."""
        self._closed = True
        self._filled.set()

    def __aiter__(self) -> AsyncIterator[Pair]:
        return self

    async def __anext__(self) -> Pair:
        while not self._pairs:
            if self._closed:
                raise StopAsyncIteration
            self._filled.clear()
            await self._filled.wait()
        return self._pairs.popleft()


class Stream:
    """Stamps events and hands them on; holds the current state."""

    def __init__(self, clock: Clock, vfos: list[str], derive: Sequence[Derive] = ()) -> None:
        self._clock = clock
        self._derive = tuple(derive)
        self._subscriptions: list[Subscription] = []
        #: What queues that are gone had lost.
        self._dropped: collections.Counter[str] = collections.Counter()
        self.state = initial(vfos)

    def subscribe(
        self, name: str, *, limit: int = 10_000, overflow: Overflow = Overflow.DROP_OLDEST
    ) -> Subscription:
        """A queue of all that happens from now on."""
        subscription = Subscription(name, limit, overflow)
        self._subscriptions.append(subscription)
        return subscription

    def unsubscribe(self, subscription: Subscription) -> None:
        """End a subscription; its reader comes to an end."""
        subscription.close()
        if subscription in self._subscriptions:
            self._subscriptions.remove(subscription)
            self._dropped[subscription.name] += subscription.dropped

    @contextlib.contextmanager
    def following(
        self, name: str, *, limit: int = 10_000, overflow: Overflow = Overflow.DROP_OLDEST
    ) -> Iterator[Subscription]:
        """A subscription for the length of a `with` block."""
        subscription = self.subscribe(name, limit=limit, overflow=overflow)
        try:
            yield subscription
        finally:
            self.unsubscribe(subscription)

    @property
    def subscriptions(self) -> tuple[Subscription, ...]:
        """Those alive."""
        return tuple(self._subscriptions)

    def queues(self) -> dict[str, tuple[int, int]]:
        """By the name of who reads: how many pairs wait for it, and how many it has lost so far."""
        found = {name: (0, lost) for name, lost in self._dropped.items()}
        for one in self._subscriptions:
            waiting, lost = found.get(one.name, (0, 0))
            found[one.name] = waiting + len(one), lost + one.dropped
        return found

    def emit(self, event: Event, *, vfo: str = "", cause: str | None = None) -> Stamped:
        """Let it have happened: returns its envelope after everybody was handed it.

        What is derived from it follows in the same breath, depth first, with the same cause.
        """
        before = self.state
        stamped = Stamped(
            sequence=before.sequence + 1,
            time=self._clock.wall(),
            vfo=vfo,
            event=event,
            cause=cause,
            doubted=isinstance(event, ClockDoubted)
            or (before.clock_doubted != "" and not isinstance(event, ClockTrusted)),
        )
        self.state = apply(before, stamped)
        pair = (stamped, self.state)
        for subscription in self._subscriptions:
            subscription.put(pair)
        for derive in self._derive:
            for further in derive(before, stamped):
                self.emit(further, vfo=vfo, cause=cause)
        return stamped

    def close(self) -> None:
        """End all subscriptions after what is queued."""
        for subscription in self._subscriptions:
            subscription.close()
