"""What waits for the disk: two bounded queues, of events and of observations.

`add` is called by the loop, the rest by whoever writes, which may be another thread.
"""

import collections
import threading

from vfod.events import ChannelObserved, Stamped
from vfod.store.rows import is_kept

#: Observations, and events, that wait for the disk: at two visits a second this bridges an hour
#: and a half in about 5 MB. Then the oldest are dropped and counted.
LIMIT = 10_000
#: Observations in one batch: some milliseconds of work, so that no reader waits for longer.
AT_ONCE = 1000

Batch = list[Stamped]


class Waiting:
    """The queues; the oldest are dropped and counted when one is full."""

    def __init__(self) -> None:
        #: Events and observations that are lost for ever.
        self.dropped = 0
        self._guard = threading.Lock()
        self._events: collections.deque[Stamped] = collections.deque()
        self._observations: collections.deque[Stamped] = collections.deque()
        self._newest = 0
        self._in_hand = 0

    def __len__(self) -> int:
        return len(self._events) + len(self._observations) + self._in_hand

    def add(self, stamped: Stamped) -> None:
        """Queue an event if the journal has a row for it."""
        with self._guard:
            self._newest = stamped.sequence
            if not is_kept(stamped.event):
                return
            queue = self._queue_of(stamped)
            queue.append(stamped)
            if len(queue) > LIMIT:
                queue.popleft()
                self.dropped += 1

    def take(self) -> tuple[Batch, int]:
        """All events and the oldest observations, to be followed by `written` or `give_back`.

        The number is the newest sequence: every event up to it is in this batch or was before.
        """
        with self._guard:
            batch = list(self._events)
            self._events.clear()
            for _ in range(min(AT_ONCE, len(self._observations))):
                batch.append(self._observations.popleft())
            self._in_hand = len(batch)
            return batch, self._newest

    def written(self) -> None:
        """The batch is on the disk."""
        self._in_hand = 0

    def give_back(self, batch: Batch) -> None:
        """The batch could not be written: it waits again, before what came since."""
        with self._guard:
            self._in_hand = 0
            for stamped in reversed(batch):
                queue = self._queue_of(stamped)
                if len(queue) < LIMIT:
                    queue.appendleft(stamped)
                else:
                    self.dropped += 1

    def _queue_of(self, stamped: Stamped) -> collections.deque[Stamped]:
        observed = isinstance(stamped.event, ChannelObserved)
        return self._observations if observed else self._events
