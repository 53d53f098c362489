"""Nights are summed up, old ones given up; what the sums say is what the observations said."""

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tests.store.samples import full_disk, observed, stamped, started, tuned
from vfod import events as e
from vfod.report.setting import bounds
from vfod.store import Keeping, Reader, Writer, upkeep
from vfod.store.upkeep import GIVE_UP_AT_ONCE, SETTLED

DAY = 86400.0
ZONE = ZoneInfo("Europe/Berlin")
#: The clocks go back in the night of the 24th of October 2026, which has 25 hours.
NIGHTS = [date(2026, 10, day) for day in (22, 23, 24, 25, 27)]
NOW = bounds(NIGHTS[-1], ZONE)[1] + SETTLED
KEEPING = Keeping(zone=ZONE)


def write(writer: Writer, *, each: int = 700) -> None:
    """Five nights, the fourth day without any, of two VFOs, with everything that may be missing."""
    rng = random.Random(11)
    writer.add(stamped(1, started(), time=bounds(NIGHTS[0], ZONE)[0]))
    number = 1
    for night in NIGHTS:
        begins, ends = bounds(night, ZONE)
        for time in sorted(rng.uniform(begins, ends) for _ in range(each)):
            number += 1
            dial = 9_400_000 + 5000 * rng.randrange(8)
            level = None if rng.random() < 0.05 else round(rng.uniform(-110, -50), 1)
            active = None if level is None else rng.choice([True, False, None])
            seen = observed(
                dial,
                level=level,
                active=active if dial != 9_410_000 else False,
                band=None if dial == 9_400_000 else "31m",
                sweep=rng.choice(["one", "two"]),
            )
            vfo = rng.choice(["main", "main", "attic"])
            writer.add(stamped(number, seen, time=time, vfo=vfo, doubted=rng.random() < 0.02))
        number += 1
        note = e.NoteTaken(
            text="heard", sinpo=None, heard=None, at=begins, dial=None, band=None, level=None,
            unit=None, by=e.Origin(door=e.Door.SHELL, who="listener"),
        )  # fmt: skip
        writer.add(stamped(number, note, time=begins + 5))
        writer.add(stamped(number + 1, tuned(7_200_000), time=begins + 6))
        number += 1
        writer.commit()


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[Writer]:
    writer = Writer(tmp_path / "journal.sqlite")
    writer.open(NOW)
    with closing(writer):
        write(writer)
        yield writer


def tend(writer: Writer, now: float = NOW, keeping: Keeping = KEEPING) -> int:
    """All that is to be done; gives the number of pieces."""
    for pieces in range(10_000):
        if not writer.tend(now, keeping):
            return pieces
    raise AssertionError("upkeep has no end")


def told(writer: Writer, begins: float, ends: float) -> list[Any]:
    """All that sums are used for."""
    with Reader(writer.path) as reader:
        found: list[Any] = list(reader.channels(since=begins, until=ends))
        for vfo in ("main", "attic"):
            sums = reader.sums(since=begins, until=ends, vfo=vfo)
            found += [*sums.channels(), *sums.hours()]
    return found


def count(writer: Writer, table: str, where: str = "TRUE") -> int:
    with closing(sqlite3.connect(writer.path)) as db:
        (rows,) = db.execute(f"SELECT count(*) FROM {table} WHERE {where}").fetchone()
    assert isinstance(rows, int)
    return rows


#: Stretches from noon to noon, and such as cut through nights.
WHOLE = [(bounds(a, ZONE)[0], bounds(b, ZONE)[1]) for a in NIGHTS for b in NIGHTS if a <= b]
CUT = [(begins - 7777.0, ends - 33_333.0) for begins, ends in WHOLE]
CUT += [(begins + 20_000.0, ends + 40_000.0) for begins, ends in WHOLE]


def test_the_sums_say_what_the_observations_say(writer: Writer) -> None:
    """To the millisecond and the tenth of a decibel; for whole nights and for others."""
    before = [told(writer, *stretch) for stretch in WHOLE + CUT]
    assert all(before)
    assert tend(writer) > 5 * 2
    assert 0 < count(writer, "channel_nights") <= 5 * 8 * 2 * 2 * 2
    assert before == [told(writer, *stretch) for stretch in WHOLE + CUT]
    assert 0 == tend(writer)


def test_the_sums_are_what_is_asked(writer: Writer) -> None:
    """Not the observations beside them: those of a night may go, and it is told as before."""
    tend(writer)
    before = [told(writer, *stretch) for stretch in WHOLE]
    with closing(sqlite3.connect(writer.path)) as db, db:
        db.execute("DELETE FROM observations")
    assert before == [told(writer, *stretch) for stretch in WHOLE]


def test_old_nights_are_given_up_and_their_sums_stay(writer: Writer) -> None:
    """Observations and events of that age go; sums, notes, starts, and what is younger stay."""
    before = [told(writer, *stretch) for stretch in WHOLE]
    later = NOW + 40 * DAY
    limit = bounds(NIGHTS[2], ZONE)[1]
    tend(writer, later, Keeping(zone=ZONE, keep=later - limit - 1))
    edge = limit * 1000
    assert 0 == count(writer, "observation", f"key < {edge} AND NOT doubted")
    assert 1400 == count(writer, "observations", f"key >= {edge}")
    # Of what age these are is not known.
    assert 0 < count(writer, "observation", f"key < {edge} AND doubted")
    assert before == [told(writer, *stretch) for stretch in WHOLE]
    with Reader(writer.path) as reader:
        kinds = [entry.kind for entry in reader.events(until=limit)]
        assert ["daemon-started", *["note-taken"] * 3] == kinds
        assert 4 == len(reader.events(since=limit))
    # A stretch that begins in a night that was given up has its hours, by the hour.
    begins, ends = bounds(NIGHTS[1], ZONE)[0] + 4 * 3600, bounds(NIGHTS[2], ZONE)[1]
    with Reader(writer.path) as reader:
        hours = reader.sums(since=begins, until=ends, vfo="main").hours()
        whole = reader.sums(since=begins - 4 * 3600, until=ends, vfo="main").hours()
    assert [hour for hour in whole if hour.hour * 3600 >= begins] == hours
    assert len(hours) < len(whole)


def test_for_ever_is_for_ever(writer: Writer) -> None:
    """Without an age nothing goes, however old it is."""
    rows = count(writer, "observations"), count(writer, "events")
    tend(writer, NOW + 900 * DAY)
    assert rows == (count(writer, "observations"), count(writer, "events"))


def test_a_night_is_summed_up_an_hour_after_its_end(writer: Writer) -> None:
    """Not before; so that a clock that is set back a little changes nothing in it."""
    tend(writer, NOW - 1)
    assert 5 == count(writer, "nights", "summed = until")
    tend(writer, NOW)
    assert 6 == count(writer, "nights", "summed = until")


def test_a_clock_that_is_new_closes_no_night_and_makes_nothing_old(writer: Writer) -> None:
    """A year ahead: only nights with a later observation are summed up, and nothing is given up."""
    wrong = NOW + 365 * DAY
    before = count(writer, "observations")
    tend(writer, wrong, Keeping(zone=ZONE, keep=30 * DAY, steady=False))
    assert before == count(writer, "observations")
    assert 5 == count(writer, "nights", "summed = until")
    assert 0 == count(writer, "nights", "summed < until")
    assert tend(writer) > 0
    assert 6 == count(writer, "nights", "summed = until")


def test_what_comes_late_into_a_night_is_in_its_sums(writer: Writer) -> None:
    """A clock that is set back far opens the night again, and it is summed up anew."""
    tend(writer)
    begins, ends = WHOLE[1]
    before = told(writer, begins, ends)
    writer.add(stamped(9000, observed(9_405_000, level=-20.0), time=begins + 4000.5))
    writer.commit()
    after = told(writer, begins, ends)
    assert -20.0 == max(one.strongest for one in after if getattr(one, "strongest", None))
    assert before != after
    assert tend(writer) > 0
    assert after == told(writer, begins, ends)
    # One whose time cannot be believed changes nothing.
    writer.add(stamped(9001, observed(9_405_000, level=-10.0), time=begins + 5000.5, doubted=True))
    writer.commit()
    assert 0 == tend(writer)
    assert after == told(writer, begins, ends)


@pytest.mark.parametrize("pieces", [1, 5, 9, 12, 20])
def test_upkeep_goes_on_where_it_stopped(
    tmp_path: Path, pieces: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A restart after any piece, with nights longer than a piece: the same in the end."""
    monkeypatch.setattr(upkeep, "SUM_AT_ONCE", 500)
    keeping = Keeping(zone=ZONE, keep=NOW - bounds(NIGHTS[2], ZONE)[0])
    results = []
    for stop in (None, pieces):
        writer = Writer(tmp_path / f"{stop}.sqlite")
        writer.open(NOW)
        write(writer, each=700)
        if stop is not None:
            for _ in range(stop):
                assert writer.tend(NOW, keeping)
            writer.close()
            writer.open(NOW)
        tend(writer, NOW, keeping)
        results.append([told(writer, *stretch) for stretch in WHOLE])
        assert 2 == count(writer, "nights", "NOT kept")
        writer.close()
    assert results[0] == results[1]


def test_a_piece_is_small(writer: Writer) -> None:
    """So that a person's change never waits for long: rows at once, and pages given back."""
    tend(writer)
    rows = count(writer, "observations")
    keeping = Keeping(zone=ZONE, keep=31 * DAY)
    while writer.tend(NOW + 90 * DAY, keeping):
        now = count(writer, "observations")
        assert 0 <= rows - now <= GIVE_UP_AT_ONCE
        rows = now


def test_the_place_of_what_was_given_up_is_given_back(tmp_path: Path) -> None:
    """The file shrinks, but for a tenth that the next night will need."""
    writer = Writer(tmp_path / "journal.sqlite")
    writer.open(NOW)
    write(writer, each=12_000)
    tend(writer)
    writer.close()
    before = writer.path.stat().st_size
    writer.open(NOW)
    tend(writer, NOW, Keeping(zone=ZONE, keep=NOW - WHOLE[-1][0]))
    writer.close()
    assert writer.path.stat().st_size < 0.4 * before
    with closing(sqlite3.connect(writer.path)) as db:
        assert [("ok",)] == db.execute("PRAGMA integrity_check").fetchall()


def test_damage_in_an_old_night_is_told_once_and_stops_nothing(writer: Writer) -> None:
    """The night goes on in the same file; what to do is said."""
    with closing(sqlite3.connect(writer.path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = db.execute(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'band_hours'"
        ).fetchone()
    writer.close()
    with writer.path.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xff" * 4096)
    writer.open(NOW)
    writer.commit()
    tend(writer)
    failed, opened = writer.commit()
    assert isinstance(failed, e.DoorFailed)
    assert "damaged" == failed.reason
    assert "run vfod journal check" in failed.detail
    assert e.DoorOpened(door="journal", where=str(writer.path)) == opened
    writer.add(stamped(9000, observed(), time=NOW))
    assert [] == writer.commit()
    assert 0 == tend(writer)
    assert 0 == writer.queued


def test_a_full_disk_stops_upkeep_and_nothing_else(writer: Writer) -> None:
    """The piece is not done; it is done when there is room again."""
    before = [told(writer, *stretch) for stretch in WHOLE]
    with full_disk(writer.path.stat().st_size // 4):
        for _ in range(3):
            assert not writer.tend(NOW, KEEPING)
    assert [] == writer.commit()
    tend(writer)
    assert before == [told(writer, *stretch) for stretch in WHOLE]
