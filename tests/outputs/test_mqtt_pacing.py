"""What goes to a broker and when, on the clock that jumps, with a broker in memory."""

import asyncio
import itertools
import json
from collections.abc import AsyncIterator

import pytest

from tests.outputs.homie_validator import complaints
from tests.outputs.house import GREETED, House, observed, tuned
from tests.outputs.mqtt_parts import MemoryBroker, door, running
from vfod import events as e
from vfod.origin import Door, Origin
from vfod.outputs.mqtt.session import WAITING
from vfod.requests import Nudge, Tune
from vfod.sim.jump import SimClock

pytestmark = pytest.mark.no_leaks

SWEEP = Origin(door=Door.SWEEP, who="evening")
SET = "homie/5/vfod-main/dial/frequency/set"


class Air:
    """A house whose door stands open at a broker in memory."""

    def __init__(self) -> None:
        self.clock = SimClock(1_795_629_600.0)
        self.house = House(self.clock)
        self.broker = MemoryBroker(self.clock)
        self.mqtt = door(self.house, connects=self.broker.connect)

    async def wait(self, seconds: float) -> None:
        await self.clock.sleep_until(self.clock.monotonic() + seconds)

    async def sweep(self, visits: int, each: float) -> list[int]:
        """Visit channels at an even pace; gives their frequencies."""
        dials = [9_400_000 + 5000 * number for number in range(visits)]
        for dial in dials:
            self.house.happen(tuned(dial, SWEEP))
            await self.wait(each)
            self.house.happen(observed(dial))
        return dials


@pytest.fixture
async def air() -> AsyncIterator[Air]:
    """Open, with a box that has greeted, and quiet."""
    air = Air()
    air.house.happen(GREETED)
    async with running(air.mqtt):
        await air.wait(0.1)
        yield air
        await air.wait(2)
        assert [] == complaints(air.broker.heard())


async def test_a_sweep_is_told_once_a_second(air: Air) -> None:
    """Ten visits a second for ten seconds: a value a second at most, and the last one is right."""
    dials = await air.sweep(100, 0.1)
    await air.wait(1)
    for path in ("dial/frequency", "sweep/channel"):
        told = air.broker.of(f"vfod-main/{path}")
        times = [time for time, _ in told]
        assert 10 <= len(told) <= 12
        assert all(late - early >= 1.0 for early, late in itertools.pairwise(times)), path
        assert str(dials[-1]) == told[-1][1]


async def test_a_hand_and_a_person_are_told_at_once(air: Air) -> None:
    """In the midst of a sweep, without waiting for the second to be over."""
    await air.sweep(15, 0.1)
    for dial, event in (
        (9_700_000, e.KnobTurned(number=1, dial=9_700_000, oscillator=10_155_000_000)),
        (9_705_000, tuned(9_705_000, Door.SHELL)),
        (9_710_000, tuned(9_710_000, Door.PAGE)),
        (9_715_000, tuned(9_715_000, Door.MQTT)),
    ):
        await air.wait(0.05)
        air.house.happen(event)
        happened = air.clock.monotonic()
        await air.wait(0.05)
        assert (happened, str(dial)) == air.broker.of("vfod-main/dial/frequency")[-1]


async def test_a_slow_broker_gets_the_newest_values_and_no_queue(air: Air) -> None:
    """Three seconds a message: what it gets is at most one message old, however much happened."""
    air.broker.delay = 3.0
    for number in range(400):
        turned = e.KnobTurned(number=number, dial=9_400_000 + number, oscillator=number)
        air.house.happen(turned)
        await air.wait(0.1)
    last = air.house.snapshot().vfos["main"].dial
    await air.wait(20)
    told = air.broker.of("vfod-main/dial/frequency")
    assert str(last) == told[-1][1]
    assert len(told) < 15, "40 s at 3 s a message, shared with other topics"
    air.broker.delay = 0.0


async def test_everything_is_said_again_to_a_new_connection(air: Air) -> None:
    """And in the same order: states, descriptions, values, then ready; children before the root."""
    air.house.happen(tuned(9_420_000))
    await air.wait(0.1)
    before = len(air.broker.published)
    air.broker.lose()
    await air.wait(2)
    again = [heard.topic.removeprefix("homie/5/") for heard in air.broker.heard()[before:]]
    assert ["vfod/$state", "vfod-main/$state", "vfod-main/$description"] == again[:3]
    assert "vfod-main/dial/frequency" in again
    assert again.index("vfod/$description") > max(
        place for place, topic in enumerate(again) if topic.startswith("vfod-main/")
    )
    assert ["init", "ready"] == [text for _, text in air.broker.of("vfod-main/$state")][-2:]
    assert [e.DoorOpened, e.DoorFailed, e.DoorOpened] == [type(told) for told in air.house.told]


async def test_another_box_is_described_anew(air: Air) -> None:
    """`init`, the new description, `ready`; what the new box cannot measure is taken away."""
    air.house.happen(tuned(9_420_000), e.BoxMeasured(battery=8.0, temperature=20.0))
    await air.wait(0.1)
    assert "8.00" == air.broker.of("vfod-main/power/battery")[-1][1]
    smaller = {name: getattr(GREETED, name) for name in GREETED.__dataclass_fields__}
    smaller |= {"low": 5_455_000_000, "high": 15_455_000_000, "abilities": ("knob",)}
    air.house.happen(e.LinkLost(port="/dev/vfo", reason="lost", detail="unplugged"))
    await air.wait(0.1)
    air.house.happen(e.LinkGreeted(**smaller))
    await air.wait(0.1)
    states = [text for _, text in air.broker.of("vfod-main/$state")]
    assert ["ready", "lost", "init", "ready"] == states[-4:]
    assert '"5000000:15000000"' in air.broker.of("vfod-main/$description")[-1][1]
    assert "" == air.broker.of("vfod-main/power/battery")[-1][1]
    root = [text for _, text in air.broker.of("vfod/$state")]
    assert ["init", "ready"] == root, "the daemon was there all the time"


async def test_a_box_that_can_do_everything(air: Air) -> None:
    """Every property there is, with a value, against the convention (the fixture looks)."""
    able = {name: getattr(GREETED, name) for name in GREETED.__dataclass_fields__}
    able["abilities"] = (*GREETED.abilities, "mute", "output", "select")
    origin = Origin(door=Door.SHELL, who="listener")
    air.house.happen(
        e.LinkGreeted(**able),
        tuned(9_420_000),
        e.BandEntered(band="31m", left=None),
        e.StepChanged(step=1000, by=origin),
        e.BoxMeasured(battery=8.0, temperature=-3.0),
        e.FilterSelected(select=0),
        e.FilterSelected(select=3),
        e.AudioHeard(source="parec rx"),
        e.AudioTimed(delay=0.2, means="mute", used=0.2),
        e.OutputSwitched(on=True, by=origin),
        e.SpeakerMuted(muted=False, by=origin),
        e.WindowAwaited(window="next", sweep="evening", opens=2e9, closes=2e9 + 60),
        e.WindowOpened(window="now", sweep="evening", night="2026-11-25", opens=1e9, closes=2e9),
        e.SweepStarted(sweep="evening", channels=3, dial=9_400_000, by=origin),
        observed(9_405_000, active=True),
        e.SweepYielded(sweep="evening", dial=9_410_000, to=origin, until=1.9e9),
    )
    await air.wait(3)
    described = json.loads(air.broker.of("vfod-main/$description")[-1][1])["nodes"]
    retained = [
        f"{node}/{name}"
        for node, of in described.items()
        for name, property_ in of["properties"].items()
        if property_.get("retained", True)
    ]
    assert len(retained) > 35
    unknown = [path for path in retained if not air.broker.of(f"vfod-main/{path}")[-1][1]]
    assert [] == unknown


async def test_a_setting_is_carried_out_and_said(air: Air) -> None:
    """The value that holds follows every setting, also one that changes nothing."""
    for _ in range(2):
        air.broker.send(SET, "9420000")
        await air.wait(0.1)
    origin = Origin(door=Door.MQTT, who="vfod")
    assert [(Tune(frequency=9_420_000), origin, "main")] * 2 == [
        (asked.request, asked.origin, asked.vfo) for asked in air.house.asked
    ]
    assert 2 == len({asked.id for asked in air.house.asked})
    told = [text for _, text in air.broker.of("vfod-main/dial/frequency")]
    assert ["9420000", "9420000"] == [text for text in told if text][-2:]
    assert [("mqtt", "tune", "ok")] * 2 == air.house.counted


async def test_a_setting_that_is_refused(air: Air) -> None:
    """Says why on the log topic, counts, and says the value that holds again."""
    air.house.happen(tuned(9_420_000))
    await air.wait(0.1)
    for payload, result in (("9421", "request"), ("x", "request"), ("30000000", "ok")):
        before = len(air.broker.of("vfod-main/dial/frequency"))
        air.broker.send(SET, payload)
        await air.wait(0.1)
        assert len(air.broker.of("vfod-main/dial/frequency")) > before
        assert ("mqtt", result) == air.house.counted[-1][::2]
    air.broker.send("homie/5/vfod-main/sweep/action/set", "stop")
    await air.wait(0.1)
    assert ("mqtt", "sweep-stop", "link-down") == air.house.counted[-1]
    warned = [text for _, text in air.broker.of("vfod-main/$log/warn")]
    assert 3 == len(warned)
    assert "dial/frequency: 9421 is outside 150000 to 30000000 Hz; stay inside" in warned[0]
    assert "sweep/action: the VFO is not reachable; plug it in" == warned[2]


async def test_what_is_remarked_to_who_asked_is_on_the_log_topic(air: Air) -> None:
    """A sweep that waits for the VFO: the command is taken, and its log says what it waits for."""
    topic = "homie/5/vfod-main/sweep/action/set"
    air.broker.send(topic, "start evening")
    await air.wait(0.1)
    assert [] == air.broker.of("vfod-main/$log/info")
    air.house.remark = "the sweep will begin when the VFO is back: it has been away since Wed 12:00"
    air.broker.send(topic, "start evening")
    await air.wait(0.1)
    told = [text for _, text in air.broker.of("vfod-main/$log/info")]
    assert [f"sweep/action: {air.house.remark}"] == told
    assert [("mqtt", "sweep-start", "ok")] * 2 == air.house.counted


async def test_a_defect_behind_a_setting_does_not_close_the_door(
    air: Air, caplog: pytest.LogCaptureFixture
) -> None:
    """It is logged, told and counted, and the next setting works."""
    air.broker.send("homie/5/vfod-main/sweep/action/set", "resume")
    air.broker.send(SET, "9420000")
    await air.wait(0.1)
    assert ["internal", "ok"] == [result for _, _, result in air.house.counted]
    assert 1 == len(caplog.records)
    assert air.broker.of("vfod-main/$log/error")
    assert [e.DoorOpened] == [type(told) for told in air.house.told]


async def test_a_button_is_echoed_and_not_retained(air: Air) -> None:
    """A property without a lasting value says what it was given, once it was done."""
    air.broker.send("homie/5/vfod-main/sweep/action/set", "start evening")
    await air.wait(0.1)
    (echo,) = (h for h in air.broker.heard() if h.topic.endswith("sweep/action"))
    assert (b"start evening", False) == (echo.payload, echo.retained)


async def test_what_lay_at_the_broker_is_not_carried_out(air: Air) -> None:
    """A retained setting is of unknown age: ignored, and counted."""
    air.broker.send(SET, "9420000", retained=True)
    air.broker.send("homie/5/vfod-main/dial/nudge/set", "2")
    await air.wait(0.1)
    assert [Nudge(steps=2)] == [asked.request for asked in air.house.asked]
    assert ("mqtt", "other", "retained") == air.house.counted[0]


async def test_a_flood_of_settings_is_counted(air: Air) -> None:
    """Beyond those that may wait, none is carried out; those that wait are."""
    for hertz in range(3 * WAITING):
        air.broker.send(SET, str(9_000_000 + hertz))
    await air.wait(1)
    results = [result for _, _, result in air.house.counted]
    assert len(air.house.asked) == results.count("ok")
    assert WAITING <= len(air.house.asked) <= WAITING + 2
    assert 3 * WAITING == len(results)


async def test_the_farewell(air: Air) -> None:
    """Told of every device when the daemon leaves in good order; the root comes last."""
    broker = MemoryBroker(air.clock)
    async with running(door(air.house, connects=broker.connect)):
        await air.wait(0.1)
    assert [("vfod-main/$state", b"disconnected"), ("vfod/$state", b"disconnected")] == [
        (heard.topic.removeprefix("homie/5/"), heard.payload) for heard in broker.heard()[-2:]
    ]
    assert [] == complaints(broker.heard())


async def test_the_farewell_does_not_wait_for_a_broker_that_hangs(air: Air) -> None:
    """Two seconds at most."""
    broker = MemoryBroker(air.clock)
    task = asyncio.create_task(door(air.house, connects=broker.connect).run())
    await air.wait(0.1)
    broker.delay = 3600.0
    left = air.clock.monotonic()
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert air.clock.monotonic() - left <= 2.0


async def test_pauses_grow_while_a_broker_is_away() -> None:
    """Half a second first, then twice as long each time up to three seconds; said once."""
    air = Air()
    tries: list[float] = []

    def away(topic: str, payload: bytes) -> "MemoryBroker":
        assert ("homie/5/vfod/$state", b"lost") == (topic, payload)
        tries.append(air.clock.monotonic())
        raise OSError(111, "Connection refused")

    async with running(door(air.house, connects=away)):  # type: ignore[arg-type] # never returns
        await air.wait(300)
    gaps = [late - early for early, late in itertools.pairwise(tries)]
    for gap, pause in zip(gaps, (0.5, 1, 2, 3, 3, 3, 3, 3), strict=False):
        assert 0.75 * pause - 1e-6 <= gap <= 1.25 * pause + 1e-6
    (told,) = air.house.told
    assert isinstance(told, e.DoorFailed)
    assert ("mqtt", "system") == (told.door, told.reason)
