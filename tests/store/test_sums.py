"""The sums that the reports are made of agree with the observations they are sums of."""

import itertools
import random
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.store.samples import EVENING as T
from tests.store.samples import observed, stamped
from vfod.store import Observation, Reader, Writer
from vfod.store.sums import Sums


@pytest.fixture
def reader(tmp_path: Path) -> Iterator[Reader]:
    """Four hours of two VFOs in two bands, with everything that may be missing."""
    rng = random.Random(4)
    writer = Writer(tmp_path / "journal.sqlite")
    writer.open(T)
    when = T
    for number in range(1, 3000):
        when += rng.choice([3.0, 5.5, 9.25, 1.001])
        if number == 1200:
            when += 900.0
        dial = 9_400_000 + 5000 * rng.randrange(6)
        level = None if rng.random() < 0.05 else round(rng.uniform(-110, -50), 1)
        event = observed(
            dial,
            level=level,
            active=rng.choice([True, False, None]) if level is not None else None,
            band=None if dial == 9_400_000 else "31m",
            sweep=rng.choice(["one", "two"]),
        )
        writer.add(stamped(number, event, time=when, vfo=rng.choice(["main", "main", "attic"])))
    with closing(writer):
        writer.commit()
    with Reader(writer.path) as found:
        yield found


SINCE, UNTIL = T + 1000.0, T + 12_000.0


@pytest.fixture
def seen(reader: Reader) -> list[Observation]:
    return list(reader.observations(since=SINCE, until=UNTIL, vfo="main"))


@pytest.fixture
def sums(reader: Reader) -> Sums:
    return reader.sums(since=SINCE, until=UNTIL, vfo="main")


def test_channels(sums: Sums, seen: list[Observation]) -> None:
    """Counts, the strongest and when it was, mean and spread of the active ones."""
    found = sums.channels()
    assert sorted({s.observed.dial for s in seen}) == [one.dial for one in found]
    for one in found:
        mine = [s for s in seen if s.observed.dial == one.dial]
        active = [s for s in mine if s.observed.active]
        levels = [s.observed.level for s in active if s.observed.level is not None]
        assert (len(mine), len(active)) == (one.visits, one.active)
        assert sum(s.observed.active is not None for s in mine) == one.judged
        best = max(mine, key=lambda s: (s.observed.level or -999.0, s.time))
        assert (best.observed.level, best.time) == (one.strongest, one.strongest_at)
        mean = sum(levels) / len(levels)
        spread = (sum((x - mean) ** 2 for x in levels) / len(levels)) ** 0.5
        assert one.mean == pytest.approx(mean)
        assert one.spread == pytest.approx(spread, abs=1e-6)
        assert (active[0].time, active[-1].time) == (one.first_active, one.last_active)


def test_cells(sums: Sums, seen: list[Observation]) -> None:
    """Each visit is in one cell, by channel and column; the strongest of them is shown."""
    expected: dict[tuple[int, int], list[Observation]] = {}
    for one in seen:
        column = int((one.time - SINCE + 1e-6) // 300)
        expected.setdefault((one.observed.dial, column), []).append(one)
    found = {(cell.dial, cell.column): cell for cell in sums.cells(300)}
    assert expected.keys() == found.keys()
    for key, mine in expected.items():
        levels = [s.observed.level for s in mine if s.observed.level is not None]
        assert max(levels, default=None) == found[key].level
        assert sum(bool(s.observed.active) for s in mine) == found[key].active


def test_spells(sums: Sums, seen: list[Observation]) -> None:
    """Active visits of a band that are close together are one spell; between bands is no band."""
    times = [s.time for s in seen if s.observed.active and s.observed.band]
    spells: list[list[float]] = []
    for time in times:
        if not spells or time - spells[-1][-1] > 60:
            spells.append([])
        spells[-1].append(time)
    assert len(spells) > 3
    assert [("31m", s[0], s[-1], len(s)) for s in spells] == [
        (one.band, one.begins, one.ends, one.active) for one in sums.spells(60)
    ]


def test_times_between_visits(sums: Sums, seen: list[Observation]) -> None:
    """Pauses, and how often which time came between visits, of any channel and of the same."""
    times = [s.time for s in seen]
    between = list(itertools.pairwise(times))
    assert [pair for pair in between if pair[1] - pair[0] > 600] == sums.pauses(600)
    assert len(between) == sum(sums.intervals().values())
    mean = sum(b - a for a, b in between) / len(between)
    told = sums.intervals()
    assert mean == pytest.approx(sum(s * n for s, n in told.items()) / len(between), abs=0.5)
    dials = {s.observed.dial for s in seen}
    assert len(seen) - len(dials) == sum(sums.revisits().values())


def test_the_rest(sums: Sums, seen: list[Observation], reader: Reader) -> None:
    """Span, extents by band, visits by VFO, hours, verdicts, days."""
    span = sums.span()
    assert span is not None
    assert (seen[0].time, seen[-1].time, len(seen)) == (span.begins, span.ends, span.visits)
    judged = [s for s in seen if s.observed.active is not None]
    for band, extent in sums.extents().items():
        mine = [s.time for s in judged if s.observed.band == band]
        assert (mine[0], mine[-1], len(mine)) == (extent.begins, extent.ends, extent.visits)
    everybody = list(reader.observations(since=SINCE, until=UNTIL))
    assert {v: sum(s.vfo == v for s in everybody) for v in ("attic", "main")} == sums.vfos()
    hours = sums.hours()
    assert len(judged) == sum(hour.judged for hour in hours)
    assert {int(s.time // 3600) for s in seen} == {hour.hour for hour in hours}
    verdicts = sorted((it.time, it.dial, it.active, it.level) for it in sums.verdicts())
    assert [
        (s.time, s.observed.dial, s.observed.active, s.observed.level) for s in judged
    ] == verdicts
    assert 1 == sums.days()


def test_nothing(reader: Reader) -> None:
    """Of nothing every sum is empty, none fails."""
    nothing = reader.sums(since=T - 1000, until=T, vfo="main")
    for rows in (nothing.channels(), nothing.cells(60), nothing.spells(60), nothing.hours()):
        assert not rows
    assert (None, {}, {}, 0) == (
        nothing.span(), nothing.intervals(), nothing.vfos(), nothing.days(),
    )  # fmt: skip
    assert reader.newest() == max(s.time for s in reader.observations())
