"""Channels that are always active: what a listener may want to leave out, with the evidence.

A broadcaster that never pauses, a neighbour's power supply: each visit there costs time that
others could have, and each hold more. The listener decides; this only shows what speaks for it.
What the receiver hears of itself is not among them: that belongs under `own_signals`.
"""

import statistics
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from vfod.survey.occupancy import PERFECT, Scored, Share, Visit, occupancy

#: Watched for less than this, nobody knows whether a channel ever pauses, seconds.
LEAST_WATCHED = 2 * 3600.0

#: The lower end of the interval of its share must reach this.
ALWAYS = 0.95


class Measured(NamedTuple):
    """A visit with its level, in decibels; None in both where they are not known."""

    time: float
    active: bool | None
    level: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Evidence:
    """What speaks for leaving a channel out; `level` is the median, `lowest` a tenth lies below."""

    dial: int
    share: Share
    visits: int
    active: int
    watched: float
    level: float
    lowest: float


def steady(
    channels: Mapping[int, Sequence[Measured]],
    since: float,
    until: float,
    *,
    own: Container[int] = (),
    scored: Scored = PERFECT,
) -> list[Evidence]:
    """The channels by dial frequency that were always active from `since` to `until`.

    The time may span several nights; what was not watched in between does not count.
    """
    found = []
    for dial, visits in sorted(channels.items()):
        if dial in own:
            continue
        it = occupancy([Visit(v.time, v.active) for v in visits], since, until, scored)
        levels = [v.level for v in visits if v.level is not None and since <= v.time < until]
        if not isinstance(it.tonight, Share) or len(levels) < 2:
            continue
        if it.watched < LEAST_WATCHED or it.tonight.low < ALWAYS:
            continue
        found.append(
            Evidence(
                dial=dial,
                share=it.tonight,
                visits=it.judged,
                active=it.active,
                watched=it.watched,
                level=statistics.median(levels),
                lowest=statistics.quantiles(levels, n=10)[0],
            )
        )
    return found
