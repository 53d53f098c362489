"""The JSON schema of a configuration file, for editors (JSON Schema, draft 2020-12)."""

import json
from typing import Any

from vfod.config.forms import OFF_MARK, FileForm

_DRAFT = "https://json-schema.org/draft/2020-12/schema"


def schema() -> dict[str, Any]:
    """The schema as plain data."""
    found: dict[str, Any] = _tidy(FileForm.model_json_schema())
    return {"$schema": _DRAFT, "title": "Configuration of vfod", **found}


def schema_text() -> str:
    """The schema as the file configs/vfod.schema.json has it."""
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


def _tidy(part: Any) -> Any:
    """Without titles, which repeat the keys, and without null.

    What may be left out is never written as null; what may be switched off is written `off`.
    """
    if isinstance(part, list):
        return [_tidy(item) for item in part]
    if not isinstance(part, dict):
        return part
    kept = {
        key: _tidy(item)
        for key, item in part.items()
        if key != OFF_MARK and not (key == "title" and isinstance(item, str))
    }
    if {"type": "null"} in kept.get("anyOf", ()):
        arms = [arm for arm in kept.pop("anyOf") if arm != {"type": "null"}]
        if OFF_MARK in part:
            kept["anyOf"] = [*arms, {"const": "off"}]
            if "default" in kept:
                kept["default"] = "off"
        else:
            del kept["default"]
            kept.update(arms[0])
    return kept
