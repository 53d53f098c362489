"""What can be asked of a box, what it can answer and what it tells by itself.

The vocabulary of the protocol: frozen values that know nothing of lines. Frequencies are whole
millihertz at the oscillator, not at the dial. Which word stands for which message is in `verbs`.
"""

from dataclasses import dataclass
from enum import StrEnum

from vfod.wire.values import Ability

__all__ = [
    "Abilities", "Ability", "Alive", "Answer", "Answered", "BatteryLow", "Booted", "Can", "Code",
    "Done", "Event", "Identity", "Limits", "Missed", "Mute", "Output", "Ping", "Pressed", "Range",
    "Read", "Reading", "Refused", "Request", "Select", "Step", "Stray", "StrayReason", "Tune",
    "Tuned", "Turned", "Who",
]  # fmt: skip


class Code(StrEnum):
    """Why a box refuses; the whole list of version 1."""

    SYNTAX = "syntax"
    CHECKSUM = "checksum"
    RANGE = "range"
    UNKNOWN = "unknown"
    BUSY = "busy"
    HAND = "hand"
    HARDWARE = "hardware"


# Requests, in the order a host asks them.


@dataclass(frozen=True, slots=True, kw_only=True)
class Who:
    """Greeting 1: who are you."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """Greeting 2: what can you be tuned to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Can:
    """Greeting 3: what else can you do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tune:
    """Put the output on `frequency` (millihertz) unless a hand was there since event `hand`.

    `hand` None: whatever a hand did.
    """

    frequency: int
    hand: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """Tell everything that can be measured or set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """Switch the oscillator's output."""

    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Select:
    """Set the selector (band filter) to position `n`, 0 to 15."""

    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Mute:
    """Silence the speaker or let it be heard."""

    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Let one step of the knob be `hertz`."""

    hertz: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Ping:
    """Are you there, and still the same since power came on."""


Request = Who | Range | Can | Tune | Read | Output | Select | Mute | Step | Ping


# Answers.


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """To Who. `protocol` and `oldest` are the newest and oldest version the box speaks."""

    protocol: int
    model: str
    firmware: str
    serial: str
    boot: int
    oldest: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """To Range: millihertz, and the longest time a tune takes to settle in seconds."""

    low: int
    high: int
    resolution: int
    settle: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Abilities:
    """To Can."""

    can: frozenset[Ability]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuned:
    """To Tune: the frequency really produced, settled."""

    frequency: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """To Read; None for what the box is not able to tell.

    `level` in raw counts, `battery` in millivolts, `temperature` in degrees Celsius to a tenth,
    `step` in hertz.
    """

    frequency: int
    output: bool | None = None
    select: int | None = None
    muted: bool | None = None
    step: int | None = None
    level: int | None = None
    battery: int | None = None
    temperature: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """To Output, Select, Mute and Step: it is as asked now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alive:
    """To Ping; `boot` differs from the one known when the box was reset."""

    boot: int


Answer = Identity | Limits | Abilities | Tuned | Reading | Done | Alive


# Events. A number of 0 means not numbered yet: the session of the box gives the number.


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """A hand brought the output to `frequency`."""

    frequency: int
    number: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressed:
    """A hand pressed or touched a button."""

    button: str
    number: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class BatteryLow:
    """The battery fell below the box's own threshold."""

    millivolts: int
    number: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Booted:
    """The box has started; all that was set is as at power-on."""

    boot: int
    number: int = 0


Event = Turned | Pressed | BatteryLow | Booted


# What a host receives.


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """The outstanding request was done."""

    tag: int
    answer: Answer
    newest_event: int
    newest_hand: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """The outstanding request was not done; `code` is a Code or a word of a newer box.

    `frequency` tells where the output is, if the box says so (always with Code.HAND).
    """

    tag: int
    code: str
    why: str
    newest_event: int
    newest_hand: int
    frequency: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """Events got lost: the box is further than what arrived; `hand` if a hand was among them."""

    newest_event: int
    newest_hand: int
    hand: bool


class StrayReason(StrEnum):
    """Why something received was not for anybody; a label for metrics."""

    OVERLONG = "overlong"
    UNPRINTABLE = "unprintable"
    CUT = "cut"
    CHECKSUM = "checksum"
    SYNTAX = "syntax"
    #: A reply to a request that was given up or answered already.
    LATE = "late"
    #: The box could not read what was sent: the outstanding request may be sent again at once.
    RESEND = "resend"
    #: A reply without a tag to something this host did not type.
    UNTAGGED = "untagged"
    #: A right tag, but not the fields that this answer must have.
    MALFORMED = "malformed"
    UNKNOWN_EVENT = "unknown-event"
    #: Our own words came back.
    ECHO = "echo"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stray:
    """Bytes that answer nothing; kept for the log, counted by reason."""

    reason: StrayReason
    line: bytes
