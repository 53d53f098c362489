"""Keeps a broker in line with what should stand there.

What was sent is remembered, what should stand there is handed in, and the difference is published:
the newest value of each topic and never a queue, however slow the broker is. With a new connection
the memory is empty, so everything is sent again and nobody has to ask for it.
"""

from collections.abc import Sequence

from vfod.clock import Clock
from vfod.outputs.mqtt import homie
from vfod.outputs.mqtt.broker import Broker
from vfod.outputs.mqtt.homie import Device, Shown

#: Seconds between two values of a topic that a sweep changes: what a display can show, and what a
#: memory card at the other end stands.
PACE = 1.0


class Publisher:
    """For one connection; `base` is what all topics begin with."""

    def __init__(self, broker: Broker, *, base: str, clock: Clock) -> None:
        self._broker = broker
        self._base = base
        self._clock = clock
        self._sent: dict[str, bytes] = {}
        self._sent_at: dict[str, float] = {}
        self._introduced: dict[str, Device] = {}

    async def update(self, shown: Sequence[Shown]) -> float | None:
        """Publish what has changed and may go now, in the order given.

        Returns when (monotonic) the first of what must wait may go, None where nothing waits.
        """
        due: list[float] = []
        for one in shown:
            if self._introduced.get(one.device.id) == one.device:
                due += await self._refresh(one)
            else:
                await self._introduce(one)
        return min(due, default=None)

    async def begin(self, device: str) -> None:
        """Say that a device is about to be described, with those that belong to it."""
        await self._state(device, homie.INIT)

    async def farewell(self) -> None:
        """Say of every device that it is gone on purpose; the root, described last, comes last."""
        for device in self._introduced:
            await self._state(device, homie.DISCONNECTED)

    async def echo(self, device: str, path: str, payload: bytes) -> None:
        """Say the value of a property that is not retained."""
        await self._broker.publish(f"{self._base}/{device}/{path}", payload, retain=False)

    async def log(self, device: str, level: str, text: str) -> None:
        """Tell whoever listens what went wrong."""
        topic = f"{self._base}/{device}/$log/{level}"
        await self._broker.publish(topic, homie.payload(text), retain=False)

    def forget(self, device: str, path: str) -> None:
        """Let a value be sent again at once, changed or not."""
        self._sent.pop(f"{device}/{path}", None)
        self._sent_at.pop(f"{device}/{path}", None)

    async def _introduce(self, one: Shown) -> None:
        """A description may change only while its device is not ready."""
        id_ = one.device.id
        await self._state(id_, homie.INIT)
        await self._put(f"{id_}/$description", one.device.description())
        for path, text in one.values.items():
            await self._set(f"{id_}/{path}", homie.payload(text))
        if before := self._introduced.get(id_):
            for path in before.properties().keys() - one.device.properties().keys():
                await self._set(f"{id_}/{path}", b"")
        self._introduced[id_] = one.device
        await self._state(id_, one.state)

    async def _refresh(self, one: Shown) -> list[float]:
        waits = []
        now = self._clock.monotonic()
        for path, text in one.values.items():
            topic = f"{one.device.id}/{path}"
            payload = homie.payload(text)
            if payload == self._sent.get(topic):
                continue
            due = self._sent_at.get(topic, now - PACE) + PACE
            if path in one.paced and due > now:
                waits.append(due)
            else:
                await self._put(topic, payload)
        await self._state(one.device.id, one.state)
        return waits

    async def _state(self, device: str, state: str) -> None:
        await self._set(f"{device}/$state", state.encode())

    async def _set(self, topic: str, payload: bytes) -> None:
        if self._sent.get(topic) != payload:
            await self._put(topic, payload)

    async def _put(self, topic: str, payload: bytes) -> None:
        await self._broker.publish(f"{self._base}/{topic}", payload, retain=True)
        self._sent[topic] = payload
        self._sent_at[topic] = self._clock.monotonic()
