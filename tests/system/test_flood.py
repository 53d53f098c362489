"""A thousand requests a second at the page's door, while the sweep goes on."""

import asyncio
from pathlib import Path

import pytest

from tests.real_parts import Server
from tests.system.household import Household, until
from vfod.clock import wait_until
from vfod.store import Reader

pytestmark = pytest.mark.real_time

SECONDS = 4
A_SECOND = 1000
#: The visits of the household last 0.35 s; one that begins a third of that late is noticed. One
#: in four may be late for another reason: a busy machine lets the daemon wait now and then.
LATE, MAY_BE_LATE = 0.12, 0.25

_CALL = b'{"jsonrpc":"2.0","id":1,"method":"tune","params":{"frequency":9420000}}'
#: Refused for its Origin, or for its pace, whichever comes first.
_REQUEST = (
    b"POST /rpc HTTP/1.1\r\nhost: localhost\r\norigin: http://elsewhere.example\r\n"
    b"content-type: application/json\r\ncontent-length: %d\r\n\r\n%s" % (len(_CALL), _CALL)
)


def now() -> float:
    return asyncio.get_running_loop().time()


async def flood(port: int) -> int:
    """Send as many as that for some seconds, from ten connections; how many were answered.

    A machine that cannot answer so many gets what it can: at most half a second's are waiting.
    """
    answered = 0

    async def one(reader: asyncio.StreamReader) -> None:
        nonlocal answered
        while line := await reader.readline():
            answered += line.startswith(b"HTTP/1.1 ")

    pairs = [await asyncio.open_connection("127.0.0.1", port) for _ in range(10)]
    reading = [asyncio.create_task(one(reader)) for reader, _ in pairs]
    began = now()
    for tick in range(SECONDS * 20):
        while tick * (A_SECOND // 20) - answered > A_SECOND // 2:
            await wait_until(now() + 0.01)
        for _, writer in pairs:
            writer.write(_REQUEST * (A_SECOND // 20 // len(pairs)))
        await wait_until(began + (tick + 1) / 20)
    await until(lambda: answered >= SECONDS * A_SECOND, now)
    for task, (_, writer) in zip(reading, pairs, strict=True):
        task.cancel()
        writer.close()
    await asyncio.gather(*reading, return_exceptions=True)
    return answered


async def test_the_sweep_does_not_notice(tmp_path: Path, mosquitto: Server) -> None:
    """Every channel in order and at its time, and nothing moved the dial."""
    it = Household(tmp_path, mosquitto)
    it.start("box")
    it.start("daemon")
    try:
        await until(lambda: it.vfo()["visits"] >= 3, now)
        before = it.vfo()["visits"]
        assert SECONDS * A_SECOND == await flood(it.web)
        await until(lambda: it.vfo()["visits"] >= before + 12, now)
        assert "sweeping" == it.vfo()["sweep"]["phase"]
    finally:
        it.stop("daemon")
        it.close()
    with Reader(it.journal) as reader:
        seen = [one.observed for one in reader.observations()]
    dials = [row.dial for row in seen]
    assert [dials[0] + 5000 * place for place in range(len(dials))] == dials
    late = [row.lateness for row in seen[2:] if row.lateness >= LATE]
    assert len(late) <= MAY_BE_LATE * len(seen), late
