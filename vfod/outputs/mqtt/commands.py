"""What may be set by MQTT, as requests of the one table. Pure."""

from collections.abc import Callable

from vfod import requests as r
from vfod.errors import RequestError
from vfod.outputs.mqtt import homie
from vfod.outputs.mqtt.nodes import OUTSIDE, START


def request_for(device: homie.Device, path: str, given: bytes) -> r.Request:
    """The request that a payload sent to `node/property` stands for.

    Raises RequestError when that cannot be set, or not to this.
    """
    described = device.properties().get(path)
    if described is None or not described.settable:
        settable = [name for name, prop in device.properties().items() if prop.settable]
        raise RequestError(
            f"{path[:40]!r} cannot be set", remedy=f"settable are {', '.join(settable)}"
        )
    return _REQUESTS[path](homie.accept(path, described, given))


def _band(name: str) -> r.Request:
    if name == OUTSIDE:
        raise RequestError(f"{OUTSIDE} is no band to go to", remedy="name a band")
    return r.GoToBand(band=name)


def _action(words: str) -> r.Request:
    if words.startswith(START):
        return r.StartSweep(sweep=words.removeprefix(START))
    return _ACTIONS[words]()


_ACTIONS: dict[str, Callable[[], r.Request]] = {
    "stop": r.StopSweep,
    "stay": r.Stay,
    "resume": r.Resume,
    "skip": r.SkipChannel,
}

_REQUESTS: dict[str, Callable[[str], r.Request]] = {
    "dial/frequency": lambda text: r.Tune(frequency=int(text)),
    "dial/band": _band,
    "dial/step": lambda text: r.SetStep(step=int(text)),
    "dial/nudge": lambda text: r.Nudge(steps=int(text)),
    "sweep/action": _action,
    "log/note": lambda text: r.TakeNote(text=text),
    "output/on": lambda text: r.SwitchOutput(on=text == "true"),
    "speaker/muted": lambda text: r.MuteSpeaker(muted=text == "true"),
}


def method_of(request: r.Request) -> str:
    """The name of a request in the table."""
    return next(method for method, cls in r.TABLE.items() if type(request) is cls)
