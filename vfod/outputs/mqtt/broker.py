"""A broker as the rest of this room sees it, and the library behind that.

A new client is made for each connection: one that is used again sends what it had failed to send
before, long after it was true. Everything goes with quality of service 1, since at 0 a broker that
hangs swallows messages without a word.
"""

import asyncio
import contextlib
import logging
import ssl
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from typing import Protocol

import aiomqtt
from aiomqtt.exceptions import MqttConnectError

from vfod.errors import DoorError
from vfod.outputs.mqtt.refusals import refused, untrusted, without_tls

_QOS = 1

#: Seconds until a broker that says nothing is given up, and the will of a dead daemon is sent
#: (one and a half times this): short enough for a household, long enough for a busy network.
_KEEPALIVE = 12

#: Seconds that a single exchange may take.
_TIMEOUT = 5.0

#: Messages that may wait in the library; more are thrown away there.
_INCOMING = 1000

#: The library tells of each loss in several lines of its own; the door says it in one.
_SILENT = logging.getLogger(f"{__name__}.library")
_SILENT.setLevel(logging.CRITICAL + 1)


@dataclass(frozen=True, kw_only=True, slots=True)
class Message:
    """What came; `retained` where it lay at the broker before we subscribed."""

    topic: str
    payload: bytes
    retained: bool = False


class Broker(Protocol):
    """A connection to a broker. Whatever fails raises DoorError."""

    async def publish(self, topic: str, payload: bytes, *, retain: bool) -> None:
        """Return when the broker has it."""
        ...

    async def subscribe(self, topic_filter: str) -> None:
        """Return when the broker has agreed."""
        ...

    def messages(self) -> AsyncIterator[Message]:
        """What comes; ends with DoorError when the connection does."""
        ...


#: Makes a connection for the length of an `async with` block; DoorError where there is none.
Connect = Callable[[], AbstractAsyncContextManager[Broker]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Address:
    """Where the broker is and as whom to come. `client_id` must be this daemon's alone."""

    host: str
    client_id: str
    port: int = 1883
    username: str | None = None
    password: str | None = None
    tls: ssl.SSLContext | None = None

    def __str__(self) -> str:
        return f"{'mqtts' if self.tls else 'mqtt'}://{self.host}:{self.port}"


@contextlib.asynccontextmanager
async def connect(
    address: Address, *, will: tuple[str, bytes] | None = None
) -> AsyncIterator[Broker]:
    """A connection; `will` is the topic and the retained payload that the broker sends for us."""
    client = aiomqtt.Client(
        address.host,
        address.port,
        username=address.username,
        password=address.password,
        tls_context=address.tls,
        identifier=address.client_id,
        will=aiomqtt.Will(will[0], will[1], _QOS, retain=True) if will else None,
        keepalive=_KEEPALIVE,
        timeout=_TIMEOUT,
        max_queued_incoming_messages=_INCOMING,
        logger=_SILENT,
    )
    try:
        with _translated(address, "unreachable"):
            await client.__aenter__()
    except BaseException:
        # The library leaves a connection open at which the broker only keeps silent; to say
        # farewell is what makes it close the descriptor. What it does then stumbles over a
        # connecting that was cancelled, so it is not called.
        client._client.on_disconnect = None
        client._client.disconnect()
        raise
    try:
        yield _Connection(client, address)
    finally:
        # It is over in any case; how it ended has been said.
        with contextlib.suppress(aiomqtt.MqttError):
            await client.__aexit__(None, None, None)


class _Connection:
    """A Broker by aiomqtt."""

    def __init__(self, client: aiomqtt.Client, address: Address) -> None:
        self._client = client
        self._address = address

    async def publish(self, topic: str, payload: bytes, *, retain: bool) -> None:
        with _translated(self._address, "lost"):
            await self._client.publish(topic, payload, qos=_QOS, retain=retain)

    async def subscribe(self, topic_filter: str) -> None:
        with _translated(self._address, "lost"):
            await self._client.subscribe(topic_filter, qos=_QOS)

    async def messages(self) -> AsyncIterator[Message]:
        with _translated(self._address, "lost"):
            async for message in self._client.messages:
                assert isinstance(message.payload, bytes)
                yield Message(
                    topic=str(message.topic),
                    payload=message.payload,
                    retained=message.retain,
                )


@contextlib.contextmanager
def _translated(address: Address, reason: str) -> Iterator[None]:
    """The library's errors as one of ours, and a cancellation as what it is.

    Up to Python 3.11 `asyncio.wait_for`, by which the library waits, forgets a cancellation that
    comes together with what was waited for; a daemon that is told to stop would then live on.
    """
    task = asyncio.current_task()
    assert task is not None
    cancelled = task.cancelling()
    try:
        yield
    except MqttConnectError as error:
        raise refused(str(address), error) from error
    except aiomqtt.MqttError as error:
        # What it was, the library keeps from its callers but not from the traceback.
        cause = error.__context__
        if isinstance(cause, ssl.SSLCertVerificationError):
            raise untrusted(str(address), address.host, cause) from error
        if address.tls and isinstance(cause, ssl.SSLError | ConnectionResetError):
            raise without_tls(str(address), cause) from error
        keeps_silent = reason == "unreachable" and isinstance(cause, TimeoutError)
        hint = "if it wants TLS, write tls under mqtt; " if keeps_silent and not address.tls else ""
        raise DoorError(
            f"the MQTT broker at {address} is {reason}: {error}",
            remedy=f"{hint}it is tried again all the time",
            reason=reason,
        ) from error
    if task.cancelling() > cancelled:
        raise asyncio.CancelledError
