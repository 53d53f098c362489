"""How much of the time a channel or a band was active: two figures that must not be mixed.

`tonight` is the share of this stretch of time in which the channel truly was active.
Visits see it only now and then, so its uncertainty is what happened between them: each change-over
lies somewhere in the gap between two visits, and what came and went within one gap was missed.
`long_run` is the share on all nights like this one, of which this night is a sample.
Its uncertainty is that of a sample of few, long, dependent runs, and is far larger.

Both are corrected for how often the detector is wrong (`Scored`).
A figure that the visits cannot support is `Unsaid`, with the reason.
docs/occupancy.md has the formulas, their sources, and how often the intervals hold.
"""

import enum
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt

from vfod.survey.intervals import Z95, logistic, trigamma, visits_needed, wilson
from vfod.survey.seen import (
    LEAST_VISITS,
    PERFECT,
    Run,
    Scored,
    Seen,
    Visit,
    judged,
    look,
    runs,
)

__all__ = [
    "LEAST_CHANGES",
    "LEAST_VISITS",
    "PERFECT",
    "Occupancy",
    "Reason",
    "Run",
    "Scored",
    "Share",
    "Unsaid",
    "Visit",
    "by_parts",
    "log_odds",
    "nothing",
    "occupancy",
    "runs",
    "within",
]

#: Changes between active and not below which a night says nothing of other nights: with fewer
#: than five whole runs the scatter of their lengths cannot be told.
LEAST_CHANGES = 10

#: Detection less false alarm below which a visit hardly depends on what is on the air.
LEAST_POWER = 0.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Share:
    """A share of time, from 0 to 1, and the interval it lies in with 95 % confidence."""

    value: float
    low: float
    high: float


class Reason(enum.StrEnum):
    """Why a figure cannot be said; the values are the words after "cannot be said: "."""

    NO_VISIT = "no visit of which activity could be told"
    FEW_VISITS = f"fewer than {LEAST_VISITS} visits"
    FEW_CHANGES = f"fewer than {LEAST_CHANGES} changes between active and quiet"
    UNSURE = "the detector is too often wrong at this level"
    TOGETHER = "its channels open and close together, and did so too seldom"


@dataclass(frozen=True, kw_only=True, slots=True)
class Unsaid:
    """A figure that the visits cannot support."""

    reason: Reason


@dataclass(frozen=True, kw_only=True, slots=True)
class Occupancy:
    """What the visits of a channel or a band came to, in a stretch of time.

    `visits` counts all, `judged` those of which activity was known, `active` those found active,
    `changes` the times that two visits in a row differed.
    `watched` is the time that the visits stand for, and `revisit` the mean and `longest` the
    longest time between two of them in it, seconds; None below two visits.
    `needed` is how many visits would give 10 % relative error, None where that is unknown.
    """

    visits: int
    judged: int
    active: int
    changes: int
    watched: float
    revisit: float | None
    longest: float | None
    tonight: Share | Unsaid
    long_run: Share | Unsaid
    needed: int | None


def occupancy(
    visits: Sequence[Visit], since: float, until: float, scored: Scored = PERFECT
) -> Occupancy:
    """The figures of one channel, of its visits from `since` up to before `until`, by time."""
    inside = [visit for visit in visits if since <= visit.time < until]
    seen = look(inside, since, until)
    if seen is None:
        return nothing(len(inside), judged(inside))
    sure = scored.power >= LEAST_POWER
    unsure = Unsaid(reason=Reason.UNSURE)
    return Occupancy(
        visits=len(inside),
        judged=seen.count,
        active=seen.active,
        changes=seen.changes,
        watched=seen.watched,
        revisit=seen.revisit,
        longest=seen.longest,
        tonight=within(seen.share, seen.trials(scored), scored) if sure else unsure,
        long_run=_long_run(seen, scored) if sure else unsure,
        needed=visits_needed(scored.undo(seen.share), correlation=seen.correlation(scored)),
    )


def by_parts(
    visits: Sequence[Visit], edges: Sequence[float], scored: Scored = PERFECT
) -> list[Occupancy]:
    """A channel's figures from each edge to the next, such as the hours of a night."""
    return [occupancy(visits, since, until, scored) for since, until in pairwise(edges)]


def nothing(visits: int, known: Sequence[Visit]) -> Occupancy:
    """Where too few visits could be judged."""
    why = Unsaid(reason=Reason.FEW_VISITS if known else Reason.NO_VISIT)
    return Occupancy(
        visits=visits,
        judged=len(known),
        active=sum(bool(visit.active) for visit in known),
        changes=0,
        watched=0.0,
        revisit=None,
        longest=None,
        tonight=why,
        long_run=why,
        needed=None,
    )


def within(seen: float, trials: float, scored: Scored) -> Share:
    """The share behind one seen in so many independent visits."""
    low, high = wilson(seen, trials)
    return Share(value=scored.undo(seen), low=scored.lowest(low), high=scored.highest(high))


def log_odds(seen: Seen, scored: Scored) -> float:
    """Variance of the logarithm of the odds of being active, as a sample of all nights.

    The rates of coming and going have Beta (Jeffreys) posteriors by a Markov chain's transitions.
    The odds of being active are their ratio, whose logarithm is close to normal even with five
    transitions each way, where an interval of the share itself is not.
    """
    share = scored.undo(seen.share)
    room = share * (1 - share)
    changes = seen.true_changes(scored)
    each = changes / 2 + 0.5
    variance = scored.noise(share) / (seen.count * (scored.power * room) ** 2)
    for part in (share, 1 - share):
        stayed = max(0.5, part * seen.count - changes / 2 + 0.5)
        variance += trigamma(each) - trigamma(each + stayed)
    # What a channel in step with the visits hides of this night, it hides of all.
    return max(variance, (seen.play / (Z95 * room)) ** 2)


def _long_run(seen: Seen, scored: Scored) -> Share | Unsaid:
    changes = seen.true_changes(scored)
    # Changes that the detector made up are subtracted; so many come only on average.
    changes -= sqrt(max(0.0, seen.changes - changes))
    if changes < LEAST_CHANGES or seen.changes < LEAST_CHANGES:
        return Unsaid(reason=Reason.FEW_CHANGES)
    share = scored.undo(seen.share)
    low, high = logistic(share, sqrt(log_odds(seen, scored)))
    return Share(value=share, low=low, high=high)
