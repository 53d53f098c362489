"""How much of a band was occupied: active (channel, time) over all channels and all of the time.

Frequency band occupancy, Report ITU-R SM.2256 section 2.17. This night's share is the mean of
those of the channels, which visits know independently of each other.

For all nights the channels are samples too, and three things decide how good a sample:

- each channel's own coming and going, as for a channel alone (`occupancy.log_odds`);
- channels that never changed this night: most of them never do, but of those that come and go less
  than once a night some did not either; how many, those tell that changed once and twice, as the
  species seen once and twice tell of those not seen (after Chao, Scand. J. Statist. 11, 1984);
- what the channels do together. If the number of active ones scatters by more than that of
  channels which know nothing of each other, the rest is a process of its own, with its own
  correlation, and it must have changed ten times as well.

Parts of a night, such as hours, are too short to tell how slowly a channel comes and goes; they
take that from the whole night.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from math import sqrt

from vfod.survey.combining import student
from vfod.survey.intervals import Z95, logistic, mean_of_chain, visits_needed
from vfod.survey.occupancy import (
    LEAST_CHANGES,
    LEAST_POWER,
    Occupancy,
    Reason,
    Share,
    Unsaid,
    log_odds,
    nothing,
    within,
)
from vfod.survey.seen import PERFECT, Scored, Seen, Visit, judged, look

#: Mean square by which the share of a channel without a change differs from its long-run share, if
#: it comes and goes at all: between those of one that would change twice a night and never.
UNCHANGED = 0.125

#: The correlation from which one or two changes are those of a slow channel, not a short burst.
SLOW = 0.5

#: Deviations from which channels are held to open and close together.
TOGETHER = 2.0

#: From so many degrees of freedom on, Student's distribution is the normal one to a hundredth.
_MANY = 200


def of_band(
    channels: Sequence[Sequence[Visit]], since: float, until: float, scored: Scored = PERFECT
) -> Occupancy:
    """The figures of a band from the visits of each of its channels."""
    (found,) = band_by_parts(channels, (since, until), scored)
    return found


def band_by_parts(
    channels: Sequence[Sequence[Visit]], edges: Sequence[float], scored: Scored = PERFECT
) -> list[Occupancy]:
    """A band's figures from each edge to the next; what is slow is judged by all of them."""
    begins, ends = edges[0], edges[-1]
    all_of_it = _look(channels, begins, ends)
    whole = _Sample.of(all_of_it, begins, ends, scored)
    return [
        _part(
            all_of_it if (since, until) == (begins, ends) else _look(channels, since, until),
            scored,
            whole,
        )
        for since, until in pairwise(edges)
    ]


def _look(
    channels: Sequence[Sequence[Visit]], since: float, until: float
) -> list[tuple[Seen | None, list[Visit]]]:
    inside = [[visit for visit in visits if since <= visit.time < until] for visits in channels]
    return [(look(visits, since, until), visits) for visits in inside]


def _part(
    found: Sequence[tuple[Seen | None, Sequence[Visit]]], scored: Scored, whole: "_Sample"
) -> Occupancy:
    looked = [seen for seen, _ in found if seen is not None]
    known = [visit for _, visits in found for visit in judged(visits)]
    count = sum(len(visits) for _, visits in found)
    if not looked:
        return nothing(count, known)
    watched = sum(seen.watched for seen in looked)
    share = variance = smooth = 0.0
    for seen in looked:
        part = seen.watched / watched
        trials = seen.trials(scored)
        # Half a visit each way, so that a channel never seen active is not held to be certain.
        likely = (seen.share * trials + 0.5) / (trials + 1)
        share += part * seen.share
        smooth += part * likely
        variance += part * part * likely * (1 - likely) / trials
    sure = scored.power >= LEAST_POWER
    unsure = Unsaid(reason=Reason.UNSURE)
    # What differs from channel to channel cancels in part.
    even = replace(scored, uneven=scored.uneven / sqrt(len(looked)))
    return Occupancy(
        visits=count,
        judged=len(known),
        active=sum(bool(visit.active) for visit in known),
        changes=sum(seen.changes for seen in looked),
        watched=watched,
        revisit=sum(seen.revisit for seen in looked) / len(looked),
        longest=max(seen.longest for seen in looked),
        tonight=within(share, smooth * (1 - smooth) / variance, even) if sure else unsure,
        long_run=whole.long_run(looked, scored.undo(share)),
        needed=visits_needed(scored.undo(share)),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Source:
    """Something that makes the band's share scatter from night to night.

    `variance` is that of its part over the whole night, `correlation` that from one visit to the
    next (None: the same all night), `degrees` how well the variance is known.
    """

    variance: float
    correlation: float | None
    degrees: float

    def in_part(self, visits: float, whole: float) -> float:
        """Its variance where there were so many visits of a channel, of those of the night."""
        if self.correlation is None:
            return self.variance
        times = mean_of_chain(self.correlation, visits) / mean_of_chain(self.correlation, whole)
        return self.variance * times


@dataclass(frozen=True, kw_only=True, slots=True)
class _Sample:
    """What a whole night tells of how its band comes and goes."""

    scored: Scored
    sources: tuple[_Source, ...]
    #: Visits of a channel.
    visits: float
    lacking: Reason | None

    @classmethod
    def of(
        cls,
        found: Sequence[tuple[Seen | None, Sequence[Visit]]],
        since: float,
        until: float,
        scored: Scored,
    ) -> "_Sample":
        if scored.power < LEAST_POWER:
            return cls(scored=scored, sources=(), visits=0.0, lacking=Reason.UNSURE)
        known = [(seen, visits) for seen, visits in found if seen is not None]
        looked = [seen for seen, _ in known]
        watched = sum(seen.watched for seen in looked)
        sources = [_own(seen, seen.watched / watched, scored) for seen in looked]
        if (unchanged := _unchanged(looked, scored)) is not None:
            sources.append(unchanged)
        lacking = Reason.FEW_CHANGES if _changes(looked, scored) < LEAST_CHANGES else None
        common = None if lacking else _common(known, since, until, scored)
        if common is not None:
            sources.append(common)
            if common.degrees * 2 < LEAST_CHANGES:
                lacking = Reason.TOGETHER
        return cls(
            scored=scored,
            sources=tuple(source for source in sources if source.variance > 0),
            visits=sum(seen.count for seen in looked) / len(looked) if looked else 0.0,
            lacking=lacking,
        )

    def long_run(self, looked: Sequence[Seen], share: float) -> Share | Unsaid:
        """The share of all nights (of their like part), of which `looked` is a sample."""
        if self.lacking is not None:
            return Unsaid(reason=self.lacking)
        if _changes(looked, self.scored) < LEAST_CHANGES or not 0 < share < 1:
            return Unsaid(reason=Reason.FEW_CHANGES)
        visits = sum(seen.count for seen in looked) / len(looked)
        parts = [(source.in_part(visits, self.visits), source.degrees) for source in self.sources]
        variance = sum(part for part, _ in parts)
        # Welch and Satterthwaite: how well a sum of variances is known.
        weights = sum((part / variance) ** 2 / known for part, known in parts) if variance else 0.0
        if not weights:
            return Unsaid(reason=Reason.FEW_CHANGES)
        degrees = 1 / weights
        reach = student(max(1, round(degrees))) if degrees < _MANY else Z95
        low, high = logistic(share, reach / Z95 * sqrt(variance) / (share * (1 - share)))
        return Share(value=share, low=low, high=high)


def _changes(looked: Sequence[Seen], scored: Scored) -> float:
    """Changes of all channels, but those that the detector made up."""
    seen = sum(one.changes for one in looked)
    true = sum(one.true_changes(scored) for one in looked)
    return min(float(seen), true - sqrt(max(0.0, seen - true)))


def _own(seen: Seen, part: float, scored: Scored) -> _Source:
    share = scored.undo(seen.share)
    room = share * (1 - share)
    if seen.made_up(scored) or room <= 0:
        noise = scored.noise(share) / (seen.count * scored.power**2)
        return _Source(variance=part * part * noise, correlation=0.0, degrees=seen.count)
    return _Source(
        variance=part * part * room * room * log_odds(seen, scored),
        correlation=seen.correlation(scored),
        degrees=max(1.0, seen.true_changes(scored) / 2),
    )


def _unchanged(looked: Sequence[Seen], scored: Scored) -> _Source | None:
    """What those that by chance did not change this night add; None without a hint of them."""
    still = once = twice = 0
    for seen in looked:
        if seen.made_up(scored):
            still += 1
        elif seen.correlation(scored) > SLOW:
            changes = round(seen.true_changes(scored))
            once += changes == 1
            twice += changes == 2
    hidden = min(still, once * once / (twice + 1))
    if not hidden:
        return None
    return _Source(variance=hidden * UNCHANGED / len(looked) ** 2, correlation=None, degrees=once)


def _common(
    found: Sequence[tuple[Seen, Sequence[Visit]]], since: float, until: float, scored: Scored
) -> _Source | None:
    """What the channels do together; None where nothing speaks for it."""
    moving = [(seen, visits) for seen, visits in found if not seen.made_up(scored)]
    if len(moving) < 2:
        return None
    watched = sum(seen.watched for seen, _ in found)
    revisit = sum(seen.revisit for seen, _ in moving) / len(moving)
    bins = max(2, int((until - since) / revisit))
    rows = [
        _away(seen, visits, since, revisit, bins, seen.watched / watched) for seen, visits in moving
    ]
    total: dict[int, float] = {}
    for row in rows:
        for index, value in row.items():
            total[index] = total.get(index, 0.0) + value
    count = len(total)

    def together(lag: int) -> float:
        """Covariance of different channels, all pairs summed, so many revisit times apart."""
        own = sum(_product(row, lag) for row in rows)
        return (_product(total, lag) - own) / count

    chance = sqrt(
        sum(
            4 * _room(a, watched) * _room(b, watched) * _lasting(a, b, scored)
            for (a, _), (b, _) in combinations(moving, 2)
        )
        / count
    )
    now = together(0)
    if now <= TOGETHER * chance:
        return None
    # The correlation of one visit with the next, from the lag at which half of it is gone: from
    # nearer ones chance would decide.
    lag = 1
    while (left := together(lag) / now) > 0.5 and 2 * lag <= count / 4:
        lag *= 2
    correlation = min(1 - 0.5 / count, max(0.0, left) ** (1 / lag))
    return _Source(
        variance=now / scored.power**2 * mean_of_chain(correlation, count),
        correlation=correlation,
        # A pair of changes for each; twice a p of a half times what is left of the correlation.
        degrees=count * (1 - correlation) / 4,
    )


def _away(
    seen: Seen, visits: Sequence[Visit], since: float, revisit: float, bins: int, part: float
) -> dict[int, float]:
    """By how much a channel was more active than on the average, by revisit time."""
    sums: dict[int, tuple[float, int]] = {}
    for time, active in visits:
        if active is not None:
            index = min(int((time - since) / revisit), bins - 1)
            value, count = sums.get(index, (0.0, 0))
            sums[index] = value + active - seen.share, count + 1
    return {index: part * value / count for index, (value, count) in sums.items()}


def _product(row: Mapping[int, float], lag: int) -> float:
    return sum(value * row.get(index + lag, 0.0) for index, value in row.items())


def _room(seen: Seen, watched: float) -> float:
    part = seen.watched / watched
    return part * part * seen.share * (1 - seen.share)


def _lasting(a: Seen, b: Seen, scored: Scored) -> float:
    """How many times more the product of two channels scatters for their being slow."""
    both = a.correlation(scored) * b.correlation(scored)
    return (1 + both) / (1 - both)
