"""MQTT with a real broker and a real subscriber: what stands there whatever happens to either.

Every run of messages is checked against the Homie convention.
"""

import asyncio
import subprocess
import sys
import types
from collections.abc import AsyncIterator, Iterable, Iterator
from pathlib import Path

import pytest

from tests.outputs.homie_validator import Validator, complaints
from tests.outputs.house import GREETED, House, observed, tuned
from tests.outputs.mqtt_parts import Listener, door, listening, running, say, until
from tests.real_parts import Server
from vfod import events as e
from vfod.clock import SystemClock
from vfod.origin import Door, Origin
from vfod.outputs.mqtt.broker import Address, connect

pytestmark = [pytest.mark.real_time, pytest.mark.no_leaks]

ROOT = Path(__file__).parents[2]


@pytest.fixture
def house() -> House:
    """A box that has greeted, tuned to 9420 kHz."""
    house = House(SystemClock())
    house.happen(GREETED, tuned(9_420_000), e.BandEntered(band="31m", left=None))
    return house


@pytest.fixture(autouse=True)
async def _executor() -> AsyncIterator[None]:
    """The library connects in the loop's executor, whose thread is to be gone after the test."""
    yield
    await asyncio.get_running_loop().shutdown_default_executor()


def is_ready(listener: Listener) -> bool:
    return listener.values().get("vfod/$state") == "ready"


async def test_a_life(house: House, mosquitto: Server) -> None:
    """From the first description to the farewell; all retained, nothing against the rules."""
    async with listening(mosquitto) as listener:
        async with running(door(house, mosquitto.port)):
            await until(lambda: is_ready(listener))
            values = listener.values()
            assert "9420000" == values["vfod-main/dial/frequency"]
            assert "31m" == values["vfod-main/dial/band"]
            assert "ready" == values["vfod-main/$state"]
            house.happen(observed(9_420_000, active=True))
            house.happen(e.LinkLost(port="/dev/vfo", reason="lost", detail="unplugged"))
            await until(lambda: listener.values()["vfod-main/$state"] == "lost")
            assert "ready" == listener.values()["vfod/$state"]
            house.happen(GREETED)
            await until(lambda: listener.values()["vfod-main/$state"] == "ready")
        await until(lambda: listener.values()["vfod/$state"] == "disconnected")
        assert "disconnected" == listener.values()["vfod-main/$state"]
        assert "9420000" == listener.values()["vfod-main/dial/frequency"]
        assert [] == complaints(listener.messages)
        assert {1} == {message.qos for message in listener.messages}
    assert "mqtt://127.0.0.1" in str(house.told)
    assert "vfod-attic" in mosquitto.log(), "the identifier is the one it was given"


async def test_settings(house: House, mosquitto: Server) -> None:
    """One that fits is carried out; one that does not is warned of, and the value stays."""
    async with listening(mosquitto) as listener, running(door(house, mosquitto.port)):
        await until(lambda: is_ready(listener))
        await say(mosquitto, "homie/5/vfod-main/dial/frequency/set", "7200000")
        await until(lambda: listener.values()["vfod-main/dial/frequency"] == "7200000")
        assert [Origin(door=Door.MQTT, who="vfod")] == [asked.origin for asked in house.asked]
        await say(mosquitto, "homie/5/vfod-main/dial/frequency/set", "7200")
        await until(lambda: bool(listener.texts("vfod-main/$log/warn")))
        await until(lambda: listener.texts("vfod-main/dial/frequency")[-2:] == ["7200000"] * 2)
        assert 1 == len(house.asked)
        assert [] == complaints(listener.messages)


async def test_a_setting_retained_before_the_start(house: House, mosquitto: Server) -> None:
    """Somebody asked once, nobody knows when: the dial stays, and later settings work."""
    await say(mosquitto, "homie/5/vfod-main/dial/frequency/set", "7200000", "-r")
    async with listening(mosquitto) as listener, running(door(house, mosquitto.port)):
        await until(lambda: ("mqtt", "other", "retained") in house.counted)
        await until(lambda: is_ready(listener))
        await say(mosquitto, "homie/5/vfod-main/dial/step/set", "1000")
        await until(lambda: listener.values().get("vfod-main/dial/step") == "1000")
        assert 9_420_000 == house.snapshot().vfos["main"].dial
        assert 1 == len(house.asked)


async def test_a_broker_killed_again_and_again_under_load(house: House, mosquitto: Server) -> None:
    """It remembers nothing, and yet all stands there again each time, and settings work."""
    async with running(door(house, mosquitto.port)):
        first = await _all_stands_there(house, mosquitto, "7200000")
        for number in (1, 2, 3):
            await _kill_under_load(house, mosquitto, number)
            mosquitto.start()
            assert first == await _all_stands_there(house, mosquitto, f"720{number}000")
    assert {"lost"} == {told.reason for told in house.told if isinstance(told, e.DoorFailed)}


async def _all_stands_there(house: House, mosquitto: Server, dial: str) -> dict[str, str]:
    """What a new subscriber finds, without what moves; a setting works too."""
    async with listening(mosquitto) as listener:
        await until(lambda: is_ready(listener))
        found = listener.values()
        assert str(house.snapshot().vfos["main"].dial) == found["vfod-main/dial/frequency"]
        await say(mosquitto, "homie/5/vfod-main/dial/frequency/set", dial)
        await until(lambda: listener.values()["vfod-main/dial/frequency"] == dial)
        moving = ("frequency", "wavelength", "moved-by", "moved-at")
        return {topic: text for topic, text in found.items() if not topic.endswith(moving)}


async def _kill_under_load(house: House, mosquitto: Server, number: int) -> None:
    moving = asyncio.create_task(_keep_moving(house))
    mosquitto.kill()
    await until(lambda: _count(house, e.DoorFailed) == number)
    moving.cancel()
    await asyncio.gather(moving, return_exceptions=True)


async def _keep_moving(house: House) -> None:
    dial = 9_400_000
    while True:
        dial += 1000
        house.happen(tuned(dial))
        await SystemClock().sleep_until(asyncio.get_running_loop().time() + 0.005)


def _count(house: House, kind: type[e.Event]) -> int:
    return sum(isinstance(told, kind) for told in house.told)


async def test_a_broker_that_hangs(
    house: House, mosquitto: Server, caplog: pytest.LogCaptureFixture
) -> None:
    """It is given up, tried anew, and when it wakes the newest value stands there, once said."""
    async with listening(mosquitto) as listener, running(door(house, mosquitto.port)):
        await until(lambda: is_ready(listener))
        mosquitto.freeze()
        house.happen(tuned(9_425_000))
        await until(lambda: _count(house, e.DoorFailed) == 1)
        house.happen(tuned(9_430_000))
        # One attempt more, at which it only keeps silent.
        await until(lambda: _count(house, e.DoorFailed) >= 2)
        mosquitto.thaw()
        await until(lambda: _count(house, e.DoorOpened) == 2)
        await until(lambda: listener.values()["vfod-main/dial/frequency"] == "9430000")
        assert "ready" == listener.values()["vfod/$state"]
    reasons = [told.reason for told in house.told if isinstance(told, e.DoorFailed)]
    assert ["lost", "unreachable"] == reasons[:2]
    assert [] == caplog.records, "the door says it, and the library does not"


async def test_leaving_while_the_broker_hangs(house: House, mosquitto: Server) -> None:
    """The library would wait for a word of it; the daemon's stop does not.

    That it takes no longer than two seconds is in test_mqtt_pacing.py, where the clock jumps.
    """
    async with running(door(house, mosquitto.port)):
        await until(lambda: _count(house, e.DoorOpened) == 1)
        mosquitto.freeze()
        began = asyncio.get_running_loop().time()
    assert asyncio.get_running_loop().time() - began < 30.0


async def test_a_cancellation_is_never_forgotten(mosquitto: Server) -> None:
    """Also when it comes in the same turn of the loop as the broker's word."""
    address = Address(host=mosquitto.host, port=mosquitto.port, client_id="vfod-attic")
    async with connect(address, will=("test/will", b"lost")) as broker:
        for turns in [*range(60)] * 5:
            publishing = asyncio.create_task(broker.publish("test/a", b"1", retain=False))
            for _ in range(turns):
                await _one_turn()
            accepted = publishing.cancel()
            await asyncio.gather(publishing, return_exceptions=True)
            assert accepted == publishing.cancelled()


@types.coroutine
def _one_turn() -> Iterator[None]:
    """Let the loop go round exactly once."""
    yield


async def test_a_daemon_that_dies_leaves_its_will(mosquitto: Server) -> None:
    """kill -9: the root is `lost` at once, and with it all its children."""
    async with listening(mosquitto) as listener:
        process = subprocess.Popen(  # noqa: ASYNC220 - starting it takes no time
            [sys.executable, "-m", "tests.outputs.mortal", str(mosquitto.port)], cwd=ROOT
        )
        try:
            await until(lambda: is_ready(listener))
        finally:
            process.kill()
            process.wait()
        await until(lambda: listener.values()["vfod/$state"] == "lost")
        validator = Validator()
        for message in listener.messages:
            validator.take(message)
        assert [] == validator.complaints


async def test_a_broker_that_is_not_there_yet(house: House, mosquitto: Server) -> None:
    """The daemon says so once, and finds the broker when it comes."""
    mosquitto.kill()
    async with running(door(house, mosquitto.port)):
        await until(lambda: _count(house, e.DoorFailed) == 1)
        mosquitto.start()
        await until(lambda: _count(house, e.DoorOpened) == 1)
    (failed, opened) = house.told
    assert isinstance(failed, e.DoorFailed)
    assert "unreachable" == failed.reason
    assert f"the MQTT broker at mqtt://127.0.0.1:{mosquitto.port} is unreachable" in failed.detail
    assert e.DoorOpened(door="mqtt", where=f"mqtt://127.0.0.1:{mosquitto.port}/homie/5/vfod") == (
        opened
    )


async def test_two_vfos(mosquitto: Server) -> None:
    """Each is a device of its own, and a setting reaches the one it names."""
    house = House(SystemClock(), "left", "right")
    for vfo in ("left", "right"):
        house.happen(GREETED, tuned(9_420_000), vfo=vfo)
    async with listening(mosquitto) as listener, running(door(house, mosquitto.port)):
        await until(lambda: is_ready(listener))
        await say(mosquitto, "homie/5/vfod-right/dial/frequency/set", "7200000")
        await until(lambda: listener.values()["vfod-right/dial/frequency"] == "7200000")
        assert "9420000" == listener.values()["vfod-left/dial/frequency"]
        assert ["right"] == [asked.vfo for asked in house.asked]
        assert [] == complaints(listener.messages)


async def test_a_vfo_that_left_the_configuration_is_taken_away(mosquitto: Server) -> None:
    """Its retained topics go, the state first; those of others with a like name stay."""
    left, both = House(SystemClock(), "left"), House(SystemClock(), "left", "right")
    for vfo in ("left", "right"):
        both.happen(GREETED, tuned(9_420_000), vfo=vfo)
    other = {
        "vfod-attic/$state": "ready",
        "vfod-attic/$description": '{"homie":"5.0","version":1}',
        "vfod-attic-right/$state": "ready",
        "vfod-attic-right/$description": '{"homie":"5.0","version":1,"root":"vfod-attic"}',
        "vfod-odd/$state": "ready",
        "vfod-odd/$description": "{",
    }
    for path, payload in other.items():
        await say(mosquitto, f"homie/5/{path}", payload, "-r")
    async with listening(mosquitto) as listener:
        async with running(door(both, mosquitto.port)):
            await until(lambda: is_ready(listener))
        await until(lambda: listener.values()["vfod/$state"] == "disconnected")
        assert "9420000" == listener.values()["vfod-right/dial/frequency"]
        async with running(door(left, mosquitto.port)):
            await until(lambda: not any(t.startswith("vfod-right") for t in listener.values()))
            assert is_ready(listener)
            assert "vfod-left/$state" in listener.values()
        assert other.items() <= listener.values().items()
        ours = [m for m in listener.messages if m.topic.split("/")[2] not in _devices(other)]
        assert [] == complaints(ours)
        paths = [m.topic.removeprefix("homie/5/vfod-right/") for m in ours if not m.payload]
        assert paths.index("$state") < paths.index("$description")
        assert paths.index("$state") < paths.index("dial/frequency")


def _devices(paths: Iterable[str]) -> set[str]:
    return {path.partition("/")[0] for path in paths}
