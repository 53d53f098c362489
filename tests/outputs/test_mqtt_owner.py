"""One identifier, one daemon: who asks first is told, and who is thrown out finds out why."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from tests.outputs.house import GREETED, House, tuned
from tests.outputs.mqtt_parts import door, listening, running, say, until
from tests.real_parts import Server, free_port, real_part
from vfod import events as e
from vfod.clock import SystemClock
from vfod.errors import AlreadyRunningError
from vfod.outputs.mqtt.broker import Address, connect

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]


def made() -> House:
    house = House(SystemClock())
    house.happen(GREETED, tuned(9_420_000))
    return house


@pytest.fixture(autouse=True)
async def _executor() -> AsyncIterator[None]:
    """The library connects in the loop's executor, whose thread is to be gone after the test."""
    yield
    await asyncio.get_running_loop().shutdown_default_executor()


def opened(house: House) -> int:
    return sum(isinstance(told, e.DoorOpened) for told in house.told)


def reasons(house: House) -> list[str]:
    return [told.reason for told in house.told if isinstance(told, e.DoorFailed)]


async def test_the_second_daemon_leaves_and_the_first_is_not_disturbed(mosquitto: Server) -> None:
    """It is told who stands there, at which broker and as what, and what to do."""
    first, second = made(), made()
    async with running(door(first, mosquitto.port, who="a daemon (attic, process 7)")):
        await until(lambda: opened(first) == 1)
        with pytest.raises(AlreadyRunningError) as refusal:
            await door(second, mosquitto.port).claim()
    assert (
        f"a daemon (attic, process 7) stands at the MQTT broker mqtt://127.0.0.1:{mosquitto.port} "
        "as vfod-attic; stop it, or give this daemon another name under mqtt"
    ) == str(refusal.value)
    assert 1 == len(first.told)
    assert [] == second.told


@pytest.mark.parametrize("left_behind", [None, "lost", "disconnected", "ready"])
async def test_where_nobody_stands_it_may_come_in(mosquitto: Server, left_behind: str) -> None:
    """Also where a dead broker left behind that the last one was ready."""
    if left_behind:
        await say(mosquitto, "homie/5/vfod/$state", left_behind, "-r")
    await door(made(), mosquitto.port).claim()


async def test_a_broker_that_cannot_be_asked_keeps_nobody(mosquitto: Server) -> None:
    """A daemon starts without its broker too; the door says so later."""
    mosquitto.kill()
    await door(made(), mosquitto.port).claim()


async def test_who_finds_the_place_taken_later_waits_for_it(mosquitto: Server) -> None:
    """Both began without a broker: one has it, the other says so once and throws nobody out."""
    first, second = made(), made()
    async with running(door(first, mosquitto.port)):
        await until(lambda: opened(first) == 1)
        async with running(door(second, mosquitto.port)):
            await until(lambda: bool(second.told))
            clock = SystemClock()
            await clock.sleep_until(clock.monotonic() + 1.5)
        assert ["taken"] == reasons(second)
        assert 1 == len(first.told)


async def test_who_is_thrown_out_is_told_by_whom(mosquitto: Server) -> None:
    """Another daemon that did not ask: the next attempt asks, and its answer is the reason."""
    first, second = made(), made()
    async with running(door(first, mosquitto.port)):
        await until(lambda: opened(first) == 1)
        rude = door(second, mosquitto.port, who="a daemon (cellar, process 9)")
        rude._ask = _not_at_all  # type: ignore[method-assign] # an older version, which never asks
        async with running(rude):
            await until(lambda: opened(second) == 1)
            await until(lambda: bool(reasons(first)))
            assert ["taken"] == reasons(first)[-1:]
            assert "a daemon (cellar, process 9) stands at" in first.told[-1].detail  # type: ignore[attr-defined] # DoorFailed
            assert 1 == len(second.told)


async def _not_at_all() -> None:
    return None


async def test_a_stranger_with_our_identifier_is_suspected(mosquitto: Server) -> None:
    """It cannot answer; but a broker that throws us out again and again, and is there, says it."""
    house = made()
    async with running(door(house, mosquitto.port)):
        for number in (1, 2, 3):
            await until(lambda n=number: opened(house) == n)  # type: ignore[misc] # mypy and n
            address = Address(host="127.0.0.1", port=mosquitto.port, client_id="vfod-attic")
            async with connect(address):
                await until(lambda n=number: len(reasons(house)) == n)  # type: ignore[misc] # the same
    assert ["lost", "lost", "taken"] == reasons(house)
    failed = house.told[-1]
    assert isinstance(failed, e.DoorFailed)
    assert "throws vfod-attic out again and again, and is there itself; see whether" in (
        failed.detail
    )


async def test_commands_off(mosquitto: Server) -> None:
    """Nothing is settable by its description, and nothing that is sent moves anything."""
    real_part("mosquitto_sub")
    house = made()
    async with (
        listening(mosquitto) as listener,
        running(door(house, mosquitto.port, settable=False)),
    ):
        await until(lambda: listener.values().get("vfod/$state") == "ready")
        assert '"settable"' not in listener.values()["vfod-main/$description"]
        assert "nudge" not in listener.values()["vfod-main/$description"]
        await say(mosquitto, "homie/5/vfod-main/dial/frequency/set", "7200000")
        house.happen(tuned(9_425_000))
        await until(lambda: listener.values()["vfod-main/dial/frequency"] == "9425000")
        assert [] == house.asked
        assert [] == house.counted


async def test_a_broker_that_lets_in_only_who_it_knows_by_name(tmp_path: Path) -> None:
    """It refuses who asks, not who is meant: the door opens all the same."""
    port = free_port()
    lines = [f"listener {port} 127.0.0.1", "allow_anonymous true", "persistence false"]
    lines += ["user root", "clientid_prefixes vfod-attic"]
    (tmp_path / "conf").write_text("\n".join(lines) + "\n")
    broker = Server([real_part("mosquitto"), "-c", str(tmp_path / "conf")], port, tmp_path / "log")
    broker.start()
    house = made()
    try:
        await door(house, port).claim()
        async with running(door(house, port)):
            await until(lambda: bool(house.told))
        assert isinstance(house.told[0], e.DoorOpened)
    finally:
        broker.stop()
