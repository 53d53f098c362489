"""The control socket: who may, who asked, and clients that behave badly."""

import asyncio
import contextlib
import errno
import grp
import json
import os
import pwd
import socket
import stat
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest

from tests.outputs.house import House, tuned
from vfod.clock import SystemClock
from vfod.errors import AlreadyRunningError, DoorError
from vfod.events import DoorFailed, DoorOpened
from vfod.outputs.control import Control, ControlSettings
from vfod.requests import TABLE, StartSweep

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]

STATUS = b'{"jsonrpc":"2.0","id":1,"method":"status"}\n'
WATCH = b'{"jsonrpc":"2.0","id":"w","method":"watch"}\n'


@pytest.fixture
def house() -> House:
    return House(SystemClock())


def door(house: House, path: Path, **settings: Any) -> Control:
    return Control(
        ControlSettings(path=path, **settings),
        submit=house.submit,
        subscribe=house.subscribe,
        snapshot=house.snapshot,
        tell=house.tell,
        count=house.count,
        clock=house.clock,
    )


@contextlib.asynccontextmanager
async def opened(house: House, path: Path, **settings: Any) -> AsyncIterator[Control]:
    control = door(house, path, **settings)
    control.claim()
    task = asyncio.create_task(control.run())
    await until(lambda: bool(house.told))
    try:
        yield control
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def until(true: Callable[[], bool]) -> None:
    """Let the loop run until something is the case; the test's own limit ends it otherwise."""
    while not true():
        await SystemClock().sleep_until(asyncio.get_running_loop().time() + 0.002)


@contextlib.asynccontextmanager
async def client(path: Path) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    reader, writer = await asyncio.open_unix_connection(path, limit=1 << 24)
    try:
        yield reader, writer
    finally:
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()


async def ask(path: Path, line: bytes) -> Any:
    async with client(path) as (reader, writer):
        writer.write(line)
        return json.loads(await reader.readline())


async def test_an_answer_and_who_asked(house: House, tmp_path: Path) -> None:
    """The peer's login name, told by the kernel, is recorded with the change."""
    path = tmp_path / "control"
    async with opened(house, path):
        line = b'{"jsonrpc":"2.0","id":1,"method":"tune","params":{"frequency":9420000}}\n'
        me = pwd.getpwuid(os.getuid()).pw_name
        answer = await ask(path, line)
        assert f"tuned to 9420 kHz by shell ({me})" == answer["result"]["text"]
        assert [DoorOpened(door="control", where=str(path))] == house.told


async def test_only_owner_and_group(house: House, tmp_path: Path) -> None:
    """The mode is 0660 whatever the umask, and the group is the one asked for."""
    group = grp.getgrgid(os.getgid()).gr_name
    before = os.umask(0o077)
    try:
        async with opened(house, tmp_path / "control", group=group):
            found = (tmp_path / "control").stat()
            assert (0o660, os.getgid()) == (stat.S_IMODE(found.st_mode), found.st_gid)
    finally:
        os.umask(before)
    assert not (tmp_path / "control").exists()


async def test_where_nothing_may_be_given_away(
    house: House, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A unit that refuses chown(2), as ~@privileged of systemd.exec(5) does; its own group does."""

    def refuse(*_: object) -> None:
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "chown", refuse)
    own = door(house, tmp_path / "own", group=grp.getgrgid(os.getgid()).gr_name)
    own.claim()
    own.release()
    other = next(group.gr_name for group in grp.getgrall() if group.gr_gid != os.getgid())
    with pytest.raises(DoorError, match="cannot be made: Operation not permitted"):
        door(house, tmp_path / "other", group=other).claim()


async def test_an_answer_can_be_cut_out_without_a_parser(house: House, tmp_path: Path) -> None:
    """The contract in control.py's head, followed to the letter by a client that knows no JSON."""

    def cut(line: str) -> tuple[int, str]:
        if line.startswith('{"jsonrpc":"2.0","id":"plain","result":{'):
            status, mark = 0, '"text":"'
        else:
            assert line.startswith('{"jsonrpc":"2.0","id":"plain","error":{')
            mark = '"message":"'
            status = int(line[line.rindex('"exit":') + 7 :].partition("}")[0])
        text = line[line.rindex(mark) + len(mark) : line.rindex('"}}')]
        plain = text.encode("ascii").decode("unicode_escape")
        return status, plain.encode("utf-16", "surrogatepass").decode("utf-16")

    nasty = 'a"}}\\ "text":"x" "message":"\n{é—🎙},'
    path = tmp_path / "control"
    request = {"jsonrpc": "2.0", "id": "plain", "method": "sweep-start", "params": {"sweep": nasty}}
    bad = {"jsonrpc": "2.0", "id": "plain", "method": nasty}
    async with opened(house, path), client(path) as (reader, writer):
        writer.write(json.dumps(request).encode() + b"\n")
        status, text = cut((await reader.readline()).decode("ascii"))
        assert (0, True) == (status, text.startswith(f"sweep {nasty} started at 150 kHz"))
        assert StartSweep(sweep=nasty) == house.asked[0].request
        writer.write(json.dumps(bad).encode() + b"\n")
        status, text = cut((await reader.readline()).decode("ascii"))
        assert 2 == status
        assert text.startswith("there is no request ")
        assert text.endswith([*TABLE][-1]), "the remedy is part of the message"


async def test_watching_goes_on_from_the_answer(house: House, tmp_path: Path) -> None:
    """First the state, then every event after it, and questions may be asked in between."""
    path = tmp_path / "control"
    async with opened(house, path), client(path) as (reader, writer):
        writer.write(WATCH)
        answer = json.loads(await reader.readline())
        sequence = answer["result"]["sequence"]
        house.happen(tuned(9_420_000), tuned(9_425_000))
        events = [json.loads(await reader.readline()) for _ in range(2)]
        assert [sequence + 1, sequence + 2] == [told["params"]["sequence"] for told in events]
        assert {"event"} == {told["method"] for told in events}
        assert "tuned to 9425 kHz by shell" == events[1]["params"]["text"]
        writer.write(STATUS)
        assert 1 == json.loads(await reader.readline())["id"]
        writer.write(WATCH)
        assert "watches already" in json.loads(await reader.readline())["error"]["message"]
    await until(lambda: not house.stream.subscriptions)


async def test_lines_that_are_none(house: House, tmp_path: Path) -> None:
    """Half a line, two at once, blank ones, binary, and one without an end."""
    path = tmp_path / "control"
    async with opened(house, path):
        async with client(path) as (reader, writer):
            writer.write(STATUS[:10])
            await writer.drain()
            writer.write(STATUS[10:] + b"\n\r\n" + STATUS[:-1])
            writer.write_eof()
            lines = (await reader.read()).splitlines()
            assert [1, 1] == [json.loads(line)["id"] for line in lines]
        answer = await ask(path, bytes(range(128, 256)) + b"\n")
        assert -32700 == answer["error"]["code"]
        async with client(path) as (reader, writer):
            writer.write(STATUS[:20])
            writer.write_eof()
            assert -32700 == json.loads(await reader.read())["error"]["code"]
        async with client(path) as (reader, writer):
            writer.write(b"x" * 200_000)
            with contextlib.suppress(OSError):
                assert b"a line of more than 65536 bytes" in await reader.readline()
                assert b"" == await reader.read()
        assert 1 == (await ask(path, STATUS))["id"]


async def test_an_idle_client_is_shown_out(house: House, tmp_path: Path) -> None:
    """Who neither asks nor watches loses the connection; who watches keeps it."""
    path = tmp_path / "control"
    async with (
        opened(house, path, idle=0.05),
        client(path) as (idle, _),
        client(path) as (watching, writer),
    ):
        writer.write(WATCH)
        await watching.readline()
        assert b"" == await idle.read()
        house.happen(tuned(9_420_000))
        assert b"dial-tuned" in await watching.readline()


async def test_one_client_too_many_is_told_why(house: House, tmp_path: Path) -> None:
    """Beyond the limit there is one clear line; when one goes, there is room again."""
    path = tmp_path / "control"
    async with opened(house, path, clients=3), contextlib.AsyncExitStack() as stack:
        pairs = [await stack.enter_async_context(client(path)) for _ in range(3)]
        for reader, writer in pairs:
            writer.write(STATUS)
            await reader.readline()
        async with client(path) as (reader, _):
            refused = json.loads(await reader.readline())["error"]
            assert "3 clients are connected already; close some of them" == refused["message"]
            assert b"" == await reader.read()
        pairs[0][1].close()
        await until(lambda: len(house.stream.subscriptions) == 0)
        answer: Any = {}
        while "result" not in answer:
            answer = await ask(path, STATUS)


async def test_hundreds_of_clients(house: House, tmp_path: Path) -> None:
    """All that fit are answered at once, and the door stays open for the next."""
    path = tmp_path / "control"
    async with opened(house, path):
        answers = await asyncio.gather(*(ask(path, STATUS) for _ in range(190)))
        assert 190 == sum("result" in answer for answer in answers)


async def test_who_stops_reading_harms_nobody(house: House, tmp_path: Path) -> None:
    """It is dropped when too much lies waiting; another who watches misses nothing."""
    path = tmp_path / "control"
    async with opened(house, path, backlog=50_000), client(path) as (reader, writer):
        deaf = socket.socket(socket.AF_UNIX)
        deaf.connect(str(path))
        deaf.sendall(WATCH)
        writer.write(WATCH)
        await reader.readline()
        await until(lambda: len(house.stream.subscriptions) == 2)
        seen = 0
        while len(house.stream.subscriptions) == 2:
            house.happen(*(tuned(9_420_000 + hertz) for hertz in range(20)))
            for _ in range(20):
                assert b"dial-tuned" in await reader.readline()
                seen += 1
        assert seen < 10_000, "the kernel's buffer and ours are some hundred kilobytes"
        deaf.close()
        assert 1 == (await ask(path, STATUS))["id"]


async def test_a_dead_daemons_socket_is_replaced(house: House, tmp_path: Path) -> None:
    """A socket file at which nobody answers is only a file."""
    path = tmp_path / "control"
    with socket.socket(socket.AF_UNIX) as left:
        left.bind(str(path))
    async with opened(house, path):
        assert 1 == (await ask(path, STATUS))["id"]


async def test_a_second_daemon_finds_out(house: House, tmp_path: Path) -> None:
    """The first keeps the place and is not disturbed; the second says what to do."""
    path = tmp_path / "control"
    async with opened(house, path):
        with pytest.raises(AlreadyRunningError, match=r"another daemon serves at .*; stop it"):
            door(house, path).claim()
        assert 1 == (await ask(path, STATUS))["id"]
    first = door(house, path)
    first.claim()
    first.release()


async def test_anothers_place_is_left_alone(house: House, tmp_path: Path) -> None:
    """Neither a file nor a foreign server's socket is removed; both are named."""
    file = tmp_path / "file"
    file.write_text("precious")
    with pytest.raises(DoorError, match="is in the way, and is no socket; move it"):
        door(house, file).claim()
    assert "precious" == file.read_text()
    with socket.socket(socket.AF_UNIX) as other:
        other.bind(str(tmp_path / "other"))
        other.listen()
        with pytest.raises(AlreadyRunningError):
            door(house, tmp_path / "other").claim()
        assert (tmp_path / "other").is_socket()


@pytest.mark.parametrize(
    ("path", "says", "remedy"),
    [
        ("no/such/control", "No such file or directory", "see that its directory exists"),
        ("x" * 120, "too long", "give it a shorter path"),
    ],
)
async def test_a_place_that_cannot_be(
    house: House, tmp_path: Path, path: str, says: str, remedy: str
) -> None:
    """The message names the path, the reason and the remedy."""
    with pytest.raises(DoorError, match=f"{path} cannot be made: .*{says}; {remedy}"):
        door(house, tmp_path / path).claim()


async def test_an_unknown_group_is_named(house: House, tmp_path: Path) -> None:
    """With the command that makes it; and the door is tried again, said once."""
    control = door(house, tmp_path / "control", group="no-such-group")
    with pytest.raises(DoorError, match="groupadd --system no-such-group"):
        control.claim()
    # Nothing that looks like a daemon's is left at its place.
    assert not (tmp_path / "control").exists()
    task = asyncio.create_task(control.run())
    await until(lambda: bool(house.told))
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    (told,) = house.told
    assert isinstance(told, DoorFailed)
    assert ("control", "group") == (told.door, told.reason)
