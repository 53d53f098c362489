"""What a point is, and how it ends."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from enum import StrEnum

from vfod.conform.bench import Bench

Check = Callable[[Bench], Awaitable[str | None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One promise of the document; `check` raises when the box breaks it."""

    name: str
    #: Paragraph of docs/protocol.md.
    paragraph: str
    says: str
    #: Gives what was measured, or None; raises DeviationError or PassedOverError.
    check: Check
    #: Ability that the box must have, or must lack.
    needs: str = ""
    lacks: str = ""
    #: What a hand must do, by vfod.conform.bench.DEEDS.
    deed: str = ""
    #: Whether it makes sense only after the greeting was understood.
    greeted: bool = True


class Verdict(StrEnum):
    """How a point ended."""

    PASSED = "passed"
    FAILED = "failed"
    SKIPPED = "skipped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One point and how it ended; `note` is why it was skipped, or what was measured."""

    point: Point
    verdict: Verdict
    note: str = ""
    expected: str = ""
    sent: bytes = b""
    received: bytes | None = None
