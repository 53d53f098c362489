"""What a household sees and may set, as values: no broker, no waiting."""

import json
from dataclasses import fields, is_dataclass, replace
from typing import Any

import pytest

from tests.outputs import homie_validator
from tests.outputs.house import GREETED, House, observed, tuned
from tests.outputs.mqtt_parts import offer_of
from vfod import events as e
from vfod import requests as r
from vfod.errors import DoorError, RequestError
from vfod.outputs.mqtt import homie
from vfod.outputs.mqtt.commands import method_of, request_for
from vfod.outputs.mqtt.devices import Devices
from vfod.outputs.mqtt.homie import Shown
from vfod.sim.jump import SimClock
from vfod.state import LinkPhase, SoundPhase, State, SweepPhase, VfoState

#: 2026-11-25 18:00:00 UTC.
EVENING = 1_795_629_600.0


def shown(house: House) -> dict[str, Shown]:
    devices = Devices(root="vfod", name="Attic", offer_of=offer_of)
    return {one.device.id: one for one in devices.shown(house.snapshot())}


@pytest.fixture
async def house() -> House:
    """An evening: the box is there, a window is open, the third of four channels was active."""
    house = House(SimClock(EVENING))
    house.tell(e.DaemonStarted(version="0.1.0", config_path="/etc/vfod.yaml", config_digest="ab"))
    house.happen(
        GREETED,
        e.StepChanged(step=5000, by=e.Origin(door=e.Door.DAEMON)),
        e.BoxMeasured(battery=8.137, temperature=-3.25),
        e.AudioHeard(source="parec rx"),
        e.AudioTimed(delay=0.1869, means="mute", used=0.1869),
        e.WindowAwaited(
            window="tomorrow", sweep="dawn patrol", opens=EVENING + 41400, closes=EVENING + 45000
        ),
        e.WindowOpened(
            window="tonight",
            sweep="evening",
            night="2026-11-25",
            opens=EVENING,
            closes=EVENING + 3600,
        ),
        e.SweepStarted(
            sweep="evening", channels=4, dial=9_400_000, by=e.Origin(door=e.Door.WINDOW)
        ),
        tuned(9_410_000, e.Origin(door=e.Door.SWEEP, who="evening")),
        e.BandEntered(band="31m", left=None),
        observed(9_400_000),
        observed(9_405_000),
        observed(9_410_000, active=True),
    )
    return house


async def test_every_value_of_an_evening(house: House) -> None:
    """By hand: 299 792 458 m/s / 9.41 MHz = 31.859 m; 3 of 4 channels are 75 %."""
    found = shown(house)
    assert ["vfod-main", "vfod"] == list(found), "a child comes before the root that describes it"
    assert {
        "dial/frequency": "9410000",
        "dial/band": "31m",
        "dial/wavelength": "31.859",
        "dial/step": "5000",
        "dial/moved-by": "sweep (evening)",
        "dial/moved-at": "2026-11-25T18:00:00Z",
        "link/state": "up",
        "link/reason": "",
        "link/model": "attic",
        "link/firmware": "1.0",
        "link/since": "2026-11-25T18:00:00Z",
        "link/losses": "0",
        "sweep/state": "sweeping",
        "sweep/name": "evening",
        "sweep/channel": "9410000",
        "sweep/progress": "75",
        "sweep/passes": "0",
        "sweep/visits": "3",
        "sweep/without-levels": "false",
        "sweep/yielded-to": None,
        "sweep/until": None,
        "window/open": "true",
        "window/name": "tonight",
        "window/closes": "2026-11-25T19:00:00Z",
        "window/next": "2026-11-26T05:30:00Z",
        "window/next-sweep": "dawn patrol",
        "level/value": "-70.0",
        "level/floor": "-104.0",
        "sound/state": "good",
        "sound/reason": "",
        "sound/since": "2026-11-25T18:00:00Z",
        "sound/delay": "0.187",
        "heard/channel": "9410000",
        "heard/band": "31m",
        "heard/level": "-70.0",
        "heard/now": "true",
        "heard/first": "2026-11-25T18:00:00Z",
        "heard/last": "2026-11-25T18:00:00Z",
        "power/battery": "8.14",
        "power/low": "false",
        "power/temperature": "-3.2",
        "$alert/link": None,
        "$alert/battery": None,
        "$alert/sound": None,
    } == dict(found["vfod-main"].values)
    assert {
        "daemon/version": "0.1.0",
        "daemon/configuration": "ab",
        "daemon/clock": "trusted",
        "$alert/clock": None,
        "daemon/started": "2026-11-25T18:00:00Z",
    } == dict(found["vfod"].values)
    assert {"ready"} == {one.state for one in found.values()}


async def test_the_description_says_what_may_be_set(house: House) -> None:
    """Formats, units and the place in the tree, as the convention names them."""
    found: Any = json.loads(shown(house)["vfod-main"].device.description())
    assert ("5.0", "vfod", "vfod") == (found["homie"], found["root"], found["parent"])
    dial = found["nodes"]["dial"]["properties"]
    assert {
        "name": "Dial frequency",
        "datatype": "integer",
        "format": "150000:30000000",
        "unit": "Hz",
        "settable": True,
    } == dial["frequency"]
    assert ("outside,41m,31m", True) == (dial["band"]["format"], dial["band"]["settable"])
    assert ("m", "float") == (dial["wavelength"]["unit"], dial["wavelength"]["datatype"])
    assert dial["nudge"]["retained"] is False
    nodes = found["nodes"]
    assert (
        "stop,stay,resume,skip,start evening,start dawn patrol"
        == nodes["sweep"]["properties"]["action"]["format"]
    )
    assert "dBm" == nodes["level"]["properties"]["value"]["unit"]
    assert "°C" == nodes["power"]["properties"]["temperature"]["unit"]
    assert "output" not in nodes, "this box cannot switch it"
    root: Any = json.loads(shown(house)["vfod"].device.description())
    assert ["vfod-main"] == root["children"]
    assert "root" not in root


async def test_the_version_changes_with_the_description(house: House) -> None:
    """And only with it: a controller reads a description again when its version differs."""
    before = shown(house)["vfod-main"].device.description()
    house.happen(tuned(9_500_000))
    assert before == shown(house)["vfod-main"].device.description()
    house.happen(e.LinkGreeted(**{**fields_of(GREETED), "abilities": ("knob",)}))
    after = shown(house)["vfod-main"].device.description()
    assert json.loads(before)["version"] != json.loads(after)["version"]


def fields_of(event: e.LinkGreeted) -> dict[str, Any]:
    return {name: getattr(event, name) for name in event.__dataclass_fields__}


#: Parts of the state that are shown in another way, or that no household asks for.
NOT_SHOWN = {
    "oscillator": "the dial's frequency stands for it",
    "produced": "the same, as the box rounds it",
    "correction": "a property of the receiver, which vfod calibrate tells",
    "correction_source": "where that comes from",
    "level_unit": "the unit of the level",
    "visits": "a number for dashboards; those of the sweep are shown",
    "active_visits": "a number for dashboards",
    "link.port": "a path of the machine",
    "link.serial": "a number of the box, by which it could be recognised",
    "link.low": "in the format of the dial's frequency",
    "link.high": "in the format of the dial's frequency",
    "link.resolution": "a property of the box, far below what is set from there",
    "sweep.revisit": "what a pass took; dashboards have the figures of passes",
    "sweep.held": "a part of that",
    "sweep.since": "that of the window is shown",
    "window.next_name": "its sweep is shown",
    "window.next_closes": "only the open one's end is asked for",
}


async def test_every_part_of_the_state_changes_what_is_shown_or_is_listed(house: House) -> None:
    """A part that is added to the state is shown by MQTT, or somebody has said why not."""
    abilities = (*GREETED.abilities, "mute", "output", "select")
    house.happen(e.LinkGreeted(**{**fields_of(GREETED), "abilities": abilities}))
    house.happen(
        e.OutputSwitched(on=True, by=e.Origin(door=e.Door.WINDOW)),
        e.SpeakerMuted(muted=True, by=e.Origin(door=e.Door.SWEEP)),
        e.FilterSelected(select=3),
        e.SweepYielded(
            sweep="evening", dial=9_410_000, to=e.Origin(door=e.Door.KNOB), until=EVENING + 600
        ),
    )
    up = house.snapshot().vfos["main"]
    house.happen(
        e.LinkLost(port="/dev/vfo", reason="lost", detail="unplugged"),
        e.AudioLost(source="parec rx", reason="lost", detail="parec ended"),
    )
    down = house.snapshot().vfos["main"]
    unseen = [path for path in _paths(up) if not (_is_seen(up, path) or _is_seen(down, path))]
    assert sorted(NOT_SHOWN) == sorted(unseen)


def _is_seen(vfo: VfoState, path: str) -> bool:
    devices = Devices(root="vfod", name="Attic", offer_of=offer_of)
    before, after = (devices.shown(State(vfos={"main": one}))[0] for one in (vfo, _with(vfo, path)))
    return (before.state, before.values) != (after.state, after.values)


def _paths(vfo: VfoState) -> list[str]:
    found = []
    for field in fields(vfo):
        value = getattr(vfo, field.name)
        if is_dataclass(value) and not isinstance(value, e.Origin):
            found += [f"{field.name}.{part.name}" for part in fields(value)]
        else:
            found.append(field.name)
    return found


def _with(vfo: VfoState, path: str) -> VfoState:
    """The state with another value in one place."""
    name, _, part = path.partition(".")
    if part:
        inner = getattr(vfo, name)
        return replace(vfo, **{name: replace(inner, **{part: _other(getattr(inner, part))})})
    return replace(vfo, **{name: _other(getattr(vfo, name))})


def _other(value: object) -> Any:
    match value:
        case bool():
            return not value
        case LinkPhase() | SoundPhase() | SweepPhase():
            return next(phase for phase in type(value) if phase is not value)
        case int() | float():
            return value + 60
        case str():
            return f"{value}x"
        case tuple():
            return ()
        case None:
            return 60.0
        case e.Origin():
            return e.Origin(door=e.Door.PAGE)
        case None:
            return 60.0
    raise AssertionError(f"{value} was to be known")


async def test_a_band_is_always_one_of_the_format(house: House) -> None:
    """Between bands, and in one that is not offered, the value is `outside`."""
    for band in (None, "49m"):
        house.happen(e.BandEntered(band=band, left="31m"))
        assert "outside" == shown(house)["vfod-main"].values["dial/band"]


@pytest.mark.parametrize(
    ("path", "payload", "expected"),
    [
        ("dial/frequency", "9420000", r.Tune(frequency=9_420_000)),
        ("dial/band", "41m", r.GoToBand(band="41m")),
        ("dial/step", "5000", r.SetStep(step=5000)),
        ("dial/nudge", "-3", r.Nudge(steps=-3)),
        ("sweep/action", "stop", r.StopSweep()),
        ("sweep/action", "stay", r.Stay()),
        ("sweep/action", "resume", r.Resume()),
        ("sweep/action", "skip", r.SkipChannel()),
        ("log/note", "drums, then talk", r.TakeNote(text="drums, then talk")),
        ("sweep/action", "start dawn patrol", r.StartSweep(sweep="dawn patrol")),
    ],
)
async def test_what_may_be_set(house: House, path: str, payload: str, expected: r.Request) -> None:
    """Each settable property is a request of the table."""
    device = shown(house)["vfod-main"].device
    found = request_for(device, path, payload.encode())
    assert expected == found
    assert type(expected) is r.TABLE[method_of(found)]


async def test_switches_of_a_box_that_has_them(house: House) -> None:
    """Output and speaker appear with the abilities and can be set."""
    abilities = (*GREETED.abilities, "mute", "output")
    house.happen(e.LinkGreeted(**{**fields_of(GREETED), "abilities": abilities}))
    device = shown(house)["vfod-main"].device
    assert r.SwitchOutput(on=False) == request_for(device, "output/on", b"false")
    assert r.MuteSpeaker(muted=True) == request_for(device, "speaker/muted", b"true")
    for path in ("output/on", "speaker/muted"):
        with pytest.raises(RequestError, match="'off' is neither true nor false"):
            request_for(device, path, b"off")


@pytest.mark.parametrize(
    ("path", "payload", "says"),
    [
        ("dial/frequency", b"9420", "9420 is outside 150000 to 30000000 Hz; stay inside"),
        ("dial/frequency", b"9.42e6", "'9.42e6' is not a whole number of Hz"),
        ("dial/frequency", b"9420 kHz", "not a whole number of Hz"),
        ("dial/frequency", b"", "'' is not a whole number of Hz"),
        ("dial/frequency", b"\x00", "'' is not a whole number of Hz"),
        ("dial/frequency", b"\xff", "not UTF-8"),
        ("dial/frequency", "٩٤٢٠".encode(), "not a whole number"),
        ("dial/frequency", b"9" * 5000, "not a whole number"),
        ("dial/step", b"0", "outside 1 to 1000000 Hz"),
        ("dial/band", b"49m", "'49m' is not one of its values; known: outside,41m,31m"),
        ("dial/band", b"outside", "outside is no band to go to"),
        ("dial/band", b"up", "is not one of its values"),
        ("sweep/action", b"start", "is not one of its values"),
        ("sweep/action", b"start night", "is not one of its values"),
        ("log/note", b"", "a note needs some words"),
        ("log/note", b"one\ntwo", "a note is one line"),
        ("log/note", b"x" * 5000, "is too long"),
        ("link/state", b"up", "'link/state' cannot be set; settable are dial/frequency"),
        ("no/such", b"1", "cannot be set"),
    ],
)
async def test_what_may_not_be_set(house: House, path: str, payload: bytes, says: str) -> None:
    """The complaint names the property and what it takes."""
    device = shown(house)["vfod-main"].device
    with pytest.raises(RequestError) as refusal:
        request_for(device, path, payload)
    assert says in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "expected"),
    [("main", "main"), ("Left One", "left-one"), ("Küche_2", "k-che-2"), ("-a-", "a")],
)
def test_names_become_ids(text: str, expected: str) -> None:
    assert expected == homie.identifier(text)
    assert homie_validator.ID.fullmatch(homie.identifier(text))


def test_names_that_mqtt_cannot_carry_are_named() -> None:
    """No letter at all, or a comma in a list."""
    with pytest.raises(DoorError, match="has no letter"):
        homie.identifier("?")
    with pytest.raises(DoorError, match=r"'a,b' cannot stand in a list of MQTT; .* comma"):
        homie.enum_format(["a,b"])


def test_an_empty_text_is_not_an_empty_payload() -> None:
    """The convention: one byte 0 for the empty text, since an empty payload removes the topic."""
    assert (b"\x00", b"", b"a") == tuple(homie.payload(text) for text in ("", None, "a"))
