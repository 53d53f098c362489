"""What the visits of a channel show, before anything is inferred of the time between them.

Visits count by the time for which they stand, so that a channel that was visited more often while
it was active is not overrated. Time that nobody watched is left out.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import median
from typing import NamedTuple

from vfod.survey.instep import Window, play
from vfod.survey.intervals import Z95, aliasing

#: Judged visits below which no share is stated.
LEAST_VISITS = 5

#: A gap so many times as long as the median one is time not watched: the sweep yielded, the line
#: was lost, the daemon did not run.
NOT_WATCHED = 4.0

#: So many deviations of a count of false alarms, or misses, are taken for chance.
BY_CHANCE = 3.0

#: Changes that are taken to have been there beside those that were seen.
MORE = 1.0


class Visit(NamedTuple):
    """One visit of a channel: when, and whether it was active; None where that was not known."""

    time: float
    active: bool | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Scored:
    """How often a visit is right: P(active | truly active) and P(active | truly not)."""

    detection: float = 1.0
    false_alarm: float = 0.0
    #: Standard deviation of the latter from channel to channel: a neighbour's splatter raises it.
    uneven: float = 0.0

    @property
    def power(self) -> float:
        """How much a visit depends on what is on the air."""
        return self.detection - self.false_alarm

    def undo(self, seen: float) -> float:
        """The true share behind the share of visits seen active (Rogan and Gladen, 1978)."""
        return self._undo(seen, self.false_alarm)

    def lowest(self, seen: float) -> float:
        """As `undo`, on a channel with more false alarms than nearly all others have."""
        return self._undo(seen, self.false_alarm + Z95 * self.uneven)

    def highest(self, seen: float) -> float:
        """As `undo`, on a channel with fewer false alarms than nearly all others have."""
        return self._undo(seen, max(0.0, self.false_alarm - Z95 * self.uneven))

    def _undo(self, seen: float, false_alarm: float) -> float:
        if self.detection <= false_alarm:
            return seen  # a detector that knows nothing; what it says is told to nobody
        return min(1.0, max(0.0, (seen - false_alarm) / (self.detection - false_alarm)))

    def noise(self, share: float) -> float:
        """Variance that the detector's errors add to one visit, at a true share."""
        right, wrong = self.detection, self.false_alarm
        return share * right * (1 - right) + (1 - share) * wrong * (1 - wrong)


PERFECT = Scored()


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
    known = judged(visits)
    return [run for stretch in _stretches(known, _limit(known)) for run in _runs(stretch)]


def judged(visits: Sequence[Visit]) -> list[Visit]:
    """Those of which activity was known."""
    return [visit for visit in visits if visit.active is not None]


@dataclass(frozen=True, kw_only=True, slots=True)
class Seen:
    """What a channel's judged visits show; `share` is by time, not by visits.

    `worth` is how many visits of equal weight these are worth (Kish), as their gaps differ.
    `play` is by how much of the watched time the share may be off because the channel comes and
    goes by a clock, whose change-overs lie at like places of their gaps; 0 where it does not.
    """

    count: int
    active: int
    changes: int
    gaps: int
    watched: float
    revisit: float
    longest: float
    share: float
    worth: float
    play: float

    def correlation(self, scored: Scored) -> float:
        """Between the true states at neighbouring visits; the detector's errors taken out."""
        share = scored.undo(self.share)
        plain = self.active / self.count
        room = scored.power * scored.power * share * (1 - share)
        if room <= 0 or self.gaps == 0:
            return 0.0
        found = plain * (1 - plain) - self.changes / (2 * self.gaps)
        return min(1.0 - 0.5 / self.count, max(0.0, found / room))

    def true_changes(self, scored: Scored) -> float:
        """Changes but those that the detector made up, on the average."""
        if self.made_up(scored):
            return 0.0
        share = scored.undo(self.share)
        return 2 * share * (1 - share) * (1 - self.correlation(scored)) * self.gaps

    def made_up(self, scored: Scored) -> bool:
        """Whether the detector's errors alone explain that it was seen to change, if it was."""
        return any(
            odd <= self.count * rate + BY_CHANCE * sqrt(self.count * rate * (1 - rate))
            for odd, rate in (
                (self.active, scored.false_alarm),
                (self.count - self.active, 1 - scored.detection),
            )
        )

    def trials(self, scored: Scored) -> float:
        """Independent visits that would know the share of this stretch as well as these do."""
        share = scored.undo(self.share)
        spread = self.share * (1 - self.share)
        if self.changes == 0 or spread <= 0:
            # Perhaps it never changed, perhaps it comes and goes between the visits.
            return self.worth
        correlation = self.correlation(scored)
        # Each change that was seen lies anywhere in its gap: a twelfth of a gap squared.
        # One more is on the safe side: the mean of what so few may stand for (a flat prior).
        seen = (1 - correlation) / 6 * (1 + MORE / self.changes)
        # What came and went between two visits must be inferred from the rate of the changes,
        # which so many of them know to one part in their root; the safe side is a faster channel.
        faster = max(0.0, 1 - (1 - correlation) * (1 + 1 / sqrt(self.changes)))
        unseen = max(0.0, aliasing(faster) - (1 - faster) / 6)
        between = scored.power * scored.power * share * (1 - share) * (seen + unseen)
        variance = between + scored.noise(share)
        variance = max(variance, self.worth * (self.play / Z95) ** 2)
        return self.worth * spread / variance if variance > 0 else self.worth


def look(visits: Sequence[Visit], since: float, until: float) -> Seen | None:
    """What visits from `since` to `until` show; None where there are too few."""
    known = judged(visits)
    if len(known) < LEAST_VISITS:
        return None
    limit = _limit(known)
    stretches = list(_stretches(known, limit))
    watched = squares = active = longest = within = 0.0
    changes = gaps = 0
    for stretch in stretches:
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
    return Seen(
        count=len(known),
        active=sum(bool(visit.active) for visit in known),
        changes=changes,
        gaps=gaps,
        watched=watched,
        revisit=within / gaps,
        longest=longest,
        share=min(1.0, active / watched),
        worth=watched * watched / squares,
        play=_play(stretches) / watched,
    )


def _play(stretches: Sequence[Sequence[Visit]]) -> float:
    found = [run for stretch in stretches for run in _runs(stretch)]
    comings = [Window(run.after, run.first) for run in found if run.after is not None]
    goings = [Window(run.last, run.by) for run in found if run.by is not None]
    return play(comings) + play(goings)


def _runs(stretch: Sequence[Visit]) -> Iterator[Run]:
    before: float | None = None
    first: float | None = None
    last = stretch[0].time
    for visit in stretch:
        if visit.active:
            first, last = visit.time if first is None else first, visit.time
            continue
        if first is not None:
            yield Run(after=before, first=first, last=last, by=visit.time)
        first, before = None, visit.time
    if first is not None:
        yield Run(after=before, first=first, last=last, by=None)


def _stretches(known: Sequence[Visit], limit: float) -> Iterator[list[Visit]]:
    """The visits, parted where nobody watched."""
    if not known:
        return
    stretch = [known[0]]
    for before, visit in pairwise(known):
        if visit.time - before.time > limit:
            yield stretch
            stretch = []
        stretch.append(visit)
    yield stretch


def _limit(known: Sequence[Visit]) -> float:
    gaps = [after.time - before.time for before, after in pairwise(known)]
    return NOT_WATCHED * median(gaps) if gaps else 0.0
