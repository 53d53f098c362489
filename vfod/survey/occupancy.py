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
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import median
from typing import NamedTuple

from vfod.survey.intervals import aliasing, logistic, trigamma, visits_needed, wilson

#: Changes between active and not below which a night says nothing of other nights: with fewer
#: than five whole runs the scatter of their lengths cannot be told.
LEAST_CHANGES = 10

#: Judged visits below which no share is stated.
LEAST_VISITS = 5

#: A gap so many times as long as the median one is time not watched: the sweep yielded, the line
#: was lost, the daemon did not run.
NOT_WATCHED = 4.0

#: Detection less false alarm below which a visit hardly depends on what is on the air.
LEAST_POWER = 0.5


class Visit(NamedTuple):
    """One visit of a channel: when, and whether it was active; None where that was not known."""

    time: float
    active: bool | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Scored:
    """How often a visit is right: P(active | truly active) and P(active | truly not)."""

    detection: float = 1.0
    false_alarm: float = 0.0

    def undo(self, seen: float) -> float:
        """The true share behind the share of visits seen active (Rogan and Gladen, 1978)."""
        power = self.detection - self.false_alarm
        if power <= 0:
            return seen  # a detector that knows nothing; what it says is told to nobody
        return min(1.0, max(0.0, (seen - self.false_alarm) / power))

    def noise(self, share: float) -> float:
        """Variance that the detector's errors add to one visit, at a true share."""
        right, wrong = self.detection, self.false_alarm
        return share * right * (1 - right) + (1 - share) * wrong * (1 - wrong)


PERFECT = Scored()


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
    TOGETHER = "the channels of a band open and close together, one night is one sample"


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


@dataclass(frozen=True, kw_only=True, slots=True)
class Run:
    """A run of active visits: it began after `after` and by `first`, ended after `last` by `by`.

    `after` and `by` are None where nobody watched before or after it.
    """

    after: float | None
    first: float
    last: float
    by: float | None


def runs(visits: Sequence[Visit]) -> list[Run]:
    """The runs of activity of a channel, each with the gaps in which its change-overs lie."""
    found: list[Run] = []
    for stretch in _stretches(_judged(visits)):
        before: float | None = None
        first: float | None = None
        last = stretch[0].time
        for visit in stretch:
            if visit.active:
                first, last = visit.time if first is None else first, visit.time
                continue
            if first is not None:
                found.append(Run(after=before, first=first, last=last, by=visit.time))
            first, before = None, visit.time
        if first is not None:
            found.append(Run(after=before, first=first, last=last, by=None))
    return found


def occupancy(
    visits: Sequence[Visit], since: float, until: float, scored: Scored = PERFECT
) -> Occupancy:
    """The figures of one channel, of its visits from `since` up to before `until`, by time."""
    inside = [visit for visit in visits if since <= visit.time < until]
    seen = _look(inside, since, until)
    if seen is None:
        return _nothing(len(inside), _judged(inside))
    share = scored.undo(seen.share)
    sure = scored.detection - scored.false_alarm >= LEAST_POWER
    correlation = seen.correlation(share, scored)
    unsure = Unsaid(reason=Reason.UNSURE)
    return Occupancy(
        visits=len(inside),
        judged=seen.count,
        active=seen.active,
        changes=seen.changes,
        watched=seen.watched,
        revisit=seen.revisit,
        longest=seen.longest,
        tonight=_within(seen.share, seen.trials(share, scored), scored) if sure else unsure,
        long_run=_long_run(seen, share, correlation, scored) if sure else unsure,
        needed=visits_needed(share, correlation=correlation),
    )


def of_band(
    channels: Iterable[Sequence[Visit]], since: float, until: float, scored: Scored = PERFECT
) -> Occupancy:
    """The figures of a band from the visits of each of its channels.

    Active (channel, time) over all of it: frequency band occupancy, Report ITU-R SM.2256 s. 2.17.
    """
    inside = [[visit for visit in visits if since <= visit.time < until] for visits in channels]
    looked = [seen for visits in inside if (seen := _look(visits, since, until)) is not None]
    judged = [visit for visits in inside for visit in _judged(visits)]
    count = sum(len(visits) for visits in inside)
    if not looked:
        return _nothing(count, judged)
    watched = sum(seen.watched for seen in looked)
    share = variance = smooth = 0.0
    for seen in looked:
        part = seen.watched / watched
        trials = seen.trials(scored.undo(seen.share), scored)
        # Half a visit each way, so that a channel never seen active is not held to be certain.
        likely = (seen.share * trials + 0.5) / (trials + 1)
        share += part * seen.share
        smooth += part * likely
        variance += part * part * likely * (1 - likely) / trials
    return Occupancy(
        visits=count,
        judged=len(judged),
        active=sum(bool(visit.active) for visit in judged),
        changes=sum(seen.changes for seen in looked),
        watched=watched,
        revisit=sum(seen.revisit for seen in looked) / len(looked),
        longest=max(seen.longest for seen in looked),
        tonight=_within(share, smooth * (1 - smooth) / variance, scored)
        if scored.detection - scored.false_alarm >= LEAST_POWER
        else Unsaid(reason=Reason.UNSURE),
        long_run=Unsaid(reason=Reason.TOGETHER),
        needed=visits_needed(scored.undo(share)),
    )


def by_parts(
    visits: Sequence[Visit], edges: Sequence[float], scored: Scored = PERFECT
) -> list[Occupancy]:
    """A channel's figures from each edge to the next, such as the hours of a night."""
    return [occupancy(visits, since, until, scored) for since, until in pairwise(edges)]


# --- what the visits show, before anything is inferred --------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class _Seen:
    """What a channel's judged visits show; `share` is by time, not by visits."""

    count: int
    active: int
    changes: int
    gaps: int
    watched: float
    revisit: float
    longest: float
    share: float
    #: Visits of equal weight that these are worth (Kish), as their gaps differ.
    worth: float

    def correlation(self, share: float, scored: Scored) -> float:
        """Between the true states at neighbouring visits; the detector's errors taken out."""
        power = scored.detection - scored.false_alarm
        plain = self.active / self.count
        room = power * power * share * (1 - share)
        if room <= 0 or self.gaps == 0:
            return 0.0
        found = plain * (1 - plain) - self.changes / (2 * self.gaps)
        return min(1.0 - 0.5 / self.count, max(0.0, found / room))

    def trials(self, share: float, scored: Scored) -> float:
        """Independent visits that would know the share of this stretch as well as these do."""
        if self.changes == 0:
            # Perhaps it never changed, perhaps it comes and goes between the visits.
            return self.worth
        # So many changes know their own rate to one part in the root of their number; the safe
        # side is a faster channel.
        correlation = max(
            0.0, 1 - (1 - self.correlation(share, scored)) * (1 + 1 / sqrt(self.changes))
        )
        power = scored.detection - scored.false_alarm
        between = power * power * share * (1 - share) * aliasing(correlation)
        variance = between + scored.noise(share)
        spread = self.share * (1 - self.share)
        return self.worth * spread / variance if spread > 0 and variance > 0 else self.worth


def _judged(visits: Sequence[Visit]) -> list[Visit]:
    return [visit for visit in visits if visit.active is not None]


def _stretches(judged: Sequence[Visit]) -> Iterator[list[Visit]]:
    """The visits, parted where nobody watched."""
    if not judged:
        return
    limit = _limit(judged)
    stretch = [judged[0]]
    for before, visit in pairwise(judged):
        if visit.time - before.time > limit:
            yield stretch
            stretch = []
        stretch.append(visit)
    yield stretch


def _limit(judged: Sequence[Visit]) -> float:
    gaps = [after.time - before.time for before, after in pairwise(judged)]
    return NOT_WATCHED * median(gaps) if gaps else 0.0


def _look(visits: Sequence[Visit], since: float, until: float) -> _Seen | None:
    judged = _judged(visits)
    if len(judged) < LEAST_VISITS:
        return None
    limit = _limit(judged)
    watched = squares = active = longest = within = 0.0
    changes = gaps = 0
    for stretch in _stretches(judged):
        times = [visit.time for visit in stretch]
        # Beyond its ends a stretch stands for the time until the next visit would have come.
        reach = limit / NOT_WATCHED
        edges = [
            max(since, times[0] - reach),
            *((a + b) / 2 for a, b in pairwise(times)),
            min(until, times[-1] + reach),
        ]
        for visit, (left, right) in zip(stretch, pairwise(edges), strict=True):
            weight = right - left
            watched += weight
            squares += weight * weight
            active += weight * bool(visit.active)
        for before, after in pairwise(stretch):
            gap = after.time - before.time
            within += gap
            longest = max(longest, gap)
            gaps += 1
            changes += before.active != after.active
    if gaps == 0 or watched <= 0:
        return None
    return _Seen(
        count=len(judged),
        active=sum(bool(visit.active) for visit in judged),
        changes=changes,
        gaps=gaps,
        watched=watched,
        revisit=within / gaps,
        longest=longest,
        share=min(1.0, active / watched),
        worth=watched * watched / squares,
    )


def _nothing(visits: int, judged: Sequence[Visit]) -> Occupancy:
    why = Unsaid(reason=Reason.FEW_VISITS if judged else Reason.NO_VISIT)
    return Occupancy(
        visits=visits,
        judged=len(judged),
        active=sum(bool(visit.active) for visit in judged),
        changes=0,
        watched=0.0,
        revisit=None,
        longest=None,
        tonight=why,
        long_run=why,
        needed=None,
    )


# --- the two figures ------------------------------------------------------------------------------


def _within(seen: float, trials: float, scored: Scored) -> Share:
    low, high = wilson(seen, trials)
    return Share(value=scored.undo(seen), low=scored.undo(low), high=scored.undo(high))


def _long_run(seen: _Seen, share: float, correlation: float, scored: Scored) -> Share | Unsaid:
    """Rates of coming and going as Beta (Jeffreys) posteriors of a Markov chain's transitions.

    The odds of being active are their ratio, whose logarithm is close to normal even with five
    transitions each way, where an interval of the share itself is not.
    """
    changes = 2 * share * (1 - share) * (1 - correlation) * seen.gaps
    # Changes that the detector made up are subtracted; so many come only on average.
    changes -= sqrt(max(0.0, seen.changes - changes))
    if changes < LEAST_CHANGES or seen.changes < LEAST_CHANGES:
        return Unsaid(reason=Reason.FEW_CHANGES)
    each = changes / 2 + 0.5
    power = scored.detection - scored.false_alarm
    variance = scored.noise(share) / (seen.count * (power * share * (1 - share)) ** 2)
    for part in (share, 1 - share):
        stayed = max(0.5, part * seen.count - changes / 2 + 0.5)
        variance += trigamma(each) - trigamma(each + stayed)
    low, high = logistic(share, sqrt(variance))
    return Share(value=share, low=low, high=high)
