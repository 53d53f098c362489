"""How well it was looked in a night, in words: windows, gaps, pace, moves, and every channel."""

from collections.abc import Iterator

from vfod.report.facts import Channel, Gap, Kept, Night
from vfod.report.setting import clock_text
from vfod.report.wording import Row, Section, kilohertz, level, share
from vfod.units import format_duration


def windows(night: Night) -> Section:
    """Windows planned and kept."""
    zone = night.setting.zone
    rows = tuple(
        (
            one.window,
            f"{clock_text(one.opens, zone)}\u2013{clock_text(one.closes, zone)}",
            _kept(one),
            _clock(night, one.first),
            _clock(night, one.last),
            str(one.visits),
            one.sweep,
        )
        for one in night.windows
    )
    says = [f"{one.window}: {remark}." for one in night.windows for remark in _remarks_of(one)]
    if not rows:
        says.append("There was none.")
    return Section(
        key="windows",
        title="Windows planned and kept",
        says=tuple(says),
        head=("window", "planned", ">kept", "first", "last", ">visits", "sweep") if rows else (),
        rows=rows,
    )


def _remarks_of(one: Kept) -> Iterator[str]:
    yield from one.remarks
    if not one.planned:
        yield "kept by the daemon, though the configuration does not have it (any more)"
    if one.opened is None and one.due > 0:
        yield "the daemon did not open it"


def _kept(one: Kept) -> str:
    if one.due <= 0:
        return "not due"
    return f"{one.swept / one.due:.0%} of {format_duration(one.due)}"


def gaps(night: Night) -> Iterator[Section]:
    """Stretches of windows without visits, and why; none where there were none."""
    gaps = [gap for one in night.windows for gap in one.gaps]
    if not gaps:
        return
    zone = night.setting.zone
    yield Section(
        key="gaps",
        title="Gaps",
        head=("from", "to", ">length", "why"),
        rows=tuple(
            (
                clock_text(gap.begins, zone, seconds=True),
                clock_text(gap.ends, zone, seconds=True),
                format_duration(gap.ends - gap.begins),
                _why(gap),
            )
            for gap in gaps
        ),
        brief=6,
    )


def _why(gap: Gap) -> str:
    if len(gap.reasons) == 1:
        return gap.reasons[0][0]
    return "; ".join(f"{reason} ({format_duration(seconds)})" for reason, seconds in gap.reasons)


def pace(night: Night) -> Section:
    """Passes, and the revisit time really kept."""
    says = []
    if night.revisit is None:
        says.append("No channel was visited twice, so there is no revisit time.")
    else:
        says.append(
            f"A channel was visited again after {format_duration(night.revisit.median)} (median); "
            f"95 of 100 times within {format_duration(night.revisit.most)}, at the longest after "
            f"{format_duration(night.revisit.longest)}. What came and went in between was missed."
        )
    if not night.passes:
        says.append("No pass was completed.")
    return Section(
        key="pace",
        title="Passes and revisit time",
        says=tuple(says),
        head=("sweep", ">passes", ">mean", ">longest") if night.passes else (),
        rows=tuple(
            (one.sweep, str(one.count), format_duration(one.mean), format_duration(one.longest))
            for one in night.passes
        ),
    )


def moves(night: Night) -> Section:
    """Who moved the dial, beside the sweeps."""
    return Section(
        key="moves",
        title="Who moved the dial",
        says=() if night.moves else ("Nobody but the sweeps.",),
        head=("at", "who", ">to kHz", "how often") if night.moves else (),
        rows=tuple(
            (
                clock_text(move.begins, night.setting.zone, seconds=True),
                move.who,
                "outside" if move.to is None else kilohertz(move.to),
                f"{move.times} times" if move.times > 1 else "",
            )
            for move in night.moves
        ),
        brief=6,
    )


def channels(night: Night) -> Iterator[Section]:
    """Occupancy of the channels that were found active."""
    active = tuple(channel for channel in night.channels if channel.sums.active)
    yield Section(
        key="channels",
        title="Occupancy by channel",
        says=(
            "Tonight: the share of the watched time in which the channel was active, and the "
            "interval it lies in with 95 % confidence.",
            "What comes and goes within less than two revisit times, in step with the sweep, can "
            "be wrong by far more: no visit shows it.",
            "All such nights: what this night says of others like it; that takes at least ten "
            "changes between active and quiet, and is a dash without them.",
        )
        if active
        else ("No channel was active.",)
        if night.judged
        else ("Of no channel it can be said.",),
        head=_channel_head(night.unit) if active else (),
        rows=tuple(_channel(channel) for channel in active),
        brief=0,
    )


def quiet(night: Night) -> Section:
    """The channels that were never found active, with how sure that is."""
    return Section(
        key="quiet",
        title="Channels never found active",
        head=_channel_head(night.unit),
        rows=tuple(_channel(c) for c in night.channels if not c.sums.active),
        brief=0,
    )


def _channel_head(unit: str) -> Row:
    return (
        *(">kHz", ">tonight", ">all such nights", "band"),
        *(">visits", ">active", f">up to {unit}", "name"),
    )


def _channel(channel: Channel) -> Row:
    sums, occupancy = channel.sums, channel.occupancy
    return (
        kilohertz(sums.dial),
        share(occupancy.tonight),
        share(occupancy.long_run),
        sums.band or "",
        str(sums.visits),
        str(sums.active),
        level(sums.strongest),
        ", ".join(channel.names),
    )


def _clock(night: Night, when: float | None) -> str:
    return "" if when is None else clock_text(when, night.setting.zone)
