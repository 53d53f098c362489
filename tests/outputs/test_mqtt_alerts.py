"""What is wrong, as a household is alerted of it: no broker, no waiting."""

from dataclasses import replace

from tests.outputs.house import GREETED, House
from tests.outputs.mqtt_parts import offer_of
from tests.outputs.test_mqtt_devices import EVENING, fields_of, house, shown
from vfod import events as e
from vfod.outputs.mqtt.devices import Devices
from vfod.outputs.mqtt.nodes import Offer
from vfod.sim.jump import SimClock
from vfod.state.model import LinkState

__all__ = ["house"]  # the fixture of an evening


async def test_an_unplugged_box_is_lost_and_the_daemon_is_not(house: House) -> None:
    """`init` before the first greeting, `lost` after it went, with an alert that ends with it."""
    fresh = shown(House(SimClock(EVENING)))
    assert ("init", "ready") == (fresh["vfod-main"].state, fresh["vfod"].state)
    assert fresh["vfod-main"].values["dial/frequency"] is None
    assert fresh["vfod-main"].values["dial/band"] is None
    house.happen(e.LinkLost(port="/dev/vfo", reason="lost", detail="unplugged"))
    lost = shown(house)
    assert ("lost", "ready") == (lost["vfod-main"].state, lost["vfod"].state)
    values = lost["vfod-main"].values
    assert ("down", "lost", "9410000") == (
        values["link/state"],
        values["link/reason"],
        values["dial/frequency"],
    )
    assert values["$alert/link"]
    house.happen(GREETED)
    assert shown(house)["vfod-main"].values["$alert/link"] is None


async def test_a_low_battery_is_an_alert_until_it_is_charged(house: House) -> None:
    """It says what to do; the value beside it is for automation."""
    house.happen(e.BatteryLow(battery=6.6))
    values = shown(house)["vfod-main"].values
    assert ("6.60", "true") == (values["power/battery"], values["power/low"])
    assert "battery is low: charge it" in str(values["$alert/battery"])
    house.happen(e.BatteryFine(battery=8.2))
    values = shown(house)["vfod-main"].values
    assert ("8.20", "false", None) == (
        values["power/battery"],
        values["power/low"],
        values["$alert/battery"],
    )


async def test_sound_that_is_gone_is_an_alert_until_it_is_back(house: House) -> None:
    """With since when, why, and that the sweep measures nothing; the values are for automation."""
    assert "level/value" in shown(house)["vfod-main"].values, "by sound, whatever the box can do"
    house.happen(
        e.AudioLost(source="parec rx", reason="lost", detail="parec ended"),
        e.LevelsMissed(sweep="evening", reason="gone"),
    )
    values = shown(house)["vfod-main"].values
    assert ("gone", "lost", "true") == (
        values["sound/state"],
        values["sound/reason"],
        values["sweep/without-levels"],
    )
    alert = str(values["$alert/sound"])
    assert alert.startswith("no sound from parec rx since Wed 18:00: parec ended; it is tried")
    assert alert.endswith("; sweep evening goes on without levels since Wed 18:00")
    house.happen(e.AudioHeard(source="parec rx"), e.LevelsFound(sweep="evening"))
    values = shown(house)["vfod-main"].values
    assert ("good", "", "false", None) == (
        values["sound/state"],
        values["sound/reason"],
        values["sweep/without-levels"],
        values["$alert/sound"],
    )
    house.happen(e.AudioJudged(soundness="clipped"))
    values = shown(house)["vfod-main"].values
    assert "clipped" == values["sound/state"]
    assert "turn down the level of the recording" in str(values["$alert/sound"])


async def test_without_sound_there_is_no_word_of_it(house: House) -> None:
    """A VFO whose levels come from its box has no such node; one by sound has levels."""

    def without(vfo: str, link: LinkState) -> Offer:
        return replace(offer_of(vfo, link), by_sound=False)

    devices = Devices(root="vfod", name="Attic", offer_of=without)
    values = devices.shown(house.snapshot())[0].values
    assert not [path for path in values if path.startswith("sound/")]
    mute = e.LinkGreeted(**{**fields_of(GREETED), "abilities": ("knob",)})
    house.happen(mute)
    assert "level/value" not in devices.shown(house.snapshot())[0].values
    assert "level/value" in shown(house)["vfod-main"].values


async def test_a_doubted_clock_is_an_alert_of_the_daemon(house: House) -> None:
    """It says what does not happen because of it, and what to do, until it can be believed."""
    house.tell(e.ClockDoubted(known=EVENING, reason="before-journal"))
    values = shown(house)["vfod"].values
    assert "doubted" == values["daemon/clock"]
    alert = str(values["$alert/clock"])
    assert "earlier than the newest entry of the journal: no window runs; set the clock" in alert
    house.tell(e.ClockTrusted(doubted=60.0))
    values = shown(house)["vfod"].values
    assert ("trusted", None) == (values["daemon/clock"], values["$alert/clock"])


async def test_a_door_that_fails_is_an_alert_of_the_daemon(house: House) -> None:
    """Except MQTT's own, of which nobody could hear."""
    house.tell(e.DoorFailed(door="web", reason="busy", detail="taken"))
    house.tell(e.DoorFailed(door="mqtt", reason="lost", detail="gone"))
    values = shown(house)["vfod"].values
    assert {"$alert/web"} == {path for path in values if path.startswith("$alert") and values[path]}
    assert "web: busy" == shown(house)["vfod"].values["$alert/web"]
