"""From the box's answer to a nudge until a subscriber of a real broker has the new dial.

The box is simulated in this process, so that both moments are told by one clock; the daemon is a
process of its own. In turns a bare message goes through the same broker: what some of these take
longer than the quickest is the machine's, and is taken off, down to the median at most.
"""

import asyncio
import json
import statistics
import time
from collections.abc import Callable
from pathlib import Path

import aiomqtt

from tests.bench.figures import Bench, Figure, Promise, milliseconds, p99
from tests.bench.processes import SCENARIO, Daemon, Processes, configuration
from vfod.clock import SystemClock
from vfod.sim.air import Air
from vfod.sim.box import SimBox
from vfod.sim.pty import PtyLine
from vfod.sim.receiver import SimReceiver
from vfod.sim.scenario import parse

_NUDGES = 300
_BARE = "bench/bare"
_TOPIC = "homie/5/vfod-main/dial/frequency"
_PATIENCE = 20.0
TELLING = Promise(
    what="from the box's reply to an MQTT subscriber, p99",
    unit="ms",
    most=20.0,
    means="a nudge is seen in the house at once; less what the machine holds a bare message up",
)

#: Hertz, as in the configuration.
_INTERMEDIATE = 455_000


class WatchedBox(SimBox):
    """Notes when each piece it says was handed to its line, by the clock handed in."""

    def __init__(self, text: str, now: Callable[[], float] = time.perf_counter) -> None:
        self._now = now
        scenario = parse(text)
        self.said: list[tuple[bytes, float]] = []
        clock = SystemClock()
        receiver = SimReceiver(Air(scenario, 1), scenario.receiver, 1)
        super().__init__(clock=clock, setup=scenario.box, receiver=receiver, seed=1)

    def connect(self, send: Callable[[bytes], None] | None) -> None:
        def watched(data: bytes) -> None:
            self.said.append((data, self._now()))
            if send is not None:
                send(data)

        super().connect(watched)


async def measure(folder: Path) -> list[Figure]:
    """Raises MissingError where there is no broker."""
    with Processes(folder) as processes:
        broker = processes.broker()
        box = WatchedBox(SCENARIO.format(settle="10ms"))
        line = PtyLine(box, link=folder / "vfo", baud=None)
        try:
            config = configuration(folder, port=line.open(), broker=broker)
            daemon = await asyncio.to_thread(processes.daemon, config, "mqtt")
            ours, bare = await _nudges(daemon, box, broker)
        finally:
            line.close()
            box.close()
    return [
        TELLING.measured(
            max(statistics.median(ours), p99(ours) - (p99(bare) - min(bare))) * 1e3,
            f"median {milliseconds(statistics.median(ours))}, p99 {milliseconds(p99(ours))} of"
            f" {_NUDGES} nudges; a bare message {milliseconds(min(bare), p99(bare))}",
        )
    ]


async def _nudges(daemon: Daemon, box: WatchedBox, broker: int) -> tuple[list[float], list[float]]:
    """Seconds from the reply to the subscriber, and of a bare message from here to here."""
    seconds, bare = [], []
    reader, writer = await asyncio.open_unix_connection(str(daemon.control))
    try:
        async with (
            # Two, because a connection that has just confirmed something sends the next only when
            # that has been acknowledged.
            aiomqtt.Client("127.0.0.1", broker) as client,
            aiomqtt.Client("127.0.0.1", broker) as other,
            asyncio.timeout(_PATIENCE * 3),
        ):
            await client.subscribe(_TOPIC, qos=1)
            messages = client.messages
            await anext(messages)  # what is retained
            await client.subscribe(_BARE, qos=1)
            for number in range(_NUDGES):
                box.said.clear()
                request = {"jsonrpc": "2.0", "id": number, "method": "nudge"}
                words = json.dumps(request | {"params": {"steps": 1}})
                writer.write(words.encode() + b"\n")
                message = await anext(messages)
                arrived = time.perf_counter()
                seconds.append(arrived - _replied(box, message.payload))
                answer = json.loads(await reader.readline())
                if "result" not in answer:
                    raise RuntimeError(f"nudge: {answer}")
                begun = time.perf_counter()
                await other.publish(_BARE, b"7200000", qos=1)
                message = await anext(messages)
                if not message.topic.matches(_BARE):
                    raise RuntimeError(f"{message.topic} came instead of {_BARE}")
                bare.append(time.perf_counter() - begun)
    finally:
        writer.close()
        await writer.wait_closed()
    return seconds, bare


def _replied(box: WatchedBox, payload: object) -> float:
    """When the box said the frequency that belongs to what the subscriber was told."""
    assert isinstance(payload, bytes)
    oscillator = f"{int(payload) + _INTERMEDIATE}.000".encode()
    return next(when for data, when in box.said if oscillator in data)


BENCH = Bench(
    name="telling",
    promises=(TELLING,),
    measure=lambda folder: asyncio.run(measure(folder)),
    takes="10 s",
)
