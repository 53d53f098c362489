"""What the devices consist of: the nodes and properties of the daemon and of a VFO.

What a box cannot measure or switch is not described. Pure.
"""

from dataclasses import dataclass, replace

from vfod.outputs.mqtt import homie
from vfod.outputs.mqtt.homie import Device, Node, Property
from vfod.state import LinkPhase, SoundPhase, SweepPhase

#: Value of the band between bands: an enumeration must have one for every case.
OUTSIDE = "outside"

#: What can be done with a sweep, beside `start` and its name.
ACTIONS = ("stop", "stay", "resume", "skip")
START = "start "

#: Whether the wall clock can be believed.
TRUSTED, DOUBTED = "trusted", "doubted"

#: What the sound of a VFO can be once anything is known of it.
_SOUNDS = tuple(phase for phase in SoundPhase if phase is not SoundPhase.NONE)

#: Limits of vfod.requests.SetStep.
_STEPS = "1:1000000"


@dataclass(frozen=True, kw_only=True, slots=True)
class Offer:
    """What a VFO offers beside its state: dial limits in hertz, names of bands and sweeps."""

    low: int | None = None
    high: int | None = None
    bands: tuple[str, ...] = ()
    sweeps: tuple[str, ...] = ()
    #: "dBm" where the chain is calibrated, else "dB".
    level_unit: str = "dB"
    #: Whether levels come from the receiver's sound.
    by_sound: bool = False
    #: Whether anything may be set.
    settable: bool = True


def daemon(*, id: str, name: str, children: tuple[str, ...]) -> Device:
    """The root device."""
    return Device(id=id, name=name, nodes=(_DAEMON,), children=children)


def vfo(*, id: str, name: str, root: str, offer: Offer, abilities: frozenset[str]) -> Device:
    """The device of a VFO whose box has these abilities (docs/protocol.md)."""
    nodes = [_dial(offer, "knob" in abilities), _LINK, _sweep(offer), _WINDOW]
    if offer.by_sound or "level" in abilities:
        nodes += [_level(offer), _heard(offer)]
    if offer.by_sound:
        nodes.append(_SOUND)
    if power := tuple(p for p in _POWER if _POWER[p] in abilities):
        nodes.append(Node(id="power", name="Power", properties=power))
    nodes += [node for ability, node in _SWITCHES.items() if ability in abilities]
    if not offer.settable:
        nodes = [_only_shown(node) for node in nodes]
    else:
        nodes.append(_LOG)
    return Device(id=id, name=name, nodes=tuple(nodes), root=root)


def _only_shown(node: Node) -> Node:
    """Nothing of it can be set, and what has no value to show is left out."""
    shown = (replace(p, settable=False) for p in node.properties if p.retained)
    return replace(node, properties=tuple(shown))


def _text(id: str, name: str) -> Property:
    return Property(id=id, name=name, datatype="string")


def _moment(id: str, name: str) -> Property:
    return Property(id=id, name=name, datatype="datetime")


def _count(id: str, name: str) -> Property:
    return Property(id=id, name=name, datatype="integer", format="0:", unit="#")


_DAEMON = Node(
    id="daemon",
    name="Daemon",
    properties=(
        _text("version", "Version"),
        _moment("started", "Started"),
        _text("configuration", "Digest of the configuration"),
        Property(
            id="clock",
            name="Clock of the machine",
            datatype="enum",
            format=homie.enum_format((TRUSTED, DOUBTED)),
        ),
    ),
)

_LINK = Node(
    id="link",
    name="Line to the VFO",
    properties=(
        Property(id="state", name="State", datatype="enum", format=homie.enum_format(LinkPhase)),
        _text("reason", "Why it is down"),
        _text("model", "Model"),
        _text("firmware", "Firmware"),
        _moment("since", "Since"),
        _count("losses", "Losses"),
    ),
)

_SOUND = Node(
    id="sound",
    name="Sound of the receiver",
    properties=(
        Property(id="state", name="State", datatype="enum", format=homie.enum_format(_SOUNDS)),
        _text("reason", "Why it is gone"),
        _moment("since", "Since"),
        Property(id="delay", name="By how much it is late", datatype="float", unit="s"),
    ),
)

_LOG = Node(
    id="log",
    name="Listener's log",
    properties=(
        Property(id="note", name="Write a note", datatype="string", settable=True, retained=False),
    ),
)

_WINDOW = Node(
    id="window",
    name="Window",
    properties=(
        Property(id="open", name="Open", datatype="boolean"),
        _text("name", "Name"),
        _moment("closes", "Closes"),
        _moment("next", "Next opening"),
        _text("next-sweep", "Sweep of the next"),
    ),
)

#: By the ability that it takes.
_POWER = {
    Property(id="battery", name="Battery", datatype="float", unit="V"): "battery",
    Property(id="low", name="Battery low", datatype="boolean"): "battery",
    Property(id="temperature", name="Temperature", datatype="float", unit="°C"): "temperature",
}

#: By ability.
_SWITCHES = {
    "output": Node(
        id="output",
        name="Oscillator output",
        properties=(Property(id="on", name="On", datatype="boolean", settable=True),),
    ),
    "select": Node(
        id="filter",
        name="Band filter",
        properties=(
            Property(id="select", name="Number", datatype="integer", format="0:15", unit="#"),
            _count("switchings", "Switchings"),
        ),
    ),
    "mute": Node(
        id="speaker",
        name="Speaker",
        properties=(Property(id="muted", name="Muted", datatype="boolean", settable=True),),
    ),
}


def _dial(offer: Offer, has_knob: bool) -> Node:
    low, high = ("" if limit is None else str(limit) for limit in (offer.low, offer.high))
    properties = (
        Property(
            id="frequency",
            name="Dial frequency",
            datatype="integer",
            format=f"{low}:{high}" if low or high else "",
            unit="Hz",
            settable=True,
        ),
        Property(
            id="band",
            name="Band",
            datatype="enum",
            format=homie.enum_format((OUTSIDE, *offer.bands)),
            settable=True,
        ),
        Property(id="wavelength", name="Wavelength", datatype="float", unit="m"),
        Property(
            id="step",
            name="Step",
            datatype="integer",
            format=_STEPS,
            unit="Hz",
            settable=has_knob,
        ),
        Property(
            id="nudge",
            name="Nudge by steps",
            datatype="integer",
            unit="#",
            settable=True,
            retained=False,
        ),
        _text("moved-by", "Moved by"),
        _moment("moved-at", "Moved at"),
    )
    return Node(id="dial", name="Dial", properties=properties)


def _sweep(offer: Offer) -> Node:
    actions = (*ACTIONS, *(START + name for name in offer.sweeps))
    properties = (
        Property(id="state", name="State", datatype="enum", format=homie.enum_format(SweepPhase)),
        _text("name", "Name"),
        Property(id="channel", name="Channel", datatype="integer", unit="Hz"),
        Property(
            id="progress", name="Progress of the pass", datatype="integer", format="0:100", unit="%"
        ),
        _count("passes", "Passes"),
        _count("visits", "Visits"),
        Property(id="without-levels", name="Goes on without levels", datatype="boolean"),
        _text("yielded-to", "Yielded to"),
        _moment("until", "Yields until"),
        Property(
            id="action",
            name="Action",
            datatype="enum",
            format=homie.enum_format(actions),
            settable=True,
            retained=False,
        ),
    )
    return Node(id="sweep", name="Sweep", properties=properties)


def _heard(offer: Offer) -> Node:
    """The channel that was last found active."""
    properties = (
        Property(id="channel", name="Channel", datatype="integer", unit="Hz"),
        _text("band", "Band"),
        Property(id="level", name="Level", datatype="float", unit=offer.level_unit),
        Property(id="now", name="At its last visit", datatype="boolean"),
        _moment("first", "First heard"),
        _moment("last", "Last heard"),
    )
    return Node(id="heard", name="Last heard", properties=properties)


def _level(offer: Offer) -> Node:
    properties = (
        Property(id="value", name="Level", datatype="float", unit=offer.level_unit),
        Property(id="floor", name="Noise floor", datatype="float", unit=offer.level_unit),
    )
    return Node(id="level", name="Level", properties=properties)
