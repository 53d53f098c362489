"""The table of defaults: in the README, and in `vfod plan --defaults` with what a configuration
changed.

Each number comes from where it is in force; what can be configured, from the smallest configuration
there is.
"""

import textwrap
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any

from vfod.config import forms
from vfod.config.loading import parse
from vfod.config.model import Afterwards, Config, OutputPolicy, SpeakerPolicy, VfoConfig
from vfod.device import timing as patience
from vfod.outputs.mqtt.publisher import PACE
from vfod.plan import moments
from vfod.plan.sweep import RANGE_CHANGE_FACTOR, Hold, Sweep
from vfod.radio import band_tables as bands
from vfod.radio import receiver
from vfod.run import desk, hand
from vfod.run.battery import FINE
from vfod.store import waiting
from vfod.survey import floor
from vfod.units import format_duration, format_frequency
from vfod.wire import timing

#: Columns of a line, and of the names in it.
_WIDTH, _NAMES = 80, 42

#: The smallest configuration: all that it does not say is a default.
_SMALLEST = "vfos: {main: {port: /dev/vfo}}\nsweeps: {evening: {bands: [41m]}}"


@cache
def _usual() -> Config:
    return parse(_SMALLEST, "defaults.yaml")


def table() -> dict[str, str]:
    """What, and its default in words."""
    config = _usual()
    (sweep,), (vfo,) = config.sweeps.values(), config.vfos.values()
    web = config.web
    assert web is not None
    return {
        "settle": f"{_time(receiver.SETTLE_ENVELOPE)} with an envelope detector, "
        f"{_time(receiver.SETTLE_AUDIO)} with a product or direct one; "
        f"{RANGE_CHANGE_FACTOR} times that after a change of range",
        "dwell": _dwell(sweep),
        "margin": _margin(sweep),
        "floor": f"known after {floor.LEAST} levels of a band, smoothed over "
        f"{_time(floor.SMOOTHING)}; where more than {100 * (1 - floor.LEAST_SHARE):g} % of it is "
        "occupied, unknown but for `known_quiet` channels and the band's past",
        "hold": _hold(sweep.hold),
        "quiet time after a hand or a person": f"{_time(vfo.quiet)}, also where a window opens",
        "a hand": f"2 steps in one direction within {_time(hand.WITHIN)}, or a button; "
        "single steps to and fro are counted and warned of",
        "automation (MQTT)": f"refused for {_time(desk.PERSON_FIRST)} after a hand or a person; "
        f"then {desk.AUTOMATION_BURST} requests at once and {desk.AUTOMATION_PER_SECOND:g} a "
        "second in the long run",
        "raster": f"{format_frequency(bands.HF_RASTER)} counted from 0 Hz; long and medium wave "
        f"{format_frequency(bands.MF_RASTER)}, medium wave in Region 2 "
        f"{format_frequency(bands.MF_RASTER_REGION_2)}",
        "bands in a sweep": _joined(sweep),
        "order of a pass": _order(sweep),
        "reply timeout": f"{_time(timing.REPLY_TIMEOUT)} beyond the box's own settle time; lost "
        f"after {timing.MISSES} misses, or after {_time(timing.NOISE_LIMIT)} of damaged lines",
        "pause before a lost line opens again": f"{_time(patience.BACK_OFF_FIRST)}, growing to "
        f"{_time(patience.BACK_OFF_LONGEST)}, with jitter",
        "ping of an idle line": f"every {_time(timing.PING_EVERY)}",
        "MQTT values that a sweep changes": f"at most once in {_time(PACE)}; what a hand or a "
        "person changes, at once",
        "a night": "from local noon to the next, named by its first date; the weekday of a "
        "window is that of the evening, also after midnight",
        "no such event of the sun in a night": f"{moments.EVENING:%H:%M} is meant, for sunrise and "
        f"dawn {moments.MORNING:%H:%M}",
        "windows that overlap": f"the higher priority has the dial (windows {forms.PRIORITY}, "
        f"watches {forms.WATCH_PRIORITY}), then the one listed first",
        "end of a window": _afterwards(vfo),
        "oscillator's output": _output(vfo),
        "speaker": _speaker(vfo),
        "low battery": "ends the sweep and switches the output off, until it measures "
        f"{FINE} times as much or a person starts a sweep",
        "HTTP": f"at {web.host}:{web.port}",
        "journal": f"while the disk hangs, {waiting.LIMIT} rows wait; then the oldest observations "
        "are dropped, and counted",
    }


def changed(config: Config) -> dict[str, str]:
    """What a configuration says otherwise, by the names of the table; `who: what` in words."""
    (usual_sweep,), (usual_vfo,) = _usual().sweeps.values(), _usual().vfos.values()
    found: dict[str, str] = {}
    for name, says in _OF_SWEEPS.items():
        found[name] = _differing(config.sweeps, says, usual_sweep)
    for name, of_vfo in _OF_VFOS.items():
        found[name] = _differing(config.vfos, of_vfo, usual_vfo)
    settles = {
        vfo.name: "as its ranges say"
        for vfo in config.vfos.values()
        if any(item.settle is not None for item in vfo.receiver.ranges)
    }
    found["settle"] = "; ".join(
        filter(None, (found["settle"], *(f"{n}: {text}" for n, text in settles.items())))
    )
    if config.web != _usual().web:
        found["HTTP"] = f"at {config.web.host}:{config.web.port}" if config.web else "off"
    return {name: text for name, text in found.items() if text}


def lines(config: Config) -> Iterator[str]:
    """The table for people, with what is otherwise here."""
    here = changed(config)
    yield "defaults, and what this configuration says otherwise"
    for name, default in table().items():
        first, *rest = textwrap.wrap(default, _WIDTH - _NAMES)
        yield f"  {name:<{_NAMES - 2}}{first}"
        yield from (" " * _NAMES + line for line in rest)
        if name in here:
            for line in textwrap.wrap(f"here {here[name]}", _WIDTH - _NAMES):
                yield " " * _NAMES + line


def _differing(things: Mapping[str, Any], says: Callable[[Any], str], usual: Any) -> str:
    texts = {name: says(thing) for name, thing in things.items()}
    return "; ".join(f"{name}: {text}" for name, text in texts.items() if text != says(usual))


# --- single rows ---------------------------------------------------------------------------------


_time = format_duration


def _dwell(sweep: Sweep) -> str:
    return f"{_time(sweep.dwell)}, with {sweep.readings} readings in it"


def _margin(sweep: Sweep) -> str:
    return (
        f"{sweep.margin:g} dB above the floor to become active, {sweep.margin_stay:g} dB to stay so"
    )


def _hold(hold: Hold | None) -> str:
    if hold is None:
        return "off"
    return (
        f"at most {_time(hold.limit)}, left after {_time(hold.quiet)} of quiet; after {hold.most} "
        f"holds in a row the channel rests for {_time(hold.rest)}"
    )


def _joined(sweep: Sweep) -> str:
    if sweep.joined:
        return "edge to edge"
    return (
        "each by itself; with `joined: true` edge to edge, the border midway, rounded down to the "
        "raster"
    )


def _order(sweep: Sweep) -> str:
    return f"{str(sweep.order).replace('-', ' ')}; each band filter is switched on once in it"


def _afterwards(vfo: VfoConfig) -> str:
    match vfo.afterwards:
        case Afterwards.RETURN:
            return "the dial returns to where it was"
        case Afterwards.LEAVE:
            return "the dial stays on the last channel"
    return f"the dial is parked at {format_frequency(vfo.afterwards)}"


_OUTPUT = {
    OutputPolicy.ON: "switched on whenever the box is reached, and left on",
    OutputPolicy.WINDOWS: "on while a window is open, off outside of windows and at the end",
    OutputPolicy.LEAVE: "never switched by the daemon itself",
}


def _output(vfo: VfoConfig) -> str:
    return _OUTPUT[vfo.output]


def _speaker(vfo: VfoConfig) -> str:
    if vfo.speaker is SpeakerPolicy.MUTE_IN_SWEEPS:
        return "muted during sweeps, where the box can"
    return "left alone"


_OF_SWEEPS: dict[str, Callable[[Sweep], str]] = {
    "settle": lambda sweep: "" if sweep.settle is None else _time(sweep.settle),
    "dwell": _dwell,
    "margin": _margin,
    "hold": lambda sweep: _hold(sweep.hold),
    "raster": lambda sweep: "" if sweep.raster is None else format_frequency(sweep.raster),
    "bands in a sweep": _joined,
    "order of a pass": lambda sweep: str(sweep.order).replace("-", " "),
}

_OF_VFOS: dict[str, Callable[[VfoConfig], str]] = {
    "quiet time after a hand or a person": lambda vfo: _time(vfo.quiet),
    "end of a window": _afterwards,
    "oscillator's output": _output,
    "speaker": _speaker,
}
