"""A year of agenda: six windows by sun, UTC and local time, and what each says of its nights."""

import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tests.bench.figures import Bench, Figure, Promise
from vfod.config.loading import parse
from vfod.plan import moments
from vfod.plan.agenda import coming
from vfod.plan.slots import next_opening, open_at
from vfod.plan.windows import Window
from vfod.radio import sun

CONFIG = """
place: {zone: Europe/Berlin, latitude: 59.9, longitude: 10.7}
vfos: {main: {port: /dev/vfo}}
sweeps: {evening: {bands: [41m]}, friends: {channels: [6070k]}}
windows:
  - {sweep: evening, from: sunset+45m, until: 22:00}
  - {sweep: evening, from: astronomical-dusk, until: astronomical-dawn, except: [12-24/12-26]}
  - {sweep: friends, from: 19:58 UTC, for: 35m, priority: 5}
  - {sweep: friends, from: civil-dawn-1h, until: sunrise, days: [sat, sun]}
  - {sweep: evening, from: 22:00, until: 06:00, priority: -1, season: B}
  - {sweep: evening, from: nautical-dusk, until: 03:00, dates: [05-01/08-31]}
watches:
  - {frequency: 9.42M, at: 2026-11-28 19:58 UTC, for: 35m}
"""

DAY = 86400.0
_ROUNDS = 3

YEAR = Promise(
    what="a year of agenda",
    unit="s",
    most=1.0,
    means="six windows by sun and clock, as lines: a person asks and reads",
)
LOOK = Promise(
    what="a keeper's look at the agenda",
    unit="ms",
    most=50.0,
    means="what holds the loop up when a window is looked for",
)


def _cold() -> None:
    sun.event_of_day.cache_clear()
    sun.noon_near.cache_clear()
    moments.steady_noon.cache_clear()


def measure(_: Path) -> list[Figure]:
    windows = parse(CONFIG, "bench.yaml").windows
    since = datetime(2026, 11, 25, tzinfo=UTC).timestamp()
    years, lines = [], list[str]()
    for _round in range(_ROUNDS):
        _cold()
        # Of the processor, because nothing is waited for; the wall's beside it.
        began, wall = time.process_time(), time.perf_counter()
        lines = [str(entry) for entry in coming(windows, since, since + 365 * DAY)]
        years.append((time.process_time() - began, time.perf_counter() - wall))
    _cold()
    first, *looks = [_look(windows, since) for _round in range(1 + _ROUNDS)]
    year, wall = min(years)
    return [
        YEAR.measured(year, f"{len(lines)} lines, {wall:.2f} s by the wall, best of {_ROUNDS}"),
        LOOK.measured(min(looks), f"{first:.1f} ms the first time"),
    ]


def _look(windows: Sequence[Window], since: float) -> float:
    """Milliseconds of the processor."""
    began = time.process_time()
    open_at(windows, since)
    next_opening(windows, since)
    return 1e3 * (time.process_time() - began)


BENCH = Bench(name="agenda", promises=(YEAR, LOOK), measure=measure, takes="10 s")
