"""The outcome of the check, for a person and for a machine."""

from collections import Counter
from collections.abc import Iterable
from typing import Any

from vfod.conform.point import Outcome, Verdict

_MARKS = {Verdict.PASSED: "ok", Verdict.FAILED: "FAIL", Verdict.SKIPPED: "skip"}


def line(outcome: Outcome) -> str:
    """One point; a failed one with both lines and the paragraph."""
    point = outcome.point
    text = f"{_MARKS[outcome.verdict]:<5}{point.name:<24}{point.paragraph:<6}{point.says}"
    if outcome.note:
        text += f" ({outcome.note})"
    if outcome.verdict is not Verdict.FAILED:
        return text
    return "\n".join(
        [
            text,
            f"       sent      {_shown(outcome.sent) or 'nothing for it'}",
            f"       received  {_received(outcome.received)}",
            f"       expected  {outcome.expected}",
            f"       see docs/protocol.md, {point.paragraph}",
        ]
    )


def summary(outcomes: Iterable[Outcome]) -> str:
    """How many of each."""
    counts = Counter(outcome.verdict for outcome in outcomes)
    parts = [f"{counts[verdict]} {verdict}" for verdict in Verdict]
    return ", ".join(parts)


def plain(outcome: Outcome) -> dict[str, Any]:
    """One point in words of JSON; bytes are written as they are shown."""
    received = outcome.received
    return {
        "name": outcome.point.name,
        "paragraph": outcome.point.paragraph,
        "says": outcome.point.says,
        "verdict": outcome.verdict.value,
        "note": outcome.note,
        "expected": outcome.expected,
        "sent": _shown(outcome.sent),
        "received": None if received is None else _shown(received),
    }


def _received(data: bytes | None) -> str:
    return "nothing" if data is None else _shown(data)


def _shown(data: bytes) -> str:
    """Printable ASCII as it is, everything else escaped."""
    text = ascii(data.decode("latin-1"))[1:-1]
    return text.replace("\\'", "'").replace("\\\\", "\\")
