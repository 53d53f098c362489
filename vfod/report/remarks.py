"""What a night's report cannot say, in sentences, so that no empty list is mistaken for silence."""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from vfod.report.facts import Night
from vfod.report.setting import clock_text
from vfod.state.say import visible
from vfod.units import format_duration

#: Judged visits of a night below which its figures are hardly worth reading.
_FEW = 20

#: Stretches without levels that are told one by one.
_STRETCHES = 4


class Deaf(NamedTuple):
    """A stretch in which a sweep went on without levels, and what the sound was."""

    since: float
    until: float
    sound: str


def remarks(
    night: Night,
    *,
    others: Mapping[str, int],
    units: Mapping[str, int],
    deaf: Sequence[Deaf] = (),
    kept: bool = True,
) -> tuple[str, ...]:
    """Sentences for the reader; `others` and `units` count visits by VFO and by unit.

    `deaf` are the stretches without levels. `kept` is False where the journal has given the
    observations up because of their age.
    """
    return (*_remarks(night, others, units, kept), *_without_levels(night, deaf))


def _remarks(
    night: Night, others: Mapping[str, int], units: Mapping[str, int], kept: bool
) -> Iterator[str]:
    setting = night.setting
    if setting.now < night.begins:
        yield "The night has not begun; `vfod agenda` shows what is planned."
    elif setting.now < night.ends:
        yield f"The night is not over: this is what there was up to {_clock(night, setting.now)}."
    if night.change is not None:
        when, by = night.change
        way = "forward" if by > 0 else "back"
        yield (
            f"The clocks went {way} by {format_duration(abs(by))} at {_clock(night, when)}; this "
            f"night had {format_duration(night.ends - night.begins)}."
        )
    if not kept:
        yield (
            "The observations of this night were given up because of their age (journal.keep); "
            "what is left are the sums of each channel. When a band opened and closed, gaps and "
            "windows cannot be told any more."
        )
    elif not night.visits:
        yield (
            "No channel was visited, so nothing can be said of what was on the air; "
            "silence in this report is not silence on the bands."
        )
    elif not any(channel.sums.strongest is not None for channel in night.channels):
        yield (
            "No level was measured at any visit, so nothing can be said of activity; "
            "`vfod doctor` tells whether the VFO measures one."
        )
    elif not night.judged:
        yield (
            "The noise floor was not known at any visit, so it cannot be told what was active; "
            "a band needs some more visits for that."
        )
    elif night.judged < _FEW:
        yield (
            f"Only {night.judged} {_visits(night.judged)} could be judged: what is missing here "
            "may well have been there."
        )
    if not setting.windows and not night.windows:
        yield "No window is known for this night, so nothing can be said of plan and keeping."
    if len(units) > 1:
        told = ", ".join(f"{count} {_visits(count)} in {unit}" for unit, count in units.items())
        yield f"Levels are in more than one unit ({told}); those in {night.unit} are shown."
    rest = [visible(name) for name in others if name != setting.vfo]
    if rest:
        yield f"Other VFOs were at work too: {', '.join(rest)}; --vfo shows one of them."
    if night.visits and night.fresh is None:
        yield "No earlier night of the last two weeks was looked at, so nothing can be called new."
    if setting.site is None:
        yield "Latitude and longitude are not configured, so sunset and sunrise are not known."
    elif not night.sun:
        yield "The sun neither set nor rose in this night."


def _without_levels(night: Night, deaf: Sequence[Deaf]) -> Iterator[str]:
    if not deaf:
        return
    told = ", ".join(
        f"from {_clock(night, one.since)} to {_clock(night, one.until)} ({one.sound})"
        for one in deaf[:_STRETCHES]
    )
    if len(deaf) > _STRETCHES:
        told += f", and {len(deaf) - _STRETCHES} times more"
    whole = format_duration(round(sum(one.until - one.since for one in deaf)))
    yield (
        f"The sweep went on without levels {told}, {whole} in all, because there was no sound to "
        "take them from; silence then is not silence on the bands."
    )


def _clock(night: Night, when: float) -> str:
    return clock_text(when, night.setting.zone)


def _visits(count: int) -> str:
    return "visit" if count == 1 else "visits"
