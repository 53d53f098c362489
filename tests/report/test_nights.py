"""Many nights: by the clock, by the sun, what came and what went."""

import datetime as dt
import math
import random
import shutil
from pathlib import Path

import pytest

from tests.browser import chromium, open_page
from tests.report.diary import DIALS, Diary, setting
from vfod.__main__ import main
from vfod.radio.sun import Site, SunEvent
from vfod.report.season_page import season_page
from vfod.report.season_words import season_remarks
from vfod.report.seasons import Season, best_hours, gather_nights, over_nights
from vfod.report.setting import bounds, sun
from vfod.report.text import season_lines
from vfod.store import Keeping, Reader, Writer

SITE = Site(latitude=52.5, longitude=13.4)
LAST = dt.date(2026, 11, 25)

#: The lower band is open around three hours after sunset, the upper one around 22:00 local time.
BY_SUN, BY_CLOCK = 3.0, 22


def written(path: Path, nights: int) -> Path:
    """One night after the other up to the last one, from 14:00 to 08:00, a visit every minute."""
    diary, rng = Diary(path), random.Random(nights)
    for number in range(nights):
        night = LAST - dt.timedelta(days=nights - 1 - number)
        begins, _ = bounds(night, setting().zone)
        sunset = sun(SITE, begins, begins + 86400)[SunEvent.SUNSET]

        def active(dial: int, when: float, sunset: float = sunset) -> bool:
            if dial <= 7_220_000:
                return rng.random() < 0.6 * math.exp(-(((when - sunset) / 3600 - BY_SUN) ** 2))
            hour = dt.datetime.fromtimestamp(when, setting().zone)
            away = hour.hour + hour.minute / 60 - BY_CLOCK
            return rng.random() < 0.6 * math.exp(-(away**2))

        diary.sweep(begins + 2 * 3600, begins + 20 * 3600, pace=60.0, active=active)
    return diary.close()


def told(path: Path, nights: int, **changes: object) -> Season:
    with Reader(path) as reader:
        return gather_nights(
            reader, setting(site=SITE, **changes), LAST - dt.timedelta(days=nights - 1), LAST
        )


@pytest.fixture(scope="module")
def autumn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sixty nights from late September on, across the change of the clocks."""

    return written(tmp_path_factory.mktemp("autumn") / "journal.sqlite", 60)


def test_the_sun_is_told_from_the_clock(autumn: Path) -> None:
    """Sunset moves by almost three hours: what follows it changes by the clock and not by the
    sun; what keeps to the clock changes by the sun and not by the clock.
    """
    season = told(autumn, 60)
    assert {"lower"} == {one.band for one in season.clock_changes if one.hour > 12}
    assert "upper" in {one.band for one in season.sun_changes}
    assert not [one for one in season.sun_changes if one.band == "lower"]
    best_by_sun = {hour for hour, _ in best_hours(season.by_sun, "lower")}
    assert best_by_sun <= {1, 2, 3, 4}
    assert {hour for hour, _ in best_hours(season.by_clock, "upper")} <= {20, 21, 22, 23}


def test_counts_agree_with_the_observations(autumn: Path) -> None:
    """The visits of every band, hour and night, counted one by one."""
    season = told(autumn, 60)
    expected: dict[tuple[str, dt.date, int], list[int]] = {}
    with Reader(autumn) as reader:
        for one in reader.observations():
            here = dt.datetime.fromtimestamp(one.time, setting().zone)
            night = here.date() if here.hour >= 12 else here.date() - dt.timedelta(days=1)
            band = one.observed.band
            assert band is not None
            cell = expected.setdefault((band, night, here.hour), [0, 0])
            cell[0] += 1
            cell[1] += bool(one.observed.active)
    assert {key: (seen.judged, seen.active) for key, seen in season.by_clock.items()} == {
        key: tuple(value) for key, value in expected.items()
    }
    nights = over_nights(season.by_clock)["upper", BY_CLOCK]
    opened = [k for k, v in expected.items() if k[0] == "upper" and k[2] == BY_CLOCK and v[1] >= 2]
    assert (60, len(opened)) == (nights.looked, nights.open)


def test_years_are_told_when_only_the_sums_are_left(autumn: Path, tmp_path: Path) -> None:
    """The season is the same by observations, by sums, and when the first are given up."""
    before = told(autumn, 60)
    path = Path(shutil.copy(autumn, tmp_path))
    now, zone = bounds(LAST, setting().zone)[1] + 86400, setting().zone
    for keep, left in ((None, 60 * 1080), (31 * 86400.0, 31 * 1080)):
        writer = Writer(path)
        writer.open(now)
        while writer.tend(now, Keeping(zone=zone, keep=keep)):
            pass
        writer.close()
        assert before == told(path, 60)
        with Reader(path) as reader:
            assert abs(left - sum(1 for _ in reader.observations())) <= 1080


def test_a_channel_that_came(tmp_path: Path) -> None:
    """Never active in the first third of the nights and active in the last one."""

    path = tmp_path / "journal.sqlite"
    diary = Diary(path)
    for back in range(11, -1, -1):
        begins, _ = bounds(LAST - dt.timedelta(days=back), setting().zone)
        there = DIALS[9] if back < 3 else DIALS[0] if back > 9 else None

        def active(dial: int, when: float, there: int | None = there) -> bool:
            return dial == there

        diary.sweep(begins + 8 * 3600, begins + 9 * 3600, active=active)
    diary.close()
    season = told(path, 12)
    assert ([DIALS[9]], [DIALS[0]]) == (
        [one.dial for one in season.came],
        [one.dial for one in season.went],
    )


def test_too_few_nights(tmp_path: Path) -> None:
    """Of three nights no change is told; of none nothing; both are sound reports."""
    season = told(written(tmp_path / "three.sqlite", 3), 5)
    assert (0, 0) == season.parts
    assert "With 3 nights nothing is said of a change" in " ".join(season_remarks(season))
    assert "Of 5 nights, 3 were looked at." in " ".join(season_remarks(season))
    nothing = told(Diary(tmp_path / "none.sqlite").close(), 5)
    text = "\n".join(season_lines(nothing, 100))
    assert "No band was visited on these nights" in text
    assert "</html>" in season_page(nothing)


def test_without_a_place(tmp_path: Path) -> None:
    """The clock alone then, and that is said."""
    path = written(tmp_path / "journal.sqlite", 3)
    with Reader(path) as reader:
        season = gather_nights(reader, setting(), LAST - dt.timedelta(days=2), LAST)
    assert {} == season.by_sun
    text = "\n".join(season_lines(season, 100))
    assert "nothing can be said by the sun" in text
    assert 'id="picture-sun"' not in season_page(season)


@pytest.mark.real_time
@pytest.mark.parametrize("width", [1280, 380])
async def test_the_page(autumn: Path, tmp_path: Path, width: int) -> None:
    """In a real browser without a network: no request, no error, nothing for axe-core, it fits."""
    file = tmp_path / "nights.html"
    file.write_text(season_page(told(autumn, 60)), encoding="utf-8")
    async with (
        chromium() as browser,
        open_page(browser, file.as_uri(), width=width, offline=True) as watched,
    ):
        for summary in await watched.page.locator("summary").all():
            await summary.click()
        await watched.axe()
        assert width == await watched.page.evaluate("document.documentElement.scrollWidth")
        assert 2 == await watched.page.locator("svg.chart:visible").count()


def test_the_command(
    autumn: Path, config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Four weeks by default; a page on request; dates that make no sense are refused."""
    assert 0 == main(["nights", "--journal", str(autumn)])
    assert capsys.readouterr().out.startswith("Nights from 2026-10-29 to 2026-11-25, VFO main\n")
    page = tmp_path / "n.html"
    assert 0 == main(
        ["nights", "--journal", str(autumn), "--since", "2026-10-01", "--html", str(page)]
    )
    assert page.read_text().endswith("</html>\n")
    assert 2 == main(["nights", "--journal", str(autumn), "--since", "2027-01-01"])
    assert "there are no nights" in capsys.readouterr().err
    assert 2 == main(["nights", "--journal", str(autumn), "--since", "autumn"])
    assert "'autumn' is not the date of a night" in capsys.readouterr().err
