"""Channels that never pause, and the line that leaves them out: one rule, `vfod.survey.steady`.

What the receiver hears of itself is no station: what the configuration names as such, and what a
pass without the antenna has listed (`vfod spurs`), unless something far stronger is there too.
"""

from collections.abc import Iterable, Mapping, Sequence

from vfod import events as e
from vfod.errors import UsageError
from vfod.plan.channels import Skip, skipped
from vfod.plan.stations import Station, named
from vfod.plan.sweep import Sweep, channels_of
from vfod.report.facts import Skipping, Steady
from vfod.store import Reader
from vfod.survey.own import WELL_ABOVE
from vfod.survey.steady import Measured
from vfod.survey.steady import steady as always_active
from vfod.units import format_frequency


def listed(reader: Reader, vfo: str) -> dict[int, float]:
    """What is no station by the journal's lists, of each sweep the last: dial and level."""
    found: dict[tuple[str, bool], e.OwnSignalsMeasured] = {}
    for entry in reader.events(vfo=vfo, kinds=("own-signals-measured",)):
        if isinstance(entry.event, e.OwnSignalsMeasured):
            found[entry.event.sweep, entry.event.images] = entry.event
    return {
        dial: level
        for one in found.values()
        for dial, level in zip(one.dials, one.levels, strict=False)
    }


def steady(
    channels: Mapping[int, Sequence[Measured]],
    span: tuple[float, float],
    own: Mapping[int, float],
    sweeps: Sequence[Sweep],
    stations: tuple[Sequence[Station], int],
) -> tuple[Steady, ...]:
    """Those that were always active; `own` is what is listed, `stations` also says how near."""
    hears = [item for sweep in sweeps for item in sweep.own_signals]
    evidence = always_active(
        channels, *span, own=frozenset(dial for dial in channels if skipped(dial, hears))
    )
    return tuple(
        Steady(evidence=one, names=tuple(named(stations[0], one.dial, *span, stations[1])))
        for one in evidence
        if one.dial not in own or one.level >= own[one.dial] + WELL_ABOVE
    )


def skipping(found: Sequence[Steady], sweeps: Iterable[Sweep]) -> tuple[Skipping, ...]:
    """For each sweep that visits some of them the whole line of its `skip`."""
    lines = []
    for sweep in sweeps:
        try:
            visited = {channel.dial for channel in channels_of(sweep)}
        except UsageError:
            continue  # `vfod check` has told
        new = sorted(one.evidence.dial for one in found if one.evidence.dial in visited)
        if new:
            entries = ", ".join(_entry(item) for item in (*sweep.skip, *new))
            lines.append(Skipping(sweep=sweep.name, line=f"skip: [{entries}]"))
    return tuple(lines)


def _entry(item: Skip) -> str:
    ends = (item,) if isinstance(item, int) else item
    return "-".join(format_frequency(end).replace(" kHz", "k") for end in ends)
