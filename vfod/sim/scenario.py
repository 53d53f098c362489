"""What a scenario may say: the air, the receiver, the box and the hand on its knob.

A scenario is a YAML file; `load` turns it into frozen values or complains in one line.
Everything in it is read as text, so that `20:15` is a time of day and not 1215.
"""

from collections.abc import Callable
from fractions import Fraction
from importlib.resources import files
from math import isfinite, nan
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import yaml
from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from vfod.errors import QuantityError, UsageError, WireError
from vfod.units import parse_duration, parse_frequency, parse_millihertz, parse_shift
from vfod.wire import grammar
from vfod.wire import messages as m
from vfod.wire.values import Ability
from vfod.wire.verbs import VERB_OF_REQUEST, write_fields

#: The scenario of `vfod simulate` without a file.
READY = "evening"

DAY = 86_400.0
_MINUTES_A_DAY = 24 * 60


def _read(parse: Callable[[str], Any]) -> BeforeValidator:
    """Texts by `parse`; values that a program hands in stay as they are."""

    def read(value: object) -> object:
        try:
            return parse(value) if isinstance(value, str) else value
        except QuantityError as error:
            raise ValueError(str(error)) from error

    return BeforeValidator(read)


def _hertz(text: str) -> int:
    return parse_frequency(text, bare=None)


def _millihertz(text: str) -> int:
    """`9420000.125Hz` or anything that `_hertz` takes."""
    if text.endswith("Hz") and text[:-2].replace(".", "").isdigit():
        return parse_millihertz(text[:-2])
    return _hertz(text) * 1000


def _decibels(text: str) -> float:
    try:
        value = float(text.removesuffix("dBm").removesuffix("dB"))
    except ValueError:
        value = nan
    if not isfinite(value):
        raise ValueError(f"{text!r} is no level; write it like -73dBm")
    return value


def _yes(text: str) -> bool:
    if text not in ("true", "false"):
        raise ValueError(f"{text!r} is neither true nor false")
    return text == "true"


def _ratio(text: str) -> float:
    try:
        return float(Fraction(text))
    except (ValueError, ZeroDivisionError):
        raise ValueError(f"{text!r} is no ratio; write it like 4 or 1/2") from None


def _of_day(text: str) -> int:
    """Minutes since midnight from `20:15`."""
    hours, colon, minutes = text.strip().partition(":")
    if colon and hours.isdigit() and minutes.isdigit() and len(minutes) == 2:
        value = int(hours) * 60 + int(minutes)
        if value <= _MINUTES_A_DAY and int(minutes) < 60:
            return value
    raise ValueError(f"{text!r} is no time of day; write it like 20:15, in UTC")


def _span(text: str) -> tuple[int, int]:
    start, dash, end = text.partition("-")
    if not dash:
        raise ValueError(f"{text!r} is no span of hours; write it like 18:00-22:30, in UTC")
    return _of_day(start), _of_day(end)


Hertz = Annotated[int, _read(_hertz), Field(gt=0)]
Millihertz = Annotated[int, _read(_millihertz), Field(gt=0)]
Seconds = Annotated[float, _read(parse_duration), Field(ge=0, le=1e9)]
Decibels = Annotated[float, _read(_decibels), Field(ge=-250, le=100)]
OfDay = Annotated[int, _read(_of_day)]
#: Start and end in minutes of the day; an end at or before the start is on the next day.
Span = Annotated[tuple[int, int], _read(_span)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class _Stretch(_Part):
    """Has a lowest and a highest frequency, hertz; in YAML they are called from and to."""

    model_config = ConfigDict(populate_by_name=True)

    low: Hertz = Field(validation_alias="from")
    high: Hertz = Field(validation_alias="to")

    @model_validator(mode="after")
    def _ascends(self) -> Self:
        if self.low >= self.high:
            raise ValueError("`from` must be below `to`")
        return self


class Fading(_Part):
    """How a level moves.

    Slow: within `depth` dB in all, evenly around the stated power.
    Fast: as the sum of several paths does (Rayleigh), but at most `depth` dB down.
    """

    kind: Literal["slow", "fast"] = "slow"
    depth: Decibels = Field(gt=0)
    period: Seconds = Field(gt=0)


class Cycle(_Part):
    """On the air for `on`, then silent for `off`, and so on.

    Irregular: these are means, and how long it lasts depends on nothing (exponential).
    """

    on: Seconds = Field(gt=0)
    off: Seconds = Field(gt=0)
    irregular: Annotated[bool, _read(_yes)] = False


class Station(_Part):
    """An invented station: carrier, power in dBm at the antenna, hours in UTC (none: always)."""

    name: str = Field(min_length=1)
    frequency: Hertz
    power: Decibels
    hours: tuple[Span, ...] = ()
    cycle: Cycle | None = None
    fading: Fading | None = None


class FloorBand(_Stretch):
    """Noise by the hour in UTC, dBm in the scenario's bandwidth, in between by straight lines."""

    hours: dict[Annotated[int, Field(ge=0, le=23)], Decibels] = Field(min_length=1)


class Floor(_Part):
    """The noise floor; a frequency outside all bands has the floor of the nearest one."""

    bandwidth: Hertz = 5000
    bands: tuple[FloorBand, ...] = Field(min_length=1)


class Disturbance(_Stretch):
    """Noise on a stretch of frequencies, `level` dBm in the floor's bandwidth.

    Either `at` a time of day, or `every` so often on the average: once in each such stretch of
    time, at a moment that is left to chance.
    """

    level: Decibels
    duration: Seconds = Field(gt=0)
    at: OfDay | None = None
    every: Seconds | None = Field(default=None, gt=0)

    @model_validator(mode="after")
    def _one_of_both(self) -> Self:
        if (self.at is None) == (self.every is None):
            raise ValueError("give either `at` or `every`")
        if self.duration > (self.every or DAY):
            raise ValueError("the duration is longer than the time from one to the next")
        return self


class GainControl(_Part):
    """Time constants of a gain control: how fast it takes gain away, and gives it back."""

    attack: Seconds = Field(default=0.01, gt=0)
    release: Seconds = Field(default=0.3, gt=0)


class Leakage(_Part):
    """A strong signal outside the passband still shows `loss` below itself, up to `reach` away."""

    loss: Decibels = Field(default=60.0, gt=0)
    reach: Hertz = 20_000


class OwnSignal(_Part):
    """A signal of the receiver's own, as strong as one of `level` dBm at the antenna."""

    frequency: Hertz
    level: Decibels


class Relay(_Part):
    """The click of the band filter's relay: `level` dBm at first, dying away in `decay`."""

    level: Decibels = -60.0
    decay: Seconds = Field(default=0.1, gt=0)


class ReceiverSetup(_Part):
    """The receiver behind the box; see vfod.sim.receiver for what it does with these."""

    intermediate_frequency: Annotated[
        int, _read(lambda text: parse_shift(text, bare=None)), Field(ge=0)
    ] = 455_000
    injection: Literal["high", "low"] = "high"
    oscillator_per_mixer: Annotated[float, _read(_ratio), Field(gt=0)] = 1.0
    bandwidth: Hertz = 5000
    #: Decibels for each kilohertz outside the bandwidth, down to `rejection`.
    skirt: Decibels = Field(default=20.0, gt=0)
    rejection: Decibels = Field(default=70.0, gt=0)
    time_constant: Seconds = Field(default=0.05, gt=0)
    #: Noise of the receiver itself in its bandwidth, as if at the antenna.
    noise: Decibels = -128.0
    #: The detector's range: counts are 0 at `lowest` and `full_scale` at `highest`.
    lowest: Decibels = -130.0
    highest: Decibels = -10.0
    full_scale: int = Field(default=4095, ge=100, le=0xFFFFFF)
    #: Standard deviation of the converter, counts.
    jitter: float = Field(default=1.5, ge=0)
    #: Standard deviation of the logarithmic detector itself, from reading to reading.
    unsteadiness: Decibels = Field(default=0.0, ge=0)
    #: What a real receiver has besides; without them it is an ideal one.
    gain_control: GainControl | None = None
    leakage: Leakage | None = None
    #: How far down a signal on the image frequency is; none gets through without this.
    image_rejection: Decibels | None = None
    own_signals: tuple[OwnSignal, ...] = ()
    relay: Relay | None = None


class Crystal(_Part):
    """Error in parts per million, positive when it runs fast, and what is added every hour."""

    error: float = 0.0
    drift: float = 0.0


class Battery(_Part):
    """Volts when full, how many of them are lost in an hour, and where the box calls it low."""

    volts: float = Field(default=8.2, gt=0, le=65)
    fall: float = Field(default=0.05, ge=0)
    low: float = Field(default=6.6, ge=0)


class BoxSetup(_Part):
    """The box: what it says of itself, what it is able to do, how fast it is."""

    model: str = "sim"
    firmware: str = "1.0"
    serial: str = "0001"
    low: Millihertz = 100_000_000
    high: Millihertz = 60_000_000_000
    resolution: Millihertz = 100
    settle: Seconds = 0.01
    #: Oscillator at power-on, one step of the knob in hertz, and whether the output is on then.
    start: Millihertz = 7_755_000_000
    step: int = Field(default=1000, ge=1, le=1_000_000)
    output: bool = False
    abilities: frozenset[Ability] = frozenset(Ability)
    #: How long it is deaf after a reset.
    boot_time: Seconds = 0.2
    crystal: Crystal = Crystal()
    battery: Battery = Battery()
    #: Mean over a day and the swing around it, degrees Celsius; warmest in the afternoon (UTC).
    temperature: float = Field(default=22.0, ge=-60, le=150)
    swing: float = Field(default=3.0, ge=0, le=40)

    @model_validator(mode="after")
    def _starts_inside(self) -> Self:
        if not self.low <= self.start <= self.high:
            raise ValueError("`start` is outside `low` to `high`")
        return self

    @model_validator(mode="after")
    def _can_be_said(self) -> Self:
        # A box that cannot say who it is would never answer, and nobody would know why.
        for request, answer in ((m.Who, self.identity(0)), (m.Range, self.limits())):
            try:
                fields = write_fields(answer, VERB_OF_REQUEST[request].answer_fields)
                grammar.write("ok", fields)
            except WireError as error:
                said = (error.line or b"").decode()
                raise ValueError(f"{error.message}: {said} (docs/protocol.md, 4.3)") from error
        return self

    def identity(self, boot: int) -> m.Identity:
        """What it says to Who."""
        return m.Identity(
            protocol=1, model=self.model, firmware=self.firmware, serial=self.serial, boot=boot
        )

    def limits(self) -> m.Limits:
        """What it says to Range."""
        return m.Limits(
            low=self.low, high=self.high, resolution=self.resolution, settle=self.settle
        )


class Move(_Part):
    """What a hand does `after` so long since the start: exactly one of the others."""

    after: Seconds
    turn: int | None = None
    press: str | None = Field(default=None, min_length=1, max_length=12)
    do: Literal["reset", "unplug", "plug"] | None = None

    @model_validator(mode="after")
    def _one_deed(self) -> Self:
        if sum(deed is not None for deed in (self.turn, self.press, self.do)) != 1:
            raise ValueError("give exactly one of `turn`, `press` and `do`")
        return self


class Scenario(_Part):
    """Everything that is simulated."""

    floor: Floor = Floor(bands=(FloorBand(low=1, high=100_000_000, hours={0: -105.0}),))
    stations: tuple[Station, ...] = ()
    disturbances: tuple[Disturbance, ...] = ()
    receiver: ReceiverSetup = ReceiverSetup()
    box: BoxSetup = BoxSetup()
    hand: tuple[Move, ...] = ()


class _Texts(yaml.SafeLoader):
    """Every scalar is a text: the fields know what they are, YAML only guesses."""

    yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012 - the name is the base class's


def load(path: Path | None = None) -> Scenario:
    """The scenario in a file, or the ready one; raises UsageError with one line."""
    source = path or files("vfod.sim") / "scenarios" / f"{READY}.yaml"
    try:
        text = source.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8"
        raise UsageError(f"{source}: cannot be read: {reason}") from error
    return parse(text, str(source))


def parse(text: str, name: str = "scenario") -> Scenario:
    """The scenario in a text; `name` stands in front of a complaint."""
    try:
        plain = yaml.load(text, Loader=_Texts)  # noqa: S506 - _Texts is a SafeLoader
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        where = f":{mark.line + 1}:{mark.column + 1}" if mark else ""
        what = getattr(error, "problem", None) or "cannot be understood"
        raise UsageError(f"{name}{where}: this is not YAML: {what}") from error
    try:
        return Scenario.model_validate({} if plain in (None, "") else plain)
    except ValidationError as error:
        raise UsageError(f"{name}: {_complaint(error)}") from error


def _complaint(error: ValidationError) -> str:
    first = error.errors(include_url=False)[0]
    place = "".join(
        f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in first["loc"]
    )
    match first["type"]:
        case "extra_forbidden":
            what = "there is no such key here"
        case "missing":
            what = "is missing"
        case _:
            what = first["msg"].removeprefix("Value error, ")
    more = error.error_count() - 1
    return f"{place.lstrip('.') or 'scenario'}: {what}" + (f" (and {more} more)" if more else "")
