"""The night's page in a real Chromium with the network closed."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from playwright.async_api import Browser, Page

from tests.browser import Scheme, chromium, open_page
from tests.report.diary import COMING, NIGHT, STEADY, Diary, at, ordinary, setting
from vfod import events as e
from vfod.plan.stations import parse
from vfod.radio.sun import Site
from vfod.report.facts import Night
from vfod.report.gather import gather
from vfod.report.page import night_page
from vfod.store import Reader

pytestmark = pytest.mark.real_time

LIST = "khz,from,to,name\n7200,18:00,05:00,Always There\n7215,20:00,22:00,Silent & Sons\n"


@pytest.fixture
async def browser() -> AsyncIterator[Browser]:
    async with chromium() as found:
        yield found


@pytest.fixture
def night(tmp_path: Path) -> Night:
    """A night with everything in it."""
    diary = Diary(tmp_path / "journal.sqlite")
    ordinary(diary)
    diary.say(
        at("25 22:00"),
        e.NoteTaken(
            text="<img src=x onerror=alert(1)> drums", sinpo="45344", heard="Always There",
            at=at("25 22:00"), dial=COMING, band="upper", level=-60.0, unit="dBm",
            by=e.Origin(door=e.Door.SHELL),
        ),
    )  # fmt: skip
    site = Site(latitude=52.5, longitude=13.4)
    with Reader(diary.close()) as reader:
        return gather(reader, setting(site=site, stations=parse(LIST, "list")), NIGHT)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 380])
async def test_the_page(
    night: Night, browser: Browser, tmp_path: Path, width: int, scheme: Scheme
) -> None:
    """It asks for nothing, the console is silent, axe-core finds nothing, and it fits."""
    file = tmp_path / "night.html"
    file.write_text(night_page(night), encoding="utf-8")
    async with open_page(
        browser, file.as_uri(), width=width, scheme=scheme, offline=True
    ) as watched:
        await watched.axe()
        page = watched.page
        for summary in await page.locator("summary").all():
            await summary.click()
        await watched.axe()
        assert width == await page.evaluate("document.documentElement.scrollWidth")
        shown = page.locator("svg.chart:visible")
        assert 1 == await shown.count()
        assert "Level over time and frequency" in (await shown.get_attribute("aria-label") or "")
        # The picture is there: its cells have colours, and those of the right lightness.
        image = page.locator(f"#night-cells-0 image.on-{scheme}")
        assert "inline" == await image.evaluate("node => getComputedStyle(node).display")
        assert "drums" in await watched.text("#notes")
        for key in ("expected", "missed", "unknown", "bands", "windows", "gaps", "moves"):
            assert await page.locator(f"section#{key}").is_visible()


async def cut_off(page: Page) -> list[str]:
    """The tables that do not show all of their columns at once."""
    found: list[str] = await page.evaluate(
        "[...document.querySelectorAll('.scroll')].filter(one => one.scrollWidth > one.clientWidth)"
        ".map(one => one.getAttribute('aria-label'))"
    )
    return found


async def test_wide_tables(night: Night, browser: Browser, tmp_path: Path) -> None:
    """At a desk every table shows all of its columns; on a phone the longest two or three scroll,
    and keep in sight what the line is about."""
    file = tmp_path / "night.html"
    file.write_text(night_page(night), encoding="utf-8")
    assert "\\xa0" not in file.read_text(encoding="utf-8")
    for width in (1200, 1440):
        async with open_page(browser, file.as_uri(), width=width, offline=True) as watched:
            assert [] == await cut_off(watched.page)
    async with open_page(browser, file.as_uri(), width=380, offline=True) as watched:
        page = watched.page
        cut = await cut_off(page)
        short = {"The strongest", "The steady", "When bands opened and closed", "Gaps"}
        assert set() == short & {*cut}
        table = page.locator("#channels .scroll")
        await table.evaluate("one => one.scrollLeft = 100")
        assert await page.evaluate(
            "() => { const all = document.querySelector('#channels .scroll');"
            "const cell = all.querySelector('td').getBoundingClientRect();"
            "return cell.left >= all.getBoundingClientRect().left }"
        )


async def test_on_paper(night: Night, browser: Browser, tmp_path: Path) -> None:
    """Paper is light, whatever the screen prefers, and wide enough for the whole picture."""
    file = tmp_path / "night.html"
    file.write_text(night_page(night), encoding="utf-8")
    async with open_page(browser, file.as_uri(), width=380, scheme="dark", offline=True) as watched:
        await watched.page.emulate_media(media="print")
        ground = await watched.page.evaluate(
            "getComputedStyle(document.documentElement).backgroundColor"
        )
        assert "rgb(255, 255, 255)" == ground
        assert await watched.page.locator("svg.wide").is_visible()
        assert not await watched.page.locator("svg.narrow").is_visible()
        assert (await watched.page.pdf(format="A4")).startswith(b"%PDF")


async def test_a_page_of_which_nothing_can_be_said(browser: Browser, tmp_path: Path) -> None:
    """Without channels, cells and lists it is still a sound page."""
    with Reader(Diary(tmp_path / "empty.sqlite").close()) as reader:
        empty = gather(reader, setting(), NIGHT)
    file = tmp_path / "night.html"
    file.write_text(night_page(empty), encoding="utf-8")
    async with open_page(browser, file.as_uri(), offline=True) as watched:
        await watched.axe()
        assert "There is no picture" in await watched.text("main")


def test_the_page_is_whole_in_one_file(night: Night) -> None:
    """No script, no address but data, and a policy that forbids them (W3C CSP 3)."""
    page = night_page(night)
    assert "default-src 'none'" in page
    for forbidden in ("<script", "http://", "https://", "<link", "@import", " style="):
        assert forbidden not in page
    assert STEADY // 1000 == 7200
    assert ">7200<" in page
