"""JSON-RPC 2.0: the examples and rules of its specification (jsonrpc.org, 2013-01-04).

Codes are those of its section 5.1.
"""

import json
from typing import Any

import pytest

from tests.outputs.house import House
from vfod.clock import SystemClock
from vfod.events import Door, Origin
from vfod.outputs.rpc import Exchange
from vfod.requests import TABLE


@pytest.fixture
def house() -> House:
    return House(SystemClock())


async def ask(house: House, line: bytes) -> Any:
    exchange = Exchange(
        submit=house.submit,
        origin=Origin(door=Door.SHELL, who="anna"),
        label="shell-1",
        count=house.count,
    )
    answer = await exchange.answer(line)
    return None if answer is None else json.loads(answer)


def call(method: str, params: dict[str, Any] | None = None, **more: Any) -> bytes:
    return json.dumps({"jsonrpc": "2.0", "method": method, "params": params or {}, **more}).encode()


async def test_a_change_is_answered_by_its_event(house: House) -> None:
    """The answer carries the id as it came, the event, and the caller's name."""
    answer = await ask(house, call("tune", {"frequency": 9_420_000}, id=7))
    assert ("2.0", 7) == (answer["jsonrpc"], answer["id"])
    assert "tuned to 9420 kHz by shell (anna)" == answer["result"]["text"]
    assert ("dial-tuned", 9_420_000) == (
        answer["result"]["event"],
        answer["result"]["data"]["dial"],
    )
    assert "shell-1.1" == answer["result"]["cause"]
    assert [("shell", "tune", "ok")] == house.counted


async def test_a_notification_is_done_and_not_answered(house: House) -> None:
    """Section 4.1: no answer, not even to one that fails."""
    assert await ask(house, call("tune", {"frequency": 9_420_000})) is None
    assert await ask(house, call("tune", {"frequency": 1})) is None
    assert 9_420_000 == house.snapshot().vfos["main"].dial
    assert [("shell", "tune", "ok"), ("shell", "tune", "range")] == house.counted


@pytest.mark.parametrize(
    ("line", "code"),
    [
        (b'{"jsonrpc": "2.0", "method": "foobar, "params": "bar", "baz]', -32700),
        (b"\xff\xfe\x00", -32700),
        (b"", -32700),
        (b"[" * 60_000, -32700),
        (b'{"a":' * 10_000, -32700),
        (b'{"jsonrpc":"2.0","method":"stay","params":{"seconds":NaN},"id":1}', -32700),
        (b'{"jsonrpc":"2.0","method":"stay","params":{"seconds":1e999},"id":1}', -32700),
        (b'{"jsonrpc":"2.0","method":"tune","params":{"frequency":' + b"9" * 5000 + b"}}", -32700),
        (b"[]", -32600),
        (b"[1,2,3]", -32600),
        (b"1", -32600),
        (b"null", -32600),
        (b'{"jsonrpc": "2.0", "method": 1, "params": "bar", "id": 1}', -32600),
        (b'{"jsonrpc": "2.0", "id": 1}', -32600),
        (b'{"method": "status", "id": 1}', -32600),
        (b'{"jsonrpc": "1.0", "method": "status", "id": 1}', -32600),
        (b'{"jsonrpc": "2.0", "method": "status", "id": {}}', -32600),
        (b'{"jsonrpc": "2.0", "method": "status", "id": true}', -32600),
        (b'{"jsonrpc": "2.0", "method": "foobar", "id": "1"}', -32601),
        (b'{"jsonrpc": "2.0", "method": "status", "params": [1], "id": 1}', -32602),
        (b'{"jsonrpc": "2.0", "method": "status", "params": "bar", "id": 1}', -32602),
        (b'{"jsonrpc": "2.0", "method": "tune", "id": 1}', -32602),
        (b'{"jsonrpc": "2.0", "method": "tune", "params": {"frequency": "9"}, "id": 1}', -32602),
        (b'{"jsonrpc": "2.0", "method": "tune", "params": {"frequency": 9.5}, "id": 1}', -32602),
        (b'{"jsonrpc": "2.0", "method": "status", "params": {"vfo": 1}, "id": 1}', -32602),
        (b'{"jsonrpc": "2.0", "method": "nudge", "id": 1}', -32602),
        (b'{"jsonrpc": "2.0", "method": "tune", "params": {"frequency": 1}, "id": 1}', -32002),
        (b'{"jsonrpc": "2.0", "method": "stay", "id": 1}', -32004),
        (b'{"jsonrpc": "2.0", "method": "watch", "id": 1}', -32001),
        (b'{"jsonrpc": "2.0", "method": "resume", "id": 1}', -32603),
    ],
)
async def test_each_fault_has_its_code(house: House, line: bytes, code: int) -> None:
    """The codes of section 5.1, and the daemon's own from -32000 down; nothing escapes."""
    answer = await ask(house, line)
    assert code == answer["error"]["code"], answer
    assert answer["error"]["message"]
    assert {"code", "remedy", "exit"} == set(answer["error"]["data"])
    assert "result" not in answer


async def test_an_id_that_was_read_is_answered(house: House) -> None:
    """Section 5: the id is null only where it could not be made out."""
    assert "a" == (await ask(house, b'{"jsonrpc":"2.0","id":"a"}'))["id"]
    assert (await ask(house, b'{"id":'))["id"] is None
    null = await ask(house, b'{"jsonrpc":"2.0","method":"status","id":null}')
    assert null["id"] is None
    assert "result" in null


async def test_vfo_stands_beside_the_parameters(house: House) -> None:
    """`vfo` goes into the envelope, and the method's own parameters are checked without it."""
    await ask(house, call("tune", {"frequency": 9_420_000, "vfo": "main"}, id=1))
    assert "main" == house.asked[0].vfo
    assert Origin(door=Door.SHELL, who="anna") == house.asked[0].origin


async def test_only_methods_of_the_table_are_counted_by_name(house: House) -> None:
    """A caller who makes names up cannot make metrics grow."""
    for number in range(5):
        await ask(house, call(f"made-up-{number}", id=1))
    assert {("shell", "other", "request")} == set(house.counted)
    assert "made-up-1" not in TABLE


async def test_every_answer_ends_with_its_text(house: House) -> None:
    """ASCII without spaces, text or message last: the contract of control.py's head."""
    exchange = Exchange(
        submit=house.submit, origin=Origin(door=Door.SHELL), label="x", count=house.count
    )
    good = await exchange.answer(call("status", id="plain"))
    assert good is not None
    assert good.startswith(b'{"jsonrpc":"2.0","id":"plain","result":{')
    assert good.endswith(b',"text":"dial unknown; no sweep; link down"}}\n')
    bad = await exchange.answer(call("tune", {"frequency": 1}, id="plain"))
    assert (
        b'{"jsonrpc":"2.0","id":"plain","error":{"code":-32002,'
        b'"data":{"code":"range","remedy":"stay inside","exit":4},'
        b'"message":"1 Hz is out of range; stay inside"}}\n'
    ) == bad
