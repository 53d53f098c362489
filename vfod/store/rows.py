"""How an event becomes a row and back: the compact form that lets a journal last for years.

An observation is a key (milliseconds), the number of its channel, one packed integer and its
lateness. Separate columns would be easier to read, but SQLite spends a byte of header on each, and
the seven of them would not fit into 24 bytes; the view `observation` is there for readers.
Levels are kept to 0.1 dB between -409.5 and +409.5; what lies beyond is kept as that limit.
"""

import dataclasses
import json
import math
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from vfod.events import (
    ButtonPressed,
    ChannelObserved,
    DialTuned,
    Door,
    Event,
    KnobTurned,
    Origin,
    Stamped,
)
from vfod.events.plain import from_plain, to_plain

#: Bits of the packed integer; migrations/0001_first.sql says the same.
_LEVEL, _HIGHEST, _FLOOR, _READINGS = 35, 22, 9, 2
#: 13 bits, signed; the least of them stands for unknown.
_UNKNOWN = -4096
_LIMIT = 4095
_MOST_READINGS = 127
_ACTIVE: tuple[bool | None, ...] = (False, True, None)


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """An event as the journal keeps it; `id` rises in the order in which things happened.

    `event` is None where this program does not know the kind or its fields (the journal was
    written by another version); `data` has the fields as JSON knows them in any case.
    """

    id: int
    run: int
    sequence: int
    time: float
    vfo: str
    kind: str
    data: Mapping[str, Any]
    cause: str | None
    event: Event | None
    #: The clock could not be believed then: the time is wrong.
    doubted: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Observation:
    """An observation as the journal keeps it: time to a millisecond, levels to 0.1 dB."""

    time: float
    vfo: str
    observed: ChannelObserved
    #: As for an Entry.
    doubted: bool = False


def is_kept(event: Event) -> bool:
    """Whether the journal has a row for it.

    A tune by the sweep has none: the observation of that visit tells it in a sixth of the space,
    and where the visit was cut short the event that did so names the channel.
    """
    return not (isinstance(event, DialTuned) and event.by.door is Door.SWEEP)


def is_promised(stamped: Stamped) -> bool:
    """Whether it must be on the disk before anybody is told: a change by a hand or a person."""
    event = stamped.event
    if stamped.cause is not None or isinstance(event, KnobTurned | ButtonPressed):
        return True
    origin = getattr(event, "by", None) or getattr(event, "to", None)
    return isinstance(origin, Origin) and origin.door.is_person


def sound(text: str) -> str:
    """The text without what UTF-8 cannot carry; a request's id comes from outside."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def event_json(event: Event) -> str:
    """The fields of an event as one line of JSON."""
    return json.dumps(to_plain(event), separators=(",", ":"))


def event_from_json(kind: str, data: Mapping[str, Any]) -> Event | None:
    """The event, or None where this program does not know it."""
    try:
        return from_plain(kind, dict(data))
    except (KeyError, TypeError, ValueError):
        return None


def key_of(time: float) -> int:
    """The key of a time before it is made unique: whole milliseconds since 1970."""
    return round(time * 1000)


def pack(observed: ChannelObserved) -> int:
    """The measured values of an observation as a signed integer of 48 bits."""
    return (
        _tenths(observed.level) << _LEVEL
        | (_tenths(observed.highest) - _UNKNOWN) << _HIGHEST
        | (_tenths(observed.floor) - _UNKNOWN) << _FLOOR
        | min(observed.readings, _MOST_READINGS) << _READINGS
        | _ACTIVE.index(observed.active)
    )


def observation(row: sqlite3.Row) -> Observation:
    """The observation in a row of the view of that name."""
    given = {field.name: row[field.name] for field in dataclasses.fields(ChannelObserved)}
    if given["active"] is not None:
        given["active"] = bool(given["active"])
    return Observation(
        time=row["time"],
        vfo=row["vfo"],
        observed=ChannelObserved(**given),
        doubted=bool(row["doubted"]),
    )


def entry(row: sqlite3.Row) -> Entry:
    """The event in a row of the table of events."""
    data = json.loads(row["data"])
    return Entry(
        id=row["id"],
        run=row["run"],
        sequence=row["sequence"],
        time=row["time"],
        vfo=row["vfo"],
        kind=row["kind"],
        data=data,
        cause=row["cause"],
        event=event_from_json(row["kind"], data),
        doubted=bool(row["doubted"]),
    )


def _tenths(level: float | None) -> int:
    if level is None or not math.isfinite(level):
        return _UNKNOWN
    return max(_UNKNOWN + 1, min(_LIMIT, round(level * 10)))
