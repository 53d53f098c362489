"""Events as plain values and back: for the journal and for every door that speaks JSON."""

import dataclasses
import re
from typing import Any, get_type_hints

from vfod import events
from vfod.events import Event
from vfod.origin import Door, Origin


def kind(event: Event | type[Event]) -> str:
    """The event's name for machines: DialTuned → `dial-tuned`."""
    name = event.__name__ if isinstance(event, type) else type(event).__name__
    return re.sub(r"(?<!^)(?=[A-Z])", "-", name).lower()


#: Every kind of event by name. Taken from the module and not from Event.__subclasses__(), which
#: also knows the classes that dataclasses with slots were made from.
KINDS: dict[str, type[Event]] = {
    kind(cls): cls
    for cls in vars(events).values()
    if isinstance(cls, type) and issubclass(cls, Event) and cls is not Event
}


def to_plain(event: Event) -> dict[str, Any]:
    """The fields of an event as JSON knows them; tuples become lists, an Origin a dict."""
    return dataclasses.asdict(event)


def from_plain(name: str, fields: dict[str, Any]) -> Event:
    """The event that `to_plain` took apart; raises KeyError or TypeError if it does not fit."""
    cls = KINDS[name]
    hints = get_type_hints(cls)
    given = dict(fields)
    for field, hint in hints.items():
        if hint is Origin:
            origin = given[field]
            given[field] = Origin(door=Door(origin["door"]), who=origin["who"])
        elif isinstance(given.get(field), list):
            given[field] = tuple(given[field])
    return cls(**given)
