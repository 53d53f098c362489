"""The tables of docs/requests.md, made from the code they describe."""

import dataclasses
import re
from collections.abc import Sequence
from typing import get_args, get_type_hints

import vfod.errors
from vfod.errors import RequestError, VfodError
from vfod.requests import TABLE, Query, Request

_TYPES = {int: "whole number", float: "number", bool: "true or false", str: "text"}


def filled(page: str) -> str:
    """The page with its tables as the code has them now."""
    for place, rows in (("vfod/requests.py", _requests()), ("vfod/errors.py", _errors())):
        begin, end = f"<!-- table: {place} -->\n", "<!-- end -->"
        head, found, rest = page.partition(begin)
        _, closed, tail = rest.partition(end)
        assert found, f"docs/requests.md has no place for the table of {place}"
        assert closed, f"docs/requests.md has no end of the table of {place}"
        page = f"{head}{begin}{_table(rows)}{end}{tail}"
    return page


def _requests() -> list[Sequence[str]]:
    rows: list[Sequence[str]] = [("method", "kind", "parameters", "what it does or tells")]
    for method, cls in TABLE.items():
        kind = "query" if issubclass(cls, Query) else "change"
        rows.append((f"`{method}`", kind, _parameters(cls) or "none", _sentence(cls)))
    return rows


def _parameters(cls: type[Request]) -> str:
    hints = get_type_hints(cls)
    return "; ".join(
        f"`{field.name}`: {_type(hints[field.name])}{_default(field.default)}"
        for field in dataclasses.fields(cls)
    )


def _type(hint: object) -> str:
    arms = [arm for arm in get_args(hint) or (hint,) if arm is not type(None)]
    return " or ".join(_TYPES[arm] for arm in arms)


def _default(default: object) -> str:
    if default is dataclasses.MISSING:
        return ""
    return ", may be left out" if default is None else f", default {default}"


def _errors() -> list[Sequence[str]]:
    rows: list[Sequence[str]] = [("word", "code", "exit", "what it means")]
    for cls in vars(vfod.errors).values():
        # A class without a word of its own is for a caller of its own kind: errors of the line.
        if isinstance(cls, type) and issubclass(cls, VfodError) and "code" in vars(cls):
            code = f"{cls.rpc_code}"
            if cls is RequestError:
                code += f", or {cls('', unknown_method=True).rpc_code} for an unknown method"
            rows.append((f"`{cls.code}`", code, str(cls.exit_code), _sentence(cls)))
    return rows


def _sentence(cls: type) -> str:
    """The first paragraph of a docstring, in a line."""
    first = (cls.__doc__ or "").strip().split("\n\n")[0]
    return re.sub(r"\s+", " ", first).replace("|", "\\|")


def _table(rows: Sequence[Sequence[str]]) -> str:
    head, *body = rows
    lines = [head, ["---"] * len(head), *body]
    return "".join(f"| {' | '.join(cells)} |\n" for cells in lines)
