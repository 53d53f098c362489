"""What a plan will have done by the end of a window, found by walking it beforehand.

Holds, yields and lost lines come on top, so this is the best that can be had.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from vfod.plan.roster import Roster
from vfod.plan.sweep import SweepPlan
from vfod.plan.windows import Guest
from vfod.units import format_duration

#: A share is kept when it comes out so near: a stretch that is cut off at the end is no failure.
_NEAR = 0.05

#: Revisit times add up from visits of tenths of a second; less than that is rounding.
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """One sweep in a window of `seconds`.

    `visits` is what the channel with the fewest complete ones has; `revisit_time` is the longest
    from the beginning of a visit to the next one of the same channel, seconds, None where none
    comes twice; `share` is the part of the time that the sweep has.
    """

    plan: SweepPlan
    guest: Guest | None
    seconds: float
    visits: int
    revisit_time: float | None
    share: float
    range_changes: int


def outlook(roster: Roster, seconds: float) -> list[Outlook]:
    """What becomes of each sweep of a roster in a window, the window's own first."""
    visits: Counter[tuple[str, int]] = Counter()
    changes: Counter[str] = Counter()
    used: dict[str, float] = {}
    began: dict[tuple[str, int], float] = {}
    longest: dict[str, float] = {}
    now = 0.0
    for visit in roster.walk():
        name = visit.sweep.name
        if now + visit.duration > seconds + _ROUNDING:
            break
        place = (name, visit.dial)
        if place in began:
            longest[name] = max(longest.get(name, 0.0), now - began[place])
        began[place] = now
        visits[place] += 1
        changes[name] += visit.range_change
        used[name] = used.get(name, 0.0) + visit.duration
        now += visit.duration
    return [
        Outlook(
            plan=plan,
            guest=guest,
            seconds=seconds,
            visits=min(visits[plan.sweep.name, channel.dial] for channel in plan.channels),
            revisit_time=longest.get(plan.sweep.name),
            share=used.get(plan.sweep.name, 0.0) / seconds,
            range_changes=changes[plan.sweep.name],
        )
        for guest, plan in ((None, roster.main), *roster.guests)
    ]


def warnings(found: Sequence[Outlook]) -> list[str]:
    """Where a plan asks for more than the time allows, in words."""
    said = []
    for item in found:
        name, guest = item.plan.sweep.name, item.guest
        once = format_duration(item.plan.pass_duration)
        if guest is not None and guest.every is not None:
            longest = item.revisit_time
            if longest is not None and longest > guest.every + _ROUNDING:
                said.append(
                    f"{name} cannot be had every {format_duration(guest.every)}: it takes up to "
                    f"{format_duration(longest)}, because a pass of it takes {once}"
                )
        if guest is not None and guest.share is not None and abs(item.share - guest.share) > _NEAR:
            said.append(
                f"{name} has {item.share:.0%} of the time and not {guest.share:.0%}, "
                f"in a window of {format_duration(item.seconds)}"
            )
        if item.visits == 0:
            said.append(
                f"not every channel of {name} is visited: a pass of it alone takes {once}, and "
                f"it has {format_duration(item.share * item.seconds)}"
            )
    return said
