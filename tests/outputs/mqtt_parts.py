"""What MQTT is tested with: a broker in memory, and a real subscriber that notes what it gets."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import replace
from typing import Any

from tests.outputs.homie_validator import Message as Heard
from tests.outputs.house import HIGH, LOW, House
from tests.real_parts import Server, real_part
from vfod.clock import Clock, SystemClock
from vfod.errors import DoorError
from vfod.outputs.mqtt import Mqtt, MqttSettings, Offer
from vfod.outputs.mqtt.broker import Message
from vfod.outputs.mqtt.door import Connects
from vfod.state.model import LinkState


def offer_of(vfo: str, link: LinkState) -> Offer:
    """Bands and sweeps of the house; dial limits that follow the box's own."""
    if link.low is None or link.high is None:
        return Offer(
            low=LOW,
            high=HIGH,
            bands=("41m", "31m"),
            sweeps=("evening", "dawn patrol"),
            by_sound=True,
        )
    return Offer(
        low=max(LOW, link.low // 1000 - 455_000),
        high=min(HIGH, link.high // 1000 - 455_000),
        bands=("41m", "31m"),
        sweeps=("evening", "dawn patrol"),
        level_unit="dBm",
        by_sound=True,
    )


def door(
    house: House,
    port: int = 1,
    connects: Connects | None = None,
    settable: bool = True,
    **settings: Any,
) -> Mqtt:
    return Mqtt(
        MqttSettings(host="127.0.0.1", port=port, client_id="vfod-attic", name="Attic", **settings),
        offer_of=lambda vfo, link: replace(offer_of(vfo, link), settable=settable),
        submit=house.submit,
        subscribe=house.subscribe,
        snapshot=house.snapshot,
        tell=house.tell,
        count=house.count,
        clock=house.clock,
        connects=connects,
    )


@contextlib.asynccontextmanager
async def running(mqtt: Mqtt) -> AsyncIterator[None]:
    task = asyncio.create_task(mqtt.run())
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def until(true: Callable[[], bool]) -> None:
    """Let the loop run until something is the case; the test's own limit ends it otherwise."""
    while not true():
        await SystemClock().sleep_until(asyncio.get_running_loop().time() + 0.002)


class MemoryBroker:
    """Keeps what is published, with the time; can be slow, and can fail."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.published: list[tuple[float, Heard]] = []
        #: Seconds that each publication takes.
        self.delay = 0.0
        self.subscribed: list[str] = []
        self._incoming: asyncio.Queue[Message | None] = asyncio.Queue()

    @contextlib.asynccontextmanager
    async def connect(self, topic: str, payload: bytes) -> AsyncIterator["MemoryBroker"]:
        self._incoming = asyncio.Queue()
        yield self

    async def publish(self, topic: str, payload: bytes, *, retain: bool) -> None:
        now = self.clock.monotonic()
        if self.delay:
            await self.clock.sleep_until(now + self.delay)
        heard = Heard(topic=topic, payload=payload, retained=retain, qos=1)
        self.published.append((self.clock.monotonic(), heard))

    async def subscribe(self, topic_filter: str) -> None:
        self.subscribed.append(topic_filter)

    async def messages(self) -> AsyncIterator[Message]:
        while (message := await self._incoming.get()) is not None:
            yield message
        raise DoorError("the broker is gone", reason="lost")

    def send(self, topic: str, payload: str, *, retained: bool = False) -> None:
        self._incoming.put_nowait(Message(topic=topic, payload=payload.encode(), retained=retained))

    def lose(self) -> None:
        self._incoming.put_nowait(None)

    def heard(self) -> list[Heard]:
        return [heard for _, heard in self.published]

    def of(self, path: str) -> list[tuple[float, str]]:
        """When which payloads were published at the end of a topic."""
        return [
            (time, heard.payload.decode())
            for time, heard in self.published
            if heard.topic == f"homie/5/{path}"
        ]


class Listener:
    """mosquitto_sub, which tells the retain flag as it was published."""

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        self._process = process
        self.messages: list[Heard] = []
        #: Whether the subscription has been seen to stand.
        self.stands = False

    async def listen(self) -> None:
        assert self._process.stdout is not None
        async for line in self._process.stdout:
            retained, qos, topic, payload = line.decode().rstrip("\n").split(" ")
            if topic == "test/there":
                self.stands = True
                continue
            self.messages.append(
                Heard(
                    topic=topic,
                    payload=bytes.fromhex(payload),
                    retained=retained == "1",
                    qos=int(qos),
                )
            )

    def values(self) -> dict[str, str]:
        """What stands at the broker, by what follows `homie/5/`."""
        found: dict[str, str] = {}
        for message in self.messages:
            topic = message.topic.removeprefix("homie/5/")
            if message.retained:
                found.pop(topic, None)
                if message.payload:
                    found[topic] = message.payload.decode()
        return found

    def texts(self, topic: str) -> list[str]:
        """All payloads of one topic, in order."""
        return [m.payload.decode() for m in self.messages if m.topic == f"homie/5/{topic}"]


@contextlib.asynccontextmanager
async def listening(broker: Server, *options: str) -> AsyncIterator[Listener]:
    process = await asyncio.create_subprocess_exec(
        real_part("mosquitto_sub"),
        *("-h", broker.host, "-p", str(broker.port), "-V", "5", "--retain-as-published"),
        *("-q", "1", "-t", "homie/5/#", "-t", "test/#", "-F", "%r %q %t %x", *options),
        stdout=asyncio.subprocess.PIPE,
    )
    listener = Listener(process)
    task = asyncio.create_task(listener.listen())
    try:
        # Its own message coming back shows that the subscription stands.
        while not listener.stands:
            await say(broker, "test/there", "1", *options)
        yield listener
    finally:
        if process.returncode is None:
            process.terminate()
        await process.wait()
        await task


async def say(broker: Server, topic: str, payload: str, *options: str) -> None:
    """mosquitto_pub: one message, gone when it returns."""
    process = await asyncio.create_subprocess_exec(
        real_part("mosquitto_pub"),
        *("-h", broker.host, "-p", str(broker.port), "-q", "1", "-t", topic, "-m", payload),
        *options,
    )
    assert 0 == await process.wait()
