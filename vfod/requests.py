"""Everything that can be wanted, in the imperative, and the one table of requests.

The control socket and HTTP speak this table directly (JSON-RPC 2.0), `/set` topics of MQTT map to
it; no door has a method of its own. A query is answered from the snapshot. A change is answered by
the event it caused. A refusal goes to the caller and a counter, not into the journal.
"""

import dataclasses
import math
import types
from dataclasses import dataclass
from typing import Any, Union, get_args, get_origin, get_type_hints

from vfod.errors import RequestError
from vfod.origin import Origin


@dataclass(frozen=True, kw_only=True, slots=True)
class Request:
    """Root of everything that can be asked for."""


class Query(Request):
    """Asks to know; changes nothing."""

    __slots__ = ()


class Change(Request):
    """Asks for something to be different afterwards."""

    __slots__ = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class ShowStatus(Query):
    """The whole state as it is now, with `text`: the same in a line for people."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ShowAgenda(Query):
    """The windows of the next `days` days, in order."""

    days: int = 7


@dataclass(frozen=True, kw_only=True, slots=True)
class ListBands(Query):
    """The bands in force, with edges in hertz."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ListSweeps(Query):
    """The sweeps of the configuration, with the VFO each is for."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Watch(Query):
    """From now on, every event as a notification `event` on this connection."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Tune(Change):
    """Move the dial to `frequency` hertz."""

    frequency: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Nudge(Change):
    """Move the dial by `hertz`, or by `steps` steps of the step in force; exactly one of them."""

    hertz: int | None = None
    steps: int | None = None

    def __post_init__(self) -> None:
        if (self.hertz is None) == (self.steps is None):
            raise RequestError("nudge needs either hertz or steps", remedy="give exactly one")


@dataclass(frozen=True, kw_only=True, slots=True)
class SetStep(Change):
    """Make one click of the knob, and one bare nudge, `step` hertz."""

    step: int

    def __post_init__(self) -> None:
        if not 1 <= self.step <= 1_000_000:
            raise RequestError(
                f"a step of {self.step} Hz is of no use", remedy="choose 1 Hz to 1 MHz"
            )


@dataclass(frozen=True, kw_only=True, slots=True)
class GoToBand(Change):
    """Go to a band by name, or `up` or `down`: where it was left, else its lower edge."""

    band: str


@dataclass(frozen=True, kw_only=True, slots=True)
class SwitchOutput(Change):
    """Switch the oscillator's output on or off."""

    on: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class MuteSpeaker(Change):
    """Mute the receiver's speaker or release it."""

    muted: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class StartSweep(Change):
    """Start a sweep of the configuration now, whatever the agenda says."""

    sweep: str


@dataclass(frozen=True, kw_only=True, slots=True)
class StopSweep(Change):
    """End the running sweep; a window that is open does not start it again."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stay(Change):
    """Let the sweep yield for `seconds`, or until `resume` where none are given."""

    seconds: float | None = None

    def __post_init__(self) -> None:
        if self.seconds is not None and not 0 < self.seconds <= 7 * 86400:
            raise RequestError("stay takes more than no time and at most a week")


@dataclass(frozen=True, kw_only=True, slots=True)
class Resume(Change):
    """Let the sweep that has yielded go on at the channel it left."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SkipChannel(Change):
    """Let the running sweep leave this channel and go to the next one."""


#: Longest note and longest name of a station, characters: a paragraph, a line.
NOTE_LIMIT, NAME_LIMIT = 1000, 100
#: Joiners of letters, which some scripts cannot be written without.
_JOINERS = "\u200c\u200d"


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeNote(Change):
    """Write `text` into the listener's log; the time, dial, level and band are added.

    `sinpo` is a report by ITU-R SM.1135, five digits 1 to 5, X for what is not rated; `heard` the
    name of a station; `at` the time it is about, the present where none is given.
    """

    text: str
    sinpo: str | None = None
    heard: str | None = None
    at: float | None = None

    def __post_init__(self) -> None:
        _check_line("a note", self.text, NOTE_LIMIT)
        if self.heard is not None:
            _check_line("the name of a station", self.heard, NAME_LIMIT)
        if self.sinpo is not None and (
            len(self.sinpo) != 5 or not set(self.sinpo) <= set("12345X")
        ):
            raise RequestError(
                f"{self.sinpo[:20]!r} is no SINPO report",
                remedy="write five digits from 1 to 5 for strength, interference, noise, "
                "propagation and overall, like 45344; X for what is not rated",
            )


def _check_line(what: str, text: str, limit: int) -> None:
    if not text.strip():
        raise RequestError(f"{what} needs some words")
    if len(text) > limit:
        raise RequestError(
            f"{what} of {len(text)} characters is too long", remedy=f"{limit} are the most"
        )
    if not all(sign.isprintable() or sign in _JOINERS for sign in text):
        raise RequestError(
            f"{what} is one line, without control characters", remedy="write it in one line"
        )


#: Parts per million that no crystal is off, longest list of carriers.
_WORST_CRYSTAL, _AGAINST_LIMIT = 1000.0, 200


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeCalibration(Change):
    """Write down a measured error of the VFO's crystal, in ppm, and go by it.

    A figure that the configuration has itself still goes before it. `deviation` is its standard
    deviation, `low` to `high` the interval of 95 of 100 cases, `measurements` how many went in,
    `against` names the carriers.
    """

    error: float
    deviation: float
    low: float
    high: float
    measurements: int
    against: str

    def __post_init__(self) -> None:
        if abs(self.error) > _WORST_CRYSTAL:
            raise RequestError(
                f"{self.error:g} ppm is more than any crystal is off", remedy="measure again"
            )
        if self.deviation <= 0 or not self.low <= self.error <= self.high or self.measurements < 1:
            raise RequestError(
                "a calibration has a deviation above 0, an interval around its error, and at "
                "least one measurement"
            )
        _check_line("the list of carriers", self.against, _AGAINST_LIMIT)


#: Most signals of a receiver's own in one list.
_SIGNALS_LIMIT = 500


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeOwnSignals(Change):
    """Write down where the receiver hears itself, and mark those channels from the next pass on.

    `signals` are dial frequencies in hertz with their levels, as measured on the `channels`
    channels of `sweep` without the antenna: `7210000:-95.5 7235000:-88.0`; empty where none was
    found. With `images` it is what is heard of the image frequencies. They take the place of an
    earlier list of that sweep.
    """

    sweep: str
    channels: int
    signals: str
    images: bool = False

    def __post_init__(self) -> None:
        if len(self.parts()) > _SIGNALS_LIMIT:
            raise RequestError(f"more than {_SIGNALS_LIMIT} signals are no receiver's own")

    def parts(self) -> dict[int, float]:
        """Dial frequencies and levels; RequestError where the text is none."""
        try:
            pairs = [one.split(":") for one in self.signals.split()]
            found = {int(dial): float(level) for dial, level in pairs}
        except ValueError:
            raise RequestError(
                "signals cannot be read", remedy="write them like 7210000:-95.5 7235000:-88.0"
            ) from None
        if not all(dial > 0 and math.isfinite(level) for dial, level in found.items()):
            raise RequestError("a signal has a frequency above 0 Hz and a level")
        return found


@dataclass(frozen=True, kw_only=True, slots=True)
class WatchLevel(Change):
    """Move the dial and read the level detector's raw counts for `seconds` from then on.

    They are read every `every` seconds, or as fast as the box answers; the answer has pairs of
    seconds since the dial was moved and counts. The sweep yields as to any person.
    """

    frequency: int
    seconds: float
    every: float = 0.1

    def __post_init__(self) -> None:
        if not 0 < self.seconds <= 60:
            raise RequestError("a level is watched for more than no time and at most a minute")
        if not 0 <= self.every <= self.seconds:
            raise RequestError("between two readings is no more time than they take together")


@dataclass(frozen=True, kw_only=True, slots=True)
class Reload(Change):
    """Read the configuration file anew and go by it; a file with mistakes changes nothing."""


#: The table: method → request. Documentation is each class's docstring.
TABLE: dict[str, type[Request]] = {
    "status": ShowStatus,
    "agenda": ShowAgenda,
    "bands": ListBands,
    "sweeps": ListSweeps,
    "watch": Watch,
    "tune": Tune,
    "nudge": Nudge,
    "step": SetStep,
    "band": GoToBand,
    "output": SwitchOutput,
    "mute": MuteSpeaker,
    "sweep-start": StartSweep,
    "sweep-stop": StopSweep,
    "stay": Stay,
    "resume": Resume,
    "skip": SkipChannel,
    "note": TakeNote,
    "calibration": TakeCalibration,
    "own-signals": TakeOwnSignals,
    "level-watch": WatchLevel,
    "reload": Reload,
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """A request in its envelope: who asked, for which VFO (None: the only or first one), its id."""

    request: Request
    origin: Origin
    vfo: str | None = None
    id: str | None = None


def _fits(value: object, hint: Any) -> bool:
    if get_origin(hint) in (Union, types.UnionType):
        return any(_fits(value, arm) for arm in get_args(hint))
    if hint is float:
        return (
            isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        )
    if hint is int:
        # JSON has one kind of number: 5.0 is as good as 5, 5.5 is not.
        if isinstance(value, float):
            return value.is_integer()
        return isinstance(value, int) and not isinstance(value, bool)
    return isinstance(value, hint)


_WANTED = {int: "a whole number", float: "a number", bool: "true or false", str: "a text"}


def _wanted(hint: Any) -> str:
    arms = [a for a in get_args(hint) or (hint,) if a is not type(None)]
    return " or ".join(_WANTED.get(a, str(a)) for a in arms)


def make_request(method: str, params: object) -> Request:
    """The request that a method and its JSON parameters (an object) stand for.

    Raises RequestError naming the method or the parameter and what was expected.
    """
    cls = TABLE.get(method)
    if cls is None:
        raise RequestError(
            f"there is no request {method[:40]!r}",
            remedy=f"the requests are {', '.join(TABLE)}",
            unknown_method=True,
        )
    if not isinstance(params, dict):
        raise RequestError(f"{method}: the parameters must be an object with names")
    hints = get_type_hints(cls)
    given: dict[str, Any] = {}
    for name, value in params.items():
        if name not in hints:
            known = ", ".join(hints) or "none"
            raise RequestError(
                f"{method}: no parameter {str(name)[:40]!r}", remedy=f"known: {known}"
            )
        if not _fits(value, hints[name]):
            raise RequestError(f"{method}: {name} must be {_wanted(hints[name])}")
        given[name] = (
            int(value) if _is_int_hint(hints[name]) and isinstance(value, float) else value
        )
    missing = [
        f.name
        for f in dataclasses.fields(cls)
        if f.name not in given
        and f.default is dataclasses.MISSING
        and f.default_factory is dataclasses.MISSING
    ]
    if missing:
        raise RequestError(
            f"{method}: {missing[0]} is missing", remedy=f"give {', '.join(missing)}"
        )
    return cls(**given)


def _is_int_hint(hint: Any) -> bool:
    arms = get_args(hint) or (hint,)
    return int in arms and float not in arms
