"""What a subscriber at the broker has received: how many messages, and the last of each topic."""

import asyncio
from collections.abc import AsyncIterator

#: The ends of the topics of which the last value is shown; where they hang is the convention's.
SHOWN = ("dial/frequency", "dial/band", "dial/wavelength", "dial/moved-by", "sweep/state")


class Subscriber:
    """Takes lines of a topic, a space and a value, for as long as there are some."""

    def __init__(self, lines: AsyncIterator[str]) -> None:
        self.messages = 0
        self._last: dict[str, str] = {}
        #: Ends when there are no more lines.
        self.task = asyncio.create_task(self._take(lines), name="subscriber")

    async def _take(self, lines: AsyncIterator[str]) -> None:
        async for line in lines:
            topic, _, value = line.partition(" ")
            self.messages += 1
            self._last[topic] = value

    def last(self) -> dict[str, str]:
        """The last values, by the ends of their topics, as far as any came."""
        return {
            end: value
            for end in SHOWN
            for topic, value in self._last.items()
            if topic.endswith(f"/{end}")
        }
