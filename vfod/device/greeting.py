"""What a link knows of the box at its far end, and how the box's refusals read to a person."""

from dataclasses import dataclass

from vfod.errors import BoxRefusedError, HandError, LineError, OutOfRangeError, RefusedError
from vfod.units import format_millihertz
from vfod.wire.host import NEWEST, agreed_version
from vfod.wire.messages import Abilities, Code, Identity, Limits, Refused, Request, Tune
from vfod.wire.verbs import VERB_OF_REQUEST


@dataclass(frozen=True, kw_only=True, slots=True)
class Greeting:
    """The answers to the three questions of the greeting."""

    identity: Identity
    limits: Limits
    abilities: Abilities


def check_version(port: str, identity: Identity) -> None:
    """Raises LineError (reason "version") when the box speaks no version that we do."""
    if agreed_version(identity) is not None:
        return
    newer = identity.oldest > NEWEST
    raise LineError(
        f"{port}: the box speaks version {identity.oldest if newer else identity.protocol} of"
        f" the line protocol, this program version {NEWEST}",
        remedy=f"update {'this program' if newer else 'the firmware of the box'}",
        port=port,
        reason="version",
    )


def refusal(request: Request, reply: Refused) -> RefusedError:
    """The error for the one who asked."""
    why = reply.why.replace("_", " ")
    if reply.code == Code.HAND:
        return HandError(
            "a hand moved the dial meanwhile",
            frequency=reply.frequency,
            remedy="ask again if it is still wanted",
        )
    if reply.code == Code.RANGE:
        what = VERB_OF_REQUEST[type(request)].word
        if isinstance(request, Tune):
            what = f"an oscillator frequency of {format_millihertz(request.frequency)} Hz"
        return OutOfRangeError(f"the box refuses {what} ({why or 'out of range'})")
    return BoxRefusedError(
        f"the box refuses {VERB_OF_REQUEST[type(request)].word} ({reply.code}: {why or '?'})",
        box_code=reply.code,
    )
