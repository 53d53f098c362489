"""Devices of ours that are no more: a VFO that left the configuration is taken away at the broker.

What is retained stays there for ever, so a household would go on to show a VFO that was renamed or
sold. Only what says of itself that this root device is its root is removed, the state first, as the
convention wants it.
"""

import json
from collections.abc import Callable, Container

from vfod.outputs.mqtt.broker import Broker, Message


class Leftovers:
    """Of one connection; `known` gives the ids of the devices that there are."""

    def __init__(
        self, broker: Broker, *, base: str, root: str, known: Callable[[], Container[str]]
    ) -> None:
        self._broker = broker
        self._base = base
        self._root = root
        self._known = known
        #: What is retained of devices that may be ours, and those that are.
        self._topics: dict[str, set[str]] = {}
        self._ours: set[str] = set()

    async def look(self) -> None:
        """Ask the broker for what lies there; the answers are for `take`."""
        await self._broker.subscribe(f"{self._base}/+/$state")

    async def take(self, message: Message) -> None:
        """Look at what came, and remove it where it is a leftover."""
        device, _, path = message.topic.removeprefix(f"{self._base}/").partition("/")
        if not (message.retained and message.payload and device.startswith(f"{self._root}-")):
            return
        if device in self._known():
            return
        if device not in self._topics:
            self._topics[device] = set()
            await self._broker.subscribe(f"{self._base}/{device}/#")
        self._topics[device].add(message.topic)
        if path == "$description" and self._is_root_of(message.payload):
            self._ours.add(device)
        if device in self._ours:
            await self._remove(device)

    def _is_root_of(self, description: bytes) -> bool:
        try:
            found = json.loads(description)
        except ValueError:
            return False
        return isinstance(found, dict) and found.get("root") == self._root

    async def _remove(self, device: str) -> None:
        state = f"{self._base}/{device}/$state"
        for topic in sorted(self._topics[device], key=lambda topic: topic != state):
            await self._broker.publish(topic, b"", retain=True)
        self._topics[device].clear()
