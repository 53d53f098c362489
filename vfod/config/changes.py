"""Two configurations compared key by key, and when a change of each key takes effect.

A key is written as in the file, its sections joined by dots: `vfos.main.port`. Entries that have
a name go by it, windows and watches too; ranges of a receiver and guests of a window are counted
from 1: `vfos.main.receiver.2`.
`TABLE` has a row for every key the file may have, with `*` where a name or a number stands; a test
holds it against the forms, docs/configuration.md is made from it, and each row is a test of the
daemon. The composition root carries it out.
"""

import enum
from collections.abc import Iterator, Mapping
from typing import Any

from vfod.config.forms import FileForm, Form


class Takes(enum.StrEnum):
    """When a change takes effect."""

    AT_ONCE = "at once"
    LINE = "at once; the line of this VFO is opened anew"
    DOOR = "at once; the door is opened anew"
    VISIT = "at the next visit"
    SOUND = "at the next visit; the sound is recorded anew, and how late it is found anew"
    PASS = "at the next pass"  # noqa: S105 - a pass of a sweep
    BAND = "at once by its name; in a running sweep at the next pass"
    RESTART = "at a restart"


#: Row → when. A section has a row of its own where it can be switched off, or where the order of
#: its entries means something; an entry's row is for one that is added or removed.
TABLE: dict[str, Takes] = {
    "place.zone": Takes.AT_ONCE,
    "place.region": Takes.BAND,
    "place.latitude": Takes.AT_ONCE,
    "place.longitude": Takes.AT_ONCE,
    "vfos": Takes.AT_ONCE,
    "vfos.*": Takes.RESTART,
    "vfos.*.port": Takes.LINE,
    "vfos.*.baud": Takes.LINE,
    "vfos.*.dtr": Takes.LINE,
    "vfos.*.rts": Takes.LINE,
    "vfos.*.correction": Takes.VISIT,
    "vfos.*.crystal_drives": Takes.VISIT,
    # Read by the command line when it explains, and by nothing that runs.
    "vfos.*.synthesiser": Takes.AT_ONCE,
    "vfos.*.synthesiser.crystal": Takes.AT_ONCE,
    "vfos.*.synthesiser.loop_from": Takes.AT_ONCE,
    "vfos.*.synthesiser.loop_to": Takes.AT_ONCE,
    "vfos.*.synthesiser.denominator": Takes.AT_ONCE,
    "vfos.*.synthesiser.fixed": Takes.AT_ONCE,
    "vfos.*.synthesiser.divider": Takes.AT_ONCE,
    "vfos.*.synthesiser.extra": Takes.AT_ONCE,
    "vfos.*.quiet": Takes.AT_ONCE,
    "vfos.*.output": Takes.AT_ONCE,
    "vfos.*.speaker": Takes.AT_ONCE,
    "vfos.*.afterwards": Takes.AT_ONCE,
    "vfos.*.own_signals": Takes.PASS,
    "vfos.*.level_table": Takes.VISIT,
    "vfos.*.audio": Takes.SOUND,
    "vfos.*.audio.program": Takes.SOUND,
    "vfos.*.audio.device": Takes.SOUND,
    "vfos.*.audio.delay": Takes.SOUND,
    "vfos.*.level_from": Takes.VISIT,
    "vfos.*.receiver": Takes.VISIT,
    "vfos.*.receiver.*": Takes.VISIT,
    "vfos.*.receiver.*.from": Takes.VISIT,
    "vfos.*.receiver.*.to": Takes.VISIT,
    "vfos.*.receiver.*.detector": Takes.VISIT,
    "vfos.*.receiver.*.intermediate_frequency": Takes.VISIT,
    "vfos.*.receiver.*.injection": Takes.VISIT,
    "vfos.*.receiver.*.oscillator_per_mixer": Takes.VISIT,
    "vfos.*.receiver.*.offset": Takes.VISIT,
    "vfos.*.receiver.*.select": Takes.VISIT,
    "vfos.*.receiver.*.settle": Takes.VISIT,
    "vfos.*.receiver.*.level_table": Takes.VISIT,
    "bands.*": Takes.BAND,
    "bands.*.from": Takes.BAND,
    "bands.*.to": Takes.BAND,
    "bands.*.raster": Takes.BAND,
    "sweeps.*": Takes.AT_ONCE,
    "sweeps.*.vfo": Takes.AT_ONCE,
    "sweeps.*.bands": Takes.PASS,
    "sweeps.*.channels": Takes.PASS,
    "sweeps.*.joined": Takes.PASS,
    "sweeps.*.raster": Takes.PASS,
    "sweeps.*.dwell": Takes.PASS,
    "sweeps.*.readings": Takes.PASS,
    "sweeps.*.settle": Takes.PASS,
    "sweeps.*.order": Takes.PASS,
    "sweeps.*.skip": Takes.PASS,
    "sweeps.*.known_quiet": Takes.PASS,
    "sweeps.*.margin.active": Takes.PASS,
    "sweeps.*.margin.stay": Takes.PASS,
    "sweeps.*.hold": Takes.PASS,
    "sweeps.*.hold.limit": Takes.PASS,
    "sweeps.*.hold.quiet": Takes.PASS,
    "sweeps.*.hold.rest": Takes.PASS,
    "sweeps.*.hold.times": Takes.PASS,
    "windows": Takes.AT_ONCE,
    "windows.*": Takes.AT_ONCE,
    "windows.*.name": Takes.AT_ONCE,
    "windows.*.sweep": Takes.AT_ONCE,
    "windows.*.from": Takes.AT_ONCE,
    "windows.*.until": Takes.AT_ONCE,
    "windows.*.for": Takes.AT_ONCE,
    "windows.*.days": Takes.AT_ONCE,
    "windows.*.dates": Takes.AT_ONCE,
    "windows.*.except": Takes.AT_ONCE,
    "windows.*.season": Takes.AT_ONCE,
    "windows.*.priority": Takes.AT_ONCE,
    "windows.*.with": Takes.PASS,
    "windows.*.with.*": Takes.PASS,
    "windows.*.with.*.sweep": Takes.PASS,
    "windows.*.with.*.every": Takes.PASS,
    "windows.*.with.*.share": Takes.PASS,
    "watches": Takes.AT_ONCE,
    "watches.*": Takes.AT_ONCE,
    "watches.*.name": Takes.AT_ONCE,
    "watches.*.frequency": Takes.PASS,
    "watches.*.at": Takes.AT_ONCE,
    "watches.*.for": Takes.AT_ONCE,
    "watches.*.vfo": Takes.AT_ONCE,
    "watches.*.priority": Takes.AT_ONCE,
    # Read by each report, and by nothing that runs.
    "stations": Takes.AT_ONCE,
    "control.socket": Takes.RESTART,
    "control.group": Takes.RESTART,
    "mqtt": Takes.DOOR,
    "mqtt.host": Takes.DOOR,
    "mqtt.port": Takes.DOOR,
    "mqtt.name": Takes.DOOR,
    "mqtt.user": Takes.DOOR,
    "mqtt.password_file": Takes.DOOR,
    "mqtt.commands": Takes.DOOR,
    "mqtt.tls": Takes.DOOR,
    "mqtt.tls.ca_file": Takes.DOOR,
    "web": Takes.DOOR,
    "web.listen": Takes.DOOR,
    "web.names": Takes.DOOR,
    "web.token_file": Takes.DOOR,
    "web.read_token_file": Takes.DOOR,
    "web.tls": Takes.DOOR,
    "web.tls.certificate_file": Takes.DOOR,
    "web.tls.key_file": Takes.DOOR,
    "web.proxies": Takes.DOOR,
    "journal.path": Takes.RESTART,
    "journal.keep": Takes.AT_ONCE,
}

#: Sections whose entries have names; windows and watches get theirs from assembly.
NAMED = ("vfos", "bands", "sweeps", "windows", "watches")

#: The first VFO is the one meant, the first window or watch has the dial.
_ORDERED = ("vfos", "windows", "watches")

#: Lists in an entry whose own entries are counted from 1.
_COUNTED = ("receiver", "with")

#: A section by its keys, and so on downwards; what is no section is a value.
Written = Mapping[str, Any]


def written(form: FileForm, names: list[str]) -> Written:
    """What a file says, defaults included, by its keys.

    `names` are those of its windows and then of its watches.
    """
    entries = [
        {**_plain(entry), "name": name}
        for name, entry in zip(names, (*form.windows, *form.watches), strict=True)
    ]
    many = len(form.windows)
    return {
        **_plain(form),
        "windows": dict(zip(names[:many], entries[:many], strict=True)),
        "watches": dict(zip(names[many:], entries[many:], strict=True)),
    }


def changes(before: Written, after: Written) -> tuple[str, ...]:
    """The keys in which two files differ, in the order of the second.

    An entry or a section that only one of them has is one key, without what stands in it.
    """
    return tuple(_differences(before, after, ""))


def takes(key: str) -> Takes:
    """When a change of a key takes effect."""
    return TABLE[row(key)]


def row(key: str) -> str:
    """The row of the table for a key."""
    parts = key.split(".")
    if len(parts) > 1 and parts[0] in NAMED:
        parts[1] = "*"
    if len(parts) > 3 and parts[2] in _COUNTED:
        parts[3] = "*"
    return ".".join(parts)


def _plain(value: Any) -> Any:
    match value:
        case Form():
            fields = type(value).model_fields
            return {
                field.alias or name: _plain(getattr(value, name)) for name, field in fields.items()
            }
        case dict():
            return {name: _plain(item) for name, item in value.items()}
        case [Form(), *_]:
            return {str(number): _plain(item) for number, item in enumerate(value, 1)}
    return value


def _differences(before: Any, after: Any, at: str) -> Iterator[str]:
    if not isinstance(before, Mapping) or not isinstance(after, Mapping):
        if before != after:
            yield at
        return
    if at in _ORDERED and [n for n in before if n in after] != [n for n in after if n in before]:
        yield at
    for name in [*after, *(name for name in before if name not in after)]:
        key = f"{at}.{name}" if at else name
        if name in before and name in after:
            yield from _differences(before[name], after[name], key)
        else:
            yield key
