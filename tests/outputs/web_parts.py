"""The HTTP door in a house, and a client by hand that sends what no good client would."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from typing import Any

from tests.outputs.house import House
from vfod.clock import Clock, SystemClock
from vfod.outputs.metrics import Metrics
from vfod.outputs.web import Web, WebSettings


class Daemon:
    """The door, the metrics it shows, and parts whose signs of life can be set."""

    def __init__(self, clock: Clock | None = None, **settings: Any) -> None:
        self.house = House(clock or SystemClock())
        self.beats = {"keeper": 0.1, "journal": 0.2}
        self.metrics = Metrics(
            subscribe=self.house.subscribe,
            snapshot=self.house.snapshot,
            tell=self.house.tell,
            clock=self.house.clock,
            version="0.1.0",
        )
        self.web = Web(
            WebSettings(**settings),
            submit=self.house.submit,
            subscribe=self.house.subscribe,
            snapshot=self.house.snapshot,
            render=self.metrics.render,
            beats=lambda: self.beats,
            tell=self.house.tell,
            count=self.metrics.count,
            clock=self.house.clock,
        )

    @property
    def port(self) -> int:
        assert self.web.address is not None
        return int(self.web.address.rstrip("/").rpartition(":")[2])

    async def get(self, path: str, **headers: str) -> tuple[int, dict[str, str], bytes]:
        return await self.ask("GET", path, b"", **headers)

    async def post(self, body: bytes, **headers: str) -> tuple[int, dict[str, str], bytes]:
        return await self.ask(
            "POST", "/rpc", body, **{"content_type": "application/json", **headers}
        )

    async def ask(
        self, method: str, path: str, body: bytes, **headers: str
    ) -> tuple[int, dict[str, str], bytes]:
        """One exchange by hand, since what is sent here no good client would send."""
        sent = {"host": f"127.0.0.1:{self.port}", "connection": "close", **headers}
        if body:
            sent.setdefault("content_length", str(len(body)))
        head = f"{method} {path} HTTP/1.1\r\n"
        head += "".join(f"{name.replace('_', '-')}: {value}\r\n" for name, value in sent.items())
        reader, writer = await asyncio.open_connection("127.0.0.1", self.port)
        writer.write(head.encode("latin-1") + b"\r\n" + body)
        answer = await reader.read()
        writer.close()
        await writer.wait_closed()
        top, _, content = answer.partition(b"\r\n\r\n")
        status, *lines = top.decode("latin-1").split("\r\n")
        pairs = (line.partition(":") for line in lines)
        return (
            int(status.split()[1]),
            {name.lower(): value.strip() for name, _, value in pairs},
            content,
        )


@contextlib.asynccontextmanager
async def serving(**settings: Any) -> AsyncIterator[Daemon]:
    daemon = Daemon(**settings)
    tasks = [asyncio.create_task(daemon.web.run()), asyncio.create_task(daemon.metrics.run())]
    await until(lambda: len(daemon.house.told) == 2)
    try:
        yield daemon
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


async def until(true: Callable[[], bool]) -> None:
    while not true():
        await SystemClock().sleep_until(asyncio.get_running_loop().time() + 0.002)


#: A change, as the page asks for it.
CALL = b'{"jsonrpc":"2.0","id":1,"method":"tune","params":{"frequency":9420000}}'
