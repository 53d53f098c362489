"""How much of a night was occupied, and what never paused, as the report tells it."""

import random
from collections.abc import Callable

import pytest
import yaml

from tests.report.diary import CLOSES, DIALS, NIGHT, OPENS, STEADY, Diary, at, ordinary, setting
from vfod import events as e
from vfod.config import quantities
from vfod.plan.sweep import Sweep
from vfod.report import wording
from vfod.report.facts import Night
from vfod.report.gather import gather
from vfod.report.page import night_page
from vfod.report.text import night_lines
from vfod.store import Reader
from vfod.survey.occupancy import Share, Unsaid

Tell = Callable[..., Night]


@pytest.fixture
def tell(diary: Diary) -> Tell:
    """Closes the diary and tells the night."""

    def told(**changes: object) -> Night:
        with Reader(diary.close()) as reader:
            return gather(reader, setting(**changes), NIGHT)

    return told


def said(night: Night) -> str:
    return " ".join(night_lines(night, 1000))


def test_all_such_nights_of_a_band(diary: Diary, tell: Tell) -> None:
    """Said of a band whose channels come and go often enough, of each hour too; else why not."""
    rng = random.Random(4)
    on = {dial: rng.random() < 0.5 for dial in DIALS}

    def flickering(dial: int, when: float) -> bool:
        on[dial] ^= rng.random() < 0.15
        return on[dial] and dial > 7_220_000

    diary.started(at("25 12:30"))
    diary.window(OPENS, CLOSES)
    diary.sweep(OPENS, CLOSES, active=flickering)
    night = tell()
    upper = night.band_occupancy["upper"].long_run
    assert isinstance(upper, Share)
    assert upper.low < 0.5 < upper.high
    assert isinstance(night.band_occupancy["lower"].long_run, Unsaid)
    assert 10 == len(night.hourly.edges) - 1
    for hour in night.hourly.bands["upper"]:
        assert isinstance(hour.long_run, Share)
        assert hour.long_run.high - hour.long_run.low > upper.high - upper.low
    assert set(DIALS[5:]) == set(night.hourly.channels)
    page = night_page(night).replace("&nbsp;", " ")
    assert "Bands by the hour" in page
    assert wording.share(upper) in page
    assert wording.share(upper) in said(night)


def test_why_nothing_is_said_of_all_such_nights(diary: Diary, tell: Tell) -> None:
    """Channels that hardly change."""
    ordinary(diary)
    few = "All such nights cannot be said of lower, upper: fewer than 10 changes"
    assert few in said(tell())


def test_a_band_that_opens_once_in_the_night(diary: Diary, tell: Tell) -> None:
    """Its channels flicker each for itself, but all fall silent at one o'clock."""
    rng = random.Random(6)
    diary.started(at("25 12:30"))
    diary.window(OPENS, CLOSES)
    diary.sweep(
        OPENS, CLOSES, active=lambda dial, when: when < at("26 01:00") and rng.random() < 0.7
    )
    together = "of lower, upper: its channels open and close together, and did so too seldom"
    assert together in said(tell())


def test_the_steady_with_the_line_that_leaves_them_out(diary: Diary, tell: Tell) -> None:
    """The evidence, and the whole `skip` of each sweep, which a configuration takes as it is."""
    ordinary(diary)
    sweep = Sweep(
        name="evening", vfo="main", channels=DIALS, skip=(6_000_000, (7_300_000, 7_310_000))
    )
    elsewhere = Sweep(name="other", vfo="main", channels=(9_420_000,))
    night = tell(sweeps=(sweep, elsewhere))
    (one,) = night.steady
    assert one.evidence.visits == one.evidence.active > 500
    assert (-60.0, -60.0) == (one.evidence.level, one.evidence.lowest)
    line = "skip: [6000k, 7300k-7310k, 7200k]"
    assert [("evening", line)] == [(it.sweep, it.line) for it in night.skipping]
    assert f"Sweep evening leaves them out with `{line}`." in said(night)
    assert line in night_page(night).replace("&nbsp;", " ")
    entries = yaml.safe_load(line)["skip"]
    assert [6_000_000, (7_300_000, 7_310_000), STEADY] == [quantities.skip(it) for it in entries]
    assert "no sweep of the configuration visits them" in said(tell(sweeps=(elsewhere,)))


def test_the_receiver_s_own_signals_are_not_among_the_steady(diary: Diary, tell: Tell) -> None:
    """Those that the configuration names."""
    ordinary(diary)
    named = Sweep(name="evening", vfo="main", channels=DIALS, own_signals=((STEADY, STEADY + 1),))
    assert () == tell(sweeps=(named,)).steady
    assert "Of no channel it is sure" in said(tell(sweeps=(named,)))


@pytest.mark.parametrize(("level", "expected"), [(-80.0, [STEADY]), (-61.0, [])])
def test_nor_are_those_listed_without_the_antenna(
    diary: Diary, tell: Tell, level: float, expected: list[int]
) -> None:
    """Listed 20 dB weaker than what is there, it is something else."""
    ordinary(diary)
    diary.say(
        at("26 11:00"),
        e.OwnSignalsMeasured(
            sweep="evening", channels=10, dials=(STEADY,), levels=(level,), images=False,
            by=e.Origin(door=e.Door.SHELL),
        ),
    )  # fmt: skip
    assert expected == [it.evidence.dial for it in tell().steady]
