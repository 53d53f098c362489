"""The table of the protocol's words: which message each stands for and which fields it has.

    verb     message   fields        answer     fields                                ability
    who      Who                     Identity   proto model fw serial boot [min]
    range    Range                   Limits     low high res settle
    can      Can                     Abilities  can
    tune     Tune      f [h]         Tuned      f
    read     Read                    Reading    f [out sel mute step level battery temp]
    output   Output    on            Done                                             output
    select   Select    n             Done                                             select
    mute     Mute      on            Done                                             mute
    step     Step      hz            Done                                             knob
    ping     Ping                    Alive      boot

    event    message       fields    a hand's
    knob     Turned        f         yes
    button   Pressed       b         yes
    battery  BatteryLow    mv
    boot     Booted        boot

Every reply also has `e` and `h`, the numbers of the newest event and the newest hand event.
Keys that are not in the table are ignored, so that a newer side can say more.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from vfod.errors import WireError
from vfod.wire import messages as m
from vfod.wire.grammar import LAST_EVENT, Line
from vfod.wire.values import (
    ABILITIES,
    FLAG,
    HERTZ,
    HEX,
    MILLISECONDS,
    TENTHS,
    Ability,
    Value,
    whole,
    word,
)

EVENT_NUMBER = whole(0, LAST_EVENT)
WHY_LENGTH = 40


@dataclass(frozen=True, slots=True)
class Field:
    """One `key=value`: its key on the wire, its name in the message, its kind."""

    key: str
    name: str
    value: Value
    optional: bool = False
    #: Value that an absent key means; it is not written.
    default: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verb:
    """One row of the table of requests."""

    word: str
    request: type
    fields: tuple[Field, ...] = ()
    answer: type = m.Done
    answer_fields: tuple[Field, ...] = ()
    ability: Ability | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EventVerb:
    """One row of the table of events."""

    word: str
    event: type
    fields: tuple[Field, ...]
    by_hand: bool = False
    ability: Ability | None = None


_BOOT = Field("boot", "boot", HEX)
_FREQUENCY = Field("f", "frequency", HERTZ)

#: Lengths and limits are chosen so that the longest reply of each verb fits the line's limit;
#: tests/wire/test_limits.py adds them up.
VERBS = (
    Verb(
        word="who",
        request=m.Who,
        answer=m.Identity,
        answer_fields=(
            Field("proto", "protocol", whole(0, 99)),
            Field("model", "model", word(12)),
            Field("fw", "firmware", word(12)),
            Field("serial", "serial", word(16)),
            _BOOT,
            Field("min", "oldest", whole(0, 99), optional=True, default=1),
        ),
    ),
    Verb(
        word="range",
        request=m.Range,
        answer=m.Limits,
        answer_fields=(
            Field("low", "low", HERTZ),
            Field("high", "high", HERTZ),
            Field("res", "resolution", HERTZ),
            Field("settle", "settle", MILLISECONDS),
        ),
    ),
    Verb(
        word="can",
        request=m.Can,
        answer=m.Abilities,
        answer_fields=(Field("can", "can", ABILITIES),),
    ),
    Verb(
        word="tune",
        request=m.Tune,
        fields=(_FREQUENCY, Field("h", "hand", EVENT_NUMBER, optional=True)),
        answer=m.Tuned,
        answer_fields=(_FREQUENCY,),
    ),
    Verb(
        word="read",
        request=m.Read,
        answer=m.Reading,
        answer_fields=(
            _FREQUENCY,
            Field("out", "output", FLAG, optional=True),
            Field("sel", "select", whole(0, 15), optional=True),
            Field("mute", "muted", FLAG, optional=True),
            Field("step", "step", whole(1, 1_000_000), optional=True),
            Field("level", "level", whole(0, 0xFFFFFF), optional=True),
            Field("battery", "battery", whole(0, 65535), optional=True),
            Field("temp", "temperature", TENTHS, optional=True),
        ),
    ),
    Verb(
        word="output",
        request=m.Output,
        fields=(Field("on", "on", FLAG),),
        ability=Ability.OUTPUT,
    ),
    Verb(
        word="select",
        request=m.Select,
        fields=(Field("n", "n", whole(0, 15)),),
        ability=Ability.SELECT,
    ),
    Verb(word="mute", request=m.Mute, fields=(Field("on", "on", FLAG),), ability=Ability.MUTE),
    Verb(
        word="step",
        request=m.Step,
        fields=(Field("hz", "hertz", whole(1, 1_000_000)),),
        ability=Ability.KNOB,
    ),
    Verb(word="ping", request=m.Ping, answer=m.Alive, answer_fields=(_BOOT,)),
)

EVENTS = (
    EventVerb(
        word="knob", event=m.Turned, fields=(_FREQUENCY,), by_hand=True, ability=Ability.KNOB
    ),
    EventVerb(
        word="button",
        event=m.Pressed,
        fields=(Field("b", "button", word(12)),),
        by_hand=True,
        ability=Ability.TOUCH,
    ),
    EventVerb(
        word="battery",
        event=m.BatteryLow,
        fields=(Field("mv", "millivolts", whole(0, 65535)),),
        ability=Ability.BATTERY,
    ),
    EventVerb(word="boot", event=m.Booted, fields=(_BOOT,)),
)

COUNTERS = (Field("e", "newest_event", EVENT_NUMBER), Field("h", "newest_hand", EVENT_NUMBER))
REFUSAL = (Field("code", "code", word(8)), Field("why", "why", word(WHY_LENGTH), optional=True))
WHERE = (Field("f", "frequency", HERTZ, optional=True),)

VERB_OF_WORD: Mapping[str, Verb] = {verb.word: verb for verb in VERBS}
VERB_OF_REQUEST: Mapping[type, Verb] = {verb.request: verb for verb in VERBS}
EVENT_OF_WORD: Mapping[str, EventVerb] = {verb.word: verb for verb in EVENTS}
EVENT_OF_TYPE: Mapping[type, EventVerb] = {verb.event: verb for verb in EVENTS}


def read_fields(line: Line, fields: tuple[Field, ...]) -> dict[str, Any]:
    """The values of a line by their names in the message.

    Raises WireError: first "syntax" (a key is missing, a text is no value of its kind), then
    "range" (a value beyond its limits). Words of any length are taken.
    """
    given = line.fields
    values: dict[str, Any] = {}
    beyond = ""
    for one in fields:
        text = given.get(one.key)
        if text is None:
            if one.optional:
                continue
            raise WireError(f"{one.key} is missing", line=line.raw)
        try:
            value = one.value.read(text)
        except ValueError:
            raise WireError(f"{one.key} is no number", line=line.raw) from None
        if not isinstance(value, str) and not one.value.within(value):
            beyond = beyond or one.key
        values[one.name] = bool(value) if one.value is FLAG else value
    if beyond:
        raise WireError(f"{beyond} out of range", line=line.raw, box_code="range")
    return values


def write_fields(message: object, fields: tuple[Field, ...]) -> list[str]:
    """The `key=value` texts of a message; an optional one that is not there is left out."""
    texts = []
    for one in fields:
        value = getattr(message, one.name)
        if one.optional and value == one.default:
            continue
        if not one.value.within(value):
            raise WireError(
                f"{one.key} out of range", line=f"{one.key}={value}".encode(), box_code="range"
            )
        texts.append(f"{one.key}={one.value.write(value)}")
    return texts
