"""Data → form, with everything that does not fit said in plain words.

A file with ten mistakes gets ten complaints: whatever does not fit is set aside, an entry at a
time, and the rest goes on to the checks of what must fit together.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple, Union, get_args, get_origin

from pydantic import ValidationError

from vfod.config.complaints import Fault, Where, meant, shown
from vfod.config.fields import As
from vfod.config.forms import FileForm, Form

#: Sections whose entries are set aside one by one.
_ENTRIES = ("vfos", "bands", "sweeps", "windows", "watches")
#: Those of them that are lists.
_LISTS = ("windows", "watches")


class Shaped(NamedTuple):
    """What is sound of a file, and what is not.

    `places` gives each window and watch of the form its place in the file; `aside` are the
    sections and entries that were set aside.
    """

    form: FileForm
    faults: list[Fault]
    places: dict[str, list[int]]
    aside: frozenset[Where]


def shape(data: dict[str, Any]) -> Shaped:
    """The form of a file's data, or of what is sound of it."""
    empty: list[Where] = []
    data = _without_empty(data, (), empty)
    remedy = "empty; write what belongs there, or remove it"
    faults = [Fault(where, remedy, key=True) for where in empty]
    try:
        form = FileForm.model_validate(data)
    except ValidationError as error:
        found = list(_faults(error))
    else:
        return Shaped(form, faults, _places(data, set()), frozenset(empty))
    faults += [fault for fault in found if fault.where not in empty]
    aside = {fault.where[:2] if fault.where[0] in _ENTRIES else fault.where[:1] for fault in found}
    kept = _without(data, aside)
    places = _places(data, aside)
    return Shaped(FileForm.model_validate(kept), faults, places, frozenset({*aside, *empty}))


def _places(data: dict[str, Any], aside: set[Where]) -> dict[str, list[int]]:
    return {
        section: [
            place
            for place in range(len(data.get(section, ())) if (section,) not in aside else 0)
            if (section, place) not in aside
        ]
        for section in _LISTS
    }


def _without_empty(value: Any, where: Where, empty: list[Where]) -> Any:
    """The data without keys that have no value, which are listed instead."""
    if isinstance(value, list):
        return [_without_empty(item, (*where, i), empty) for i, item in enumerate(value)]
    if not isinstance(value, dict):
        return value
    kept = {}
    for key, item in value.items():
        if item is None:
            empty.append((*where, key))
        else:
            kept[key] = _without_empty(item, (*where, key), empty)
    return kept


def _without(data: dict[str, Any], aside: set[Where]) -> dict[str, Any]:
    kept: dict[str, Any] = {}
    for section, content in data.items():
        if (section,) in aside:
            continue
        if section in _ENTRIES and isinstance(content, dict):
            content = {key: x for key, x in content.items() if (section, key) not in aside}
        elif section in _ENTRIES and isinstance(content, list):
            content = [x for i, x in enumerate(content) if (section, i) not in aside]
        kept[section] = content
    return kept


def _faults(error: ValidationError) -> Iterator[Fault]:
    for item in error.errors(include_url=False):
        where: Where = item["loc"]
        value, last = item["input"], str(where[-1])
        match item["type"]:
            case "missing":
                example = _example(_annotation(where[:-1]), last)
                yield Fault(where, f"missing; write {last}: {example}")
            case "extra_forbidden":
                remedy = meant(last, _keys(_annotation(where[:-1])))
                yield Fault(where, f"there is no such key; {remedy}", key=True)
            case "value_error" if last == "[key]":
                yield Fault(where[:-1], str(item["ctx"]["error"]), key=True)
            case "value_error":
                yield Fault(where, str(item["ctx"]["error"]))
            case "list_type":
                example = f"[{value}]" if isinstance(value, str) and value else "[one, another]"
                yield Fault(where, f"{shown(value)} is not a list; write {example}")
            case _:
                keys = ", ".join(_keys(_annotation(where))) or "a name and what belongs to it"
                yield Fault(where, f"{shown(value)} is no section; write keys below it: {keys}")


def _annotation(where: Where) -> Any:
    """What the forms say stands at a place."""
    found: Any = FileForm
    for part in where:
        found = _inside(_bare(found), part)
    return _bare(found)


def _bare(annotation: Any) -> Any:
    """Without Annotated, and without the None of what may be left out."""
    arms = [arm for arm in get_args(annotation) if arm is not type(None)]
    if hasattr(annotation, "__metadata__"):
        return _bare(arms[0])
    if get_origin(annotation) in (Union, type(int | None)) and len(arms) == 1:
        return _bare(arms[0])
    return annotation


def _inside(annotation: Any, part: str | int) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, Form):
        for name, field in annotation.model_fields.items():
            if part in (name, field.alias):
                return field.annotation
    arms = get_args(annotation)
    return arms[-1] if arms else None


def _keys(annotation: Any) -> list[str]:
    if isinstance(annotation, type) and issubclass(annotation, Form):
        return [field.alias or name for name, field in annotation.model_fields.items()]
    return []


def _example(annotation: Any, key: str) -> str:
    for name, field in annotation.model_fields.items():
        if key in (name, field.alias):
            for mark in field.metadata:
                if isinstance(mark, As):
                    choice = mark.schema.get("enum")
                    return " or ".join(choice) if choice else str(mark.schema["examples"][0])
    raise AssertionError(f"{key} has no example")
