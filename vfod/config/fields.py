"""The types of the values in the file: how each is read, and what an editor may know of it."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, time
from fractions import Fraction
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from vfod.config import quantities as q
from vfod.config import words as w
from vfod.plan.channels import Skip
from vfod.plan.dates import Season, Span
from vfod.plan.moments import Moment, UtcTime
from vfod.radio.levels import LevelTable
from vfod.radio.sun import SunEvent


@dataclass(frozen=True, slots=True, eq=False)
class As:
    """Read a value by `parse` alone, and describe it by `schema` (JSON Schema)."""

    parse: Callable[[Any], Any]
    schema: dict[str, Any]

    def __get_pydantic_core_schema__(self, _: Any, __: GetCoreSchemaHandler) -> CoreSchema:
        """Instead of what pydantic would do with the type."""
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(
        self, _: CoreSchema, __: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """For editors."""
        return dict(self.schema)


def _text(parse: Callable[[Any], Any], pattern: str, *examples: str) -> As:
    return As(parse, {"type": "string", "pattern": pattern, "examples": list(examples)})


def whole(low: int, high: int, example: int) -> As:
    """Whole numbers between two bounds, both included."""
    return As(w.whole(low, high, example), {"type": "integer", "minimum": low, "maximum": high})


def number(low: float, high: float, example: str) -> As:
    """Numbers between two bounds, both included."""
    return As(w.number(low, high, example), {"type": "number", "minimum": low, "maximum": high})


def one_of(*known: Any) -> As:
    """One of a few words or numbers."""
    plain = [str(word) if isinstance(word, str) else word for word in known]
    return As(w.one_of(*known), {"enum": plain})


_UNIT = r" ?(Hz|k|kHz|M|MHz)"
_HERTZ = rf"[0-9][0-9_]*(\.[0-9]+)?{_UNIT}"
_CLOCK = r"[0-9]{1,2}:[0-9]{2}( ?UTC|Z)?"
_SUN = (
    rf"({'|'.join(SunEvent)})"
    r"( ?[-+] ?[0-9][0-9a-z. ]*)?( or [0-9]{1,2}:[0-9]{2})?"
)
_DATE = r"([0-9]{4}-)?[0-9]{2}-[0-9]{2}"
_TIME = r"^([0-9]+(\.[0-9]+)? ?(ms|s|m|min|h|d) ?)+$"

Frequency = Annotated[int, _text(q.frequency, f"^{_HERTZ}$", "9420k", "9.42M")]
Spacing = Annotated[int, _text(q.spacing, f"^{_HERTZ}$", "5k")]
Shift = Annotated[int, _text(q.shift, f"^[-+]?{_HERTZ}$", "-1k")]
Skipped = Annotated[Skip, _text(q.skip, f"^{_HERTZ}( ?- ?{_HERTZ})?$", "9420k", "9500k-9510k")]
Duration = Annotated[float, _text(q.duration, _TIME, "2s", "10m")]
SomeTime = Annotated[float, _text(q.some_time, _TIME, "2s", "10m")]
Margin = Annotated[float, _text(q.margin, r"^[0-9.]+ ?dB$", "6dB")]
Correction = Annotated[
    Fraction | None, _text(q.correction, r"^(measured|[-+]?[0-9.]+ ?ppm)$", "measured", "-1.5ppm")
]
AMoment = Annotated[
    Moment, _text(q.moment, rf"^({_CLOCK}|{_SUN})$", "22:00", "sunset+45m", "19:58 UTC")
]
Dates = Annotated[
    Span,
    _text(q.span, rf"^{_DATE}(/{_DATE})?$", "2026-06-01", "2026-06-01/2026-08-31", "12-24/01-06"),
]
ASeason = Annotated[Season, _text(q.season, r"^[AB]([0-9]{2})?$", "A", "B26")]
Appointment = Annotated[
    tuple[date, time | UtcTime],
    _text(q.appointment, rf"^[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}} {_CLOCK}$", "2026-11-25 19:58 UTC"),
]
Share = Annotated[float, _text(q.share, r"^[0-9]+(\.[0-9]+)? ?%$", "30%")]
Ratio = Annotated[Fraction, As(q.ratio, {"type": ["string", "integer"], "examples": [4, "1/2"]})]
Levels = Annotated[
    LevelTable,
    As(
        q.level_table,
        {
            "type": "object",
            "patternProperties": {r"^[0-9]+$": {"pattern": r"^[-+]?[0-9.]+ ?dBm?$"}},
            "additionalProperties": False,
            "minProperties": 2,
        },
    ),
]
Afterwards = Annotated[
    str | int,
    As(
        q.afterwards,
        {"anyOf": [{"enum": ["return", "leave"]}, {"type": "string", "pattern": f"^{_HERTZ}$"}]},
    ),
]
Keep = Annotated[
    float | str,
    As(
        q.keep,
        {
            "anyOf": [
                {"const": "for-ever"},
                {"type": "string", "pattern": _TIME, "examples": ["400d"]},
            ]
        },
    ),
]

Name = Annotated[str, _text(w.name, r"^[a-z0-9]+(-[a-z0-9]+)*$", "evening")]
Port = Annotated[
    str,
    _text(w.port, r"^(/|socket://.)", "/dev/serial/by-id/...", "socket://192.168.1.20:2000"),
]
Host = Annotated[str, _text(w.host, r"^[^ /@]+$", "127.0.0.1")]
Path = Annotated[str, _text(w.path, ".", "/etc/vfod/broker-password")]
Plain = Annotated[str, As(w.plain, {"type": ["string", "number"]})]
Device = Annotated[
    str, As(w.plain, {"type": ["string", "number"], "examples": ["plughw:CARD=Device"]})
]
Listen = Annotated[tuple[str, int], _text(w.listen, r":[0-9]+$", "127.0.0.1:8073")]
TrueFalse = Annotated[bool, As(w.true_false, {"type": "boolean"})]
