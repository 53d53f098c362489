"""Events and requests: everything can be written down and read back, and nothing else gets in."""

import dataclasses
import json
from typing import Any, get_type_hints

import pytest

from vfod import events as e
from vfod import requests as r
from vfod.errors import RequestError, VfodError
from vfod.events import plain

SAMPLES: dict[Any, Any] = {
    int: 9_420_000,
    str: "evening",
    float: 2.5,
    bool: True,
    e.Origin: e.Origin(door=e.Door.SHELL, who="listener"),
    tuple[str, ...]: ("knob", "level"),
    tuple[int, ...]: (7_210_000,),
    tuple[float, ...]: (-95.5,),
}


def sample(event: type[e.Event]) -> e.Event:
    """An event of a kind with every field filled."""
    filled = {}
    for name, hint in get_type_hints(event).items():
        arms = (hint, *getattr(hint, "__args__", ()))
        arm = next((a for a in arms if a in SAMPLES), hint)
        filled[name] = SAMPLES[arm]
    return event(**filled)


@pytest.mark.parametrize("kind", list(plain.KINDS))
def test_an_event_survives_json(kind: str) -> None:
    """Every event comes back from its JSON form as it was."""
    event = sample(plain.KINDS[kind])
    text = json.dumps(plain.to_plain(event))
    assert event == plain.from_plain(kind, json.loads(text))


def test_events_are_in_the_past_tense_and_frozen() -> None:
    """Nobody can change what has happened."""
    event = sample(e.DialTuned)
    with pytest.raises(dataclasses.FrozenInstanceError):
        event.dial = 1  # type: ignore[attr-defined]  # that it cannot is what is tested


def test_who_is_above_whom() -> None:
    """A hand is a person; automation, a window and a sweep are not."""
    hands = {door for door in e.Door if door.is_hand}
    persons = {door for door in e.Door if door.is_person}
    assert {e.Door.KNOB, e.Door.BUTTON} == hands
    assert hands | {e.Door.SHELL, e.Door.PAGE} == persons


@pytest.mark.parametrize(
    ("method", "params", "request_"),
    [
        ("status", {}, r.ShowStatus()),
        ("agenda", {"days": 3}, r.ShowAgenda(days=3)),
        ("tune", {"frequency": 9_420_000}, r.Tune(frequency=9_420_000)),
        ("tune", {"frequency": 9_420_000.0}, r.Tune(frequency=9_420_000)),
        ("nudge", {"hertz": -5000}, r.Nudge(hertz=-5000)),
        ("nudge", {"steps": 1}, r.Nudge(steps=1)),
        ("stay", {}, r.Stay()),
        ("stay", {"seconds": 1800}, r.Stay(seconds=1800)),
        ("output", {"on": False}, r.SwitchOutput(on=False)),
        ("sweep-start", {"sweep": "evening"}, r.StartSweep(sweep="evening")),
    ],
)
def test_a_request_is_read(method: str, params: object, request_: r.Request) -> None:
    """What the table says, from what JSON says."""
    assert request_ == r.make_request(method, params)


@pytest.mark.parametrize(
    ("method", "params", "words"),
    [
        ("tone", {}, "no request 'tone'"),
        ("tune", {}, "frequency is missing"),
        ("tune", {"frequency": "9420"}, "frequency must be a whole number"),
        ("tune", {"frequency": True}, "frequency must be a whole number"),
        ("tune", {"frequency": 9420.5}, "frequency must be a whole number"),
        ("tune", {"frequency": float("nan")}, "frequency must be a whole number"),
        ("tune", {"frequency": 1, "speed": 2}, "no parameter 'speed'"),
        ("tune", [9420], "must be an object"),
        ("nudge", {}, "either hertz or steps"),
        ("nudge", {"hertz": 1, "steps": 1}, "either hertz or steps"),
        ("stay", {"seconds": -1}, "more than no time"),
        ("stay", {"seconds": float("inf")}, "seconds must be a number"),
        ("step", {"step": 0}, "of no use"),
    ],
)
def test_a_wrong_request_names_what_is_wrong(method: str, params: object, words: str) -> None:
    """A refusal says which method or parameter, and what was expected."""
    with pytest.raises(RequestError, match=words):
        r.make_request(method, params)


def test_the_table_and_the_classes_agree() -> None:
    """Every request of the vocabulary is in the table once, with a sentence for the manual."""
    bases = (r.Request, r.Query, r.Change)
    concrete = {
        c
        for c in vars(r).values()
        if isinstance(c, type) and issubclass(c, r.Request) and c not in bases
    }
    assert concrete == set(r.TABLE.values())
    assert len(r.TABLE) == len(concrete)
    assert all(cls.__doc__ for cls in concrete)


def _tree(cls: type[VfodError]) -> list[type[VfodError]]:
    return [cls, *(found for sub in cls.__subclasses__() for found in _tree(sub))]


def test_the_error_tree_is_drawn_as_it_is() -> None:
    """The drawing in the docstring of vfod.errors names every class, at its depth."""
    import vfod.errors

    drawn = [line for line in (vfod.errors.__doc__ or "").splitlines() if "Error " in f"{line} "]
    names = {word for line in drawn for word in line.split() if word.endswith("Error")}
    assert {cls.__name__ for cls in _tree(VfodError)} == names
