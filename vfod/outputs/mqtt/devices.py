"""What of the state a household sees: the daemon as the root device, each VFO as a child of it.

An unplugged VFO must not look like a dead daemon, so each has a `$state` of its own: `init` until
its box has greeted, `ready` while the line works, `lost` when it does not. Pure.
"""

from collections.abc import Callable
from datetime import tzinfo

from vfod.events import Door
from vfod.outputs.mqtt import homie, nodes
from vfod.outputs.mqtt.homie import Device, Shown
from vfod.outputs.mqtt.nodes import DOUBTED, OUTSIDE, TRUSTED, Offer
from vfod.state import LinkPhase, SoundPhase, State, VfoState, show
from vfod.state.model import LinkState
from vfod.state.say import doubted_text

#: Name under which the MQTT door is known; a broker that is away cannot be told so.
NAME = "mqtt"

#: The offer of a VFO by name, given the line to it; asked again when another box greets.
OfferOf = Callable[[str, LinkState], Offer]


class Devices:
    """Turns a state into devices; remembers descriptions while they stay the same."""

    def __init__(self, *, root: str, name: str, offer_of: OfferOf) -> None:
        self.root = homie.identifier(root)
        self._name = name
        self._offer_of = offer_of
        self._described: dict[str, tuple[object, Device]] = {}

    def id_of(self, vfo: str) -> str:
        """The device of a VFO."""
        return f"{self.root}-{homie.identifier(vfo)}"

    def vfo_of(self, state: State, device: str) -> str | None:
        """The VFO of a device."""
        return next((vfo for vfo in state.vfos if self.id_of(vfo) == device), None)

    def shown(self, state: State) -> list[Shown]:
        """All devices, children before the root that describes them."""
        children = [self._vfo(name, vfo, state.place) for name, vfo in state.vfos.items()]
        return [*children, self._daemon(state)]

    def _daemon(self, state: State) -> Shown:
        alerts = {
            f"$alert/{homie.identifier(name)}": None if door.up else f"{name}: {door.reason}"
            for name, door in state.doors.items()
            if name != NAME
        }
        doubt = state.clock_doubted
        alerts["$alert/clock"] = doubted_text(doubt) if doubt else None
        children = tuple(self.id_of(vfo) for vfo in state.vfos)
        device = nodes.daemon(id=self.root, name=self._name, children=children)
        values = {
            "daemon/version": state.version or None,
            "daemon/configuration": state.config_digest or None,
            "daemon/clock": DOUBTED if doubt else TRUSTED,
            "daemon/started": None if state.started is None else homie.moment(state.started),
        }
        return Shown(device=device, state=homie.READY, values=values | alerts)

    def _vfo(self, name: str, vfo: VfoState, zone: tzinfo) -> Shown:
        device = self._device(name, vfo.link)
        described = device.properties()
        every = _values(vfo)
        values = {path: every[path] for path, of in described.items() if of.retained}
        if (band := values["dial/band"]) not in described["dial/band"].format.split(","):
            values["dial/band"] = OUTSIDE if band else None
        return Shown(
            device=device,
            state=_state(vfo.link),
            values=values | _alerts(vfo, zone),
            paced=_PACED | _DIAL if _is_swept(vfo) else _PACED,
        )

    def _device(self, name: str, link: LinkState) -> Device:
        key = (link.low, link.high, link.abilities)
        known = self._described.get(name)
        if known is not None and known[0] == key:
            return known[1]
        device = nodes.vfo(
            id=self.id_of(name),
            name=f"VFO {name}",
            root=self.root,
            offer=self._offer_of(name, link),
            abilities=frozenset(link.abilities),
        )
        self._described[name] = key, device
        return device


# --- values --------------------------------------------------------------------------------------

#: What changes with every visit of a sweep.
_PACED = frozenset(
    {
        *(f"sweep/{of}" for of in ("channel", "progress", "visits")),
        *(f"level/{of}" for of in ("value", "floor")),
        *(f"heard/{of}" for of in ("channel", "band", "level", "now", "first", "last")),
        *(f"filter/{of}" for of in ("select", "switchings")),
    }
)
_DIAL = frozenset({"dial/frequency", "dial/band", "dial/wavelength", "dial/moved-at"})


_BATTERY_LOW = "the VFO's battery is low: charge it; no window starts a sweep until then"


def _is_swept(vfo: VfoState) -> bool:
    return vfo.moved_by is not None and vfo.moved_by.door is Door.SWEEP


def _state(link: LinkState) -> str:
    if link.phase is LinkPhase.UP:
        return homie.READY
    return homie.LOST if link.reason else homie.INIT


def _decimal(value: float | None, places: int) -> str | None:
    return None if value is None else f"{value:.{places}f}"


def _whole(value: int | None) -> str | None:
    return None if value is None else str(value)


def _when(time: float | None) -> str | None:
    return None if time is None else homie.moment(time)


def _values(vfo: VfoState) -> dict[str, str | None]:
    link, sweep, window, sound = vfo.link, vfo.sweep, vfo.window, vfo.sound
    progress = None
    if sweep.channels:
        progress = str(min(100, 100 * sweep.in_pass // sweep.channels))
    band = None if vfo.dial is None else vfo.band or OUTSIDE
    heard = vfo.heard[0] if vfo.heard else None
    return {
        "dial/frequency": _whole(vfo.dial),
        "dial/band": band,
        "dial/wavelength": _decimal(vfo.wavelength, 3),
        "dial/step": _whole(vfo.step),
        "dial/moved-by": None if vfo.moved_by is None else str(vfo.moved_by),
        "dial/moved-at": _when(vfo.moved_at),
        "link/state": link.phase,
        "link/reason": "" if link.phase is LinkPhase.UP else link.reason,
        "link/model": link.model or None,
        "link/firmware": link.firmware or None,
        "link/since": _when(link.since),
        "link/losses": str(link.losses),
        "sweep/state": sweep.phase,
        "sweep/name": sweep.name,
        "sweep/channel": _whole(sweep.channel),
        "sweep/progress": progress,
        "sweep/passes": str(sweep.passes),
        "sweep/visits": str(sweep.visits),
        "sweep/without-levels": homie.boolean(sweep.without_levels is not None),
        "sweep/yielded-to": None if sweep.yielded_to is None else str(sweep.yielded_to),
        "sweep/until": _when(sweep.until),
        "window/open": homie.boolean(window.name is not None),
        "window/name": window.name,
        "window/closes": _when(window.closes),
        "window/next": _when(window.next_opens),
        "window/next-sweep": window.next_sweep,
        "level/value": _decimal(vfo.level, 1),
        "level/floor": _decimal(vfo.floor, 1),
        "sound/state": None if sound.phase is SoundPhase.NONE else sound.phase,
        "sound/reason": sound.reason,
        "sound/since": _when(sound.since),
        "sound/delay": _decimal(sound.delay, 3),
        "heard/channel": _whole(heard.dial) if heard else None,
        "heard/band": heard.band if heard else None,
        "heard/level": _decimal(heard.level, 1) if heard else None,
        "heard/now": homie.boolean(heard.now) if heard else None,
        "heard/first": _when(heard.first) if heard else None,
        "heard/last": _when(heard.last) if heard else None,
        "filter/select": _whole(vfo.select),
        "filter/switchings": str(vfo.filter_switchings),
        "power/battery": _decimal(vfo.battery, 2),
        "power/low": homie.boolean(vfo.battery_low),
        "power/temperature": _decimal(vfo.temperature, 1),
        "output/on": None if vfo.output is None else homie.boolean(vfo.output),
        "speaker/muted": None if vfo.muted is None else homie.boolean(vfo.muted),
    }


def _alerts(vfo: VfoState, zone: tzinfo) -> dict[str, str | None]:
    return {
        "$alert/link": "the VFO is not reachable" if _state(vfo.link) == homie.LOST else None,
        "$alert/battery": _BATTERY_LOW if vfo.battery_low else None,
        "$alert/sound": "; ".join(show.troubles(vfo, zone)) or None,
    }
