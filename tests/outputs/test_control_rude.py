"""Clients of the control socket that break the rules or are simply too many: nobody else notices.

Beside each of them another client asks, and is answered.
"""

import asyncio
import contextlib
import itertools
import json
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.outputs.house import House
from tests.outputs.test_control import STATUS, WATCH, ask, client, opened, until
from vfod.clock import SystemClock
from vfod.outputs.rpc import LINE_LIMIT

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


@pytest.fixture
def house() -> House:
    return House(SystemClock())


@contextlib.contextmanager
def raw(path: Path) -> Iterator[socket.socket]:
    """A client without any manners: it blocks, and reads only what the test reads."""
    with socket.socket(socket.AF_UNIX) as it:
        it.connect(str(path))
        it.setblocking(False)
        yield it


async def all_is_well(path: Path) -> None:
    assert 1 == (await ask(path, STATUS))["id"]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        (b"[" * 60_000, "nested too deep"),
        (b'{"a":' * 10_000 + b"1" + b"}" * 10_000, "nested too deep"),
        (b'{"jsonrpc":"2.0","id":1,"method":"status","params":' + b"[" * 50_000, "nested too deep"),
        (b"\x00\xff\xfe" * 100, "not UTF-8"),
        (b"\x00" * 1000, "not JSON"),
        (b"GET / HTTP/1.1\r", "not JSON"),
        (b"9" * 60_000, "a number of more than 20 digits"),
        (b'{"jsonrpc":"2.0","id":1,"method":"' + b"x" * 60_000 + b'"}', "there is no request"),
        (b'"' + b"\\ud800" * 5_000 + b'"', "a request is an object"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
async def test_a_line_that_is_none(house: House, tmp_path: Path, line: bytes, says: str) -> None:
    """One short answer that says why, and the connection goes on."""
    path = tmp_path / "control"
    async with opened(house, path), client(path) as (reader, writer):
        writer.write(line + b"\n" + STATUS)
        answer = await reader.readline()
        assert says in json.loads(answer)["error"]["message"]
        assert len(answer) < 1000
        assert 1 == json.loads(await reader.readline())["id"]
        await all_is_well(path)


async def test_the_longest_line_and_one_byte_more(house: House, tmp_path: Path) -> None:
    """The limit is where it is said to be; beyond it the client is told and shown out."""
    path = tmp_path / "control"
    async with opened(house, path):
        async with client(path) as (reader, writer):
            writer.write(STATUS.rstrip() + b" " * (LINE_LIMIT - len(STATUS)) + b"\n")
            assert 1 == json.loads(await reader.readline())["id"]
            writer.write(b" " * (LINE_LIMIT + 1) + STATUS)
            assert b"a line of more than 65536 bytes" in await reader.readline()
            with contextlib.suppress(OSError):
                assert b"" == await reader.read()
        await all_is_well(path)


async def test_half_a_line_and_then_nothing(house: House, tmp_path: Path) -> None:
    """A byte now and then does not keep a connection: the whole line must come within the limit."""
    path = tmp_path / "control"
    async with opened(house, path, idle=0.3), client(path) as (reader, writer):
        gone = asyncio.create_task(reader.read())
        clock = SystemClock()
        with contextlib.suppress(OSError):
            for byte in itertools.cycle(b"{"):
                if gone.done():
                    break
                writer.write(bytes([byte]))
                await clock.sleep_until(clock.monotonic() + 0.02)
        with contextlib.suppress(ConnectionResetError):  # bytes were under way when it closed
            assert b"" == await gone
        await all_is_well(path)


async def test_hundreds_of_clients_with_half_a_line(house: House, tmp_path: Path) -> None:
    """All places taken by clients that say nothing whole: the next is told why, until they go."""
    path = tmp_path / "control"
    async with opened(house, path, idle=0.5):
        with contextlib.ExitStack() as crowd:
            for _ in range(200):
                crowd.enter_context(raw(path)).send(STATUS[:10])
            refused = await _asked(path)
            assert (
                "200 clients are connected already; close some of them"
                == (refused["error"]["message"])
            )
            while "result" not in await _asked(path):
                pass


async def _asked(path: Path) -> Any:
    """The answer, or what is said to one too many."""
    async with client(path) as (reader, writer):
        with contextlib.suppress(OSError):
            writer.write(STATUS)
        return json.loads(await reader.readline())


async def test_four_hundred_at_once(house: House, tmp_path: Path) -> None:
    """Every one gets an answer or is told that there are too many; then there is room again."""
    path = tmp_path / "control"
    answers: list[dict[str, Any]] = []

    def ten() -> None:
        with contextlib.ExitStack() as mine:
            asking = [mine.enter_context(socket.socket(socket.AF_UNIX)) for _ in range(10)]
            for one in asking:
                # In a thread, because the kernel lets who comes in a crowd wait at its own queue.
                one.connect(str(path))
                with contextlib.suppress(OSError):
                    one.sendall(STATUS)
            answers.extend(json.loads(one.makefile("rb").readline()) for one in asking)

    async with opened(house, path):
        threads = [threading.Thread(target=ten) for _ in range(40)]
        for thread in threads:
            thread.start()
        await until(lambda: not any(thread.is_alive() for thread in threads))
        assert 400 == len(answers)
        assert 200 <= sum("result" in answer for answer in answers)
        while "result" not in await _asked(path):
            pass


async def test_who_asks_and_never_reads_is_dropped(house: House, tmp_path: Path) -> None:
    """Its answers pile up to the limit and no further; nobody else waits for it."""
    path = tmp_path / "control"
    async with opened(house, path, backlog=20_000):
        with raw(path) as deaf:
            loop = asyncio.get_running_loop()
            with contextlib.suppress(OSError):
                for _ in range(10_000):
                    await loop.sock_sendall(deaf, STATUS)
                    await all_is_well(path) if not house.counted else None
            await until(lambda: len(house.counted) > 10)
            asked = len(house.counted)
            await all_is_well(path)
            assert asked < 3_000, "the kernel's buffer and ours are some hundred kilobytes"
            deaf.setblocking(True)
            with pytest.raises(OSError):  # noqa: PT011 - broken pipe, or reset
                deaf.sendall(STATUS * 100_000)


async def test_who_asks_in_a_flood_does_not_keep_the_others(house: House, tmp_path: Path) -> None:
    """However many lines of one client lie there, everybody else has a turn after each."""
    path = tmp_path / "control"
    async with opened(house, path, backlog=1 << 24), client(path) as (reader, writer):
        lines = 1000
        writer.write(STATUS * lines)
        turns: list[int] = []
        while len(house.counted) < lines:
            turns.append(len(house.counted))
            await asyncio.sleep(0)  # noqa: TID251 - a turn of the loop, and no time
        assert 1 == max(b - a for a, b in itertools.pairwise(turns))
        for _ in range(lines):
            await reader.readline()


async def test_who_watches_and_floods_stays_one_of_many(house: House, tmp_path: Path) -> None:
    """A watcher may ask too, and its place is free when it goes."""
    path = tmp_path / "control"
    async with opened(house, path, clients=2):
        async with client(path) as (reader, writer):
            writer.write(WATCH + STATUS * 20)
            for _ in range(21):
                assert b"result" in await reader.readline()
            await all_is_well(path)
        await until(lambda: not house.stream.subscriptions)
        await all_is_well(path)
