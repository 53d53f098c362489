"""The MQTT door: asks, connects, lives through a session, and starts anew when the broker goes."""

import asyncio
import collections
import dataclasses
import itertools
import secrets
import ssl
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass

from vfod.clock import Clock
from vfod.errors import AlreadyRunningError, DoorError
from vfod.outputs.door import Count, Opened, Pauses, Snapshot, Subscribe, keep_open
from vfod.outputs.mqtt import homie
from vfod.outputs.mqtt.broker import Address, Broker, connect
from vfod.outputs.mqtt.devices import NAME, Devices, OfferOf
from vfod.outputs.mqtt.owner import Owner
from vfod.outputs.mqtt.refusals import REFUSED
from vfod.outputs.mqtt.session import Session
from vfod.state import Submit, Tell

#: Makes a connection that leaves a will: its topic and its payload.
Connects = Callable[[str, bytes], AbstractAsyncContextManager[Broker]]

#: Reason of a failure: somebody else has the identifier.
TAKEN = "taken"

#: So many losses within so many seconds, while the broker could be reached again at once each time,
#: are not the network: somebody else comes in with the identifier, who does not answer.
_LOSSES, _LOSSES_WITHIN = 3, 600.0

#: However long a broker was away, everything is right again within five seconds of its return: a
#: try costs a house's network nothing.
_PAUSES = Pauses(limit=3.0)

#: Seconds within which a broker is reached "at once".
_AT_ONCE = 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class MqttSettings:
    """Where the broker is, and as whom this daemon stands there."""

    host: str
    #: The same at every start, and no other daemon's: two with one identifier throw each other out.
    client_id: str
    port: int = 1883
    username: str | None = None
    password: str | None = dataclasses.field(default=None, repr=False)
    tls: ssl.SSLContext | None = None
    #: Id of the root device; those of the VFOs begin with it.
    root: str = "vfod"
    #: What people see as the name of the root device.
    name: str = "vfod"
    #: First level of all topics.
    domain: str = "homie"
    #: What another daemon that wants the identifier is told of this one.
    who: str = "another daemon"


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
        self._state = f"{self._base}/{self._devices.root}/$state"
        self._owner = Owner(settings.client_id, root_state=self._state, who=settings.who)
        self._submit = submit
        self._subscribe = subscribe
        self._snapshot = snapshot
        self._tell = tell
        self._count = count
        self._clock = clock
        self._connects = connects
        self._numbers = itertools.count(1)
        self._lost: collections.deque[float] = collections.deque(maxlen=_LOSSES)

    async def claim(self) -> None:
        """See that no other daemon stands at the broker as this one, before anything is touched.

        Raises AlreadyRunningError. A broker that cannot be asked is the door's later trouble.
        """
        try:
            await self._ask()
        except DoorError as error:
            if error.reason == TAKEN:
                raise AlreadyRunningError(error.message, remedy=error.remedy) from None

    async def run(self) -> None:
        """Serve until cancelled."""
        await keep_open(NAME, self._serve, tell=self._tell, clock=self._clock, pauses=_PAUSES)

    async def _ask(self) -> None:
        if self._connects is not None:
            return
        # At most 23 characters, which every broker takes (MQTT 3.1.1, section 3.1.3.1).
        asking = dataclasses.replace(self._address, client_id=f"vfod-asks-{secrets.token_hex(4)}")
        try:
            who = await self._owner.ask(connect(asking))
        except DoorError as error:
            if error.reason != REFUSED:
                raise
            # It may let in only who is known by name; if not, the door itself is told so next.
            return
        if who is not None:
            raise DoorError(
                f"{who} stands at the MQTT broker {self._address} as {self._address.client_id}",
                remedy="stop it, or give this daemon another name under mqtt",
                reason=TAKEN,
            )

    def _connect(self) -> AbstractAsyncContextManager[Broker]:
        will = homie.LOST.encode()
        if self._connects is not None:
            return self._connects(self._state, will)
        return connect(self._address, will=(self._state, will))

    async def _serve(self, opened: Opened) -> None:
        await self._ask()
        async with self._connect() as broker:
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
                owner=self._owner,
            )
            try:
                await session.run(
                    lambda: opened(f"{self._address}/{self._base}/{self._devices.root}")
                )
            except Exception:
                await self._wonder_why()
                raise

    async def _wonder_why(self) -> None:
        """After a loss: raises DoorError where it was somebody else who took the identifier."""
        try:
            async with asyncio.timeout(_AT_ONCE):
                await self._ask()
        except (DoorError, TimeoutError) as error:
            self._lost.clear()
            if isinstance(error, DoorError) and error.reason == TAKEN:
                raise
            return
        now = self._clock.monotonic()
        self._lost.append(now)
        if len(self._lost) == _LOSSES and now - self._lost[0] <= _LOSSES_WITHIN:
            raise DoorError(
                f"the MQTT broker {self._address} throws {self._address.client_id} out again and "
                "again, and is there itself",
                remedy="see whether another client comes in by that name; give one another name",
                reason=TAKEN,
            )
