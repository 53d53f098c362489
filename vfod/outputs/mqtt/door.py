"""The MQTT door: connects, lives through a session, and starts anew when the broker goes."""

import itertools
import ssl
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass

from vfod.clock import Clock
from vfod.outputs.door import Count, Opened, Snapshot, Subscribe, keep_open
from vfod.outputs.mqtt import homie
from vfod.outputs.mqtt.broker import Address, Broker, connect
from vfod.outputs.mqtt.devices import NAME, Devices, OfferOf
from vfod.outputs.mqtt.session import Session
from vfod.state import Submit, Tell

#: Makes a connection that leaves a will: its topic and its payload.
Connects = Callable[[str, bytes], AbstractAsyncContextManager[Broker]]


@dataclass(frozen=True, kw_only=True, slots=True)
class MqttSettings:
    """Where the broker is, and as whom this daemon stands there."""

    host: str
    #: The same at every start, and no other daemon's: two with one identifier throw each other out.
    client_id: str
    port: int = 1883
    username: str | None = None
    password: str | None = None
    tls: ssl.SSLContext | None = None
    #: Id of the root device; those of the VFOs begin with it.
    root: str = "vfod"
    #: What people see as the name of the root device.
    name: str = "vfod"
    #: First level of all topics.
    domain: str = "homie"


class Mqtt:
    """The door itself."""

    def __init__(
        self,
        settings: MqttSettings,
        *,
        offer_of: OfferOf,
        submit: Submit,
        subscribe: Subscribe,
        snapshot: Snapshot,
        tell: Tell,
        count: Count,
        clock: Clock,
        connects: Connects | None = None,
    ) -> None:
        self._address = Address(
            host=settings.host,
            client_id=settings.client_id,
            port=settings.port,
            username=settings.username,
            password=settings.password,
            tls=settings.tls,
        )
        self._base = f"{settings.domain}/{homie.VERSION}"
        self._devices = Devices(root=settings.root, name=settings.name, offer_of=offer_of)
        self._submit = submit
        self._subscribe = subscribe
        self._snapshot = snapshot
        self._tell = tell
        self._count = count
        self._clock = clock
        self._connects = connects or self._connect
        self._numbers = itertools.count(1)

    async def run(self) -> None:
        """Serve until cancelled."""
        await keep_open(NAME, self._serve, tell=self._tell, clock=self._clock)

    def _connect(self, topic: str, payload: bytes) -> AbstractAsyncContextManager[Broker]:
        return connect(self._address, will=(topic, payload))

    async def _serve(self, opened: Opened) -> None:
        will = f"{self._base}/{self._devices.root}/$state"
        async with self._connects(will, homie.LOST.encode()) as broker:
            session = Session(
                broker,
                base=self._base,
                devices=self._devices,
                submit=self._submit,
                subscribe=self._subscribe,
                snapshot=self._snapshot,
                count=self._count,
                clock=self._clock,
                numbers=self._numbers,
            )
            await session.run(lambda: opened(f"{self._address}/{self._base}/{self._devices.root}"))
