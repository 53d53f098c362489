"""The live page in a real Chromium, with simulator, broker and daemon as processes."""

import asyncio
import re
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from playwright.async_api import Browser

from tests.browser import Watched, chromium, open_page
from tests.real_parts import Server
from tests.system.household import Household, until

pytestmark = pytest.mark.real_time

#: Kilohertz of the household's sweep.
CHANNELS = range(7200, 7451, 5)

TOKEN, LOOK = "long-enough-to-change-things", "long-enough-to-look-at-them"


def now() -> float:
    return asyncio.get_running_loop().time()


@pytest.fixture
async def browser() -> AsyncIterator[Browser]:
    async with chromium() as found:
        yield found


@pytest.fixture
async def household(tmp_path: Path, mosquitto: Server) -> AsyncIterator[Household]:
    """At rest on 9420 kHz, until somebody resumes the sweep."""
    it = Household(tmp_path, mosquitto)
    stations = ["khz,from,to,name", *(f"{khz},00:00,00:00,Radio of the Test" for khz in CHANNELS)]
    (tmp_path / "stations.csv").write_text("\n".join(stations))
    with it.config.open("a") as config:
        config.write("stations: stations.csv\n")
    it.start("box")
    it.start("daemon")
    try:
        await until(lambda: it.vfo()["visits"] >= 1, now)
        it.ask("stay")
        it.ask("tune", frequency=9_420_000)
        yield it
    finally:
        it.close()


async def test_it_follows_the_set_and_the_set_follows_it(
    household: Household, browser: Browser
) -> None:
    """A knob turned reaches the page; a nudge, a frequency and a band there reach the box."""
    async with open_page(browser, household.url) as watched:
        page = watched.page
        await watched.says("#figures", "9\u2009420")
        await watched.says("#place", "31m · 31.8 m · step 1 kHz")
        await watched.says("#link", "link up")
        household.knob(b"+")
        await watched.says("#figures", "9\u2009421")
        await watched.says("#moved", "moved by knob")
        await page.get_by_role("button", name="Ten steps up").click()
        await until(lambda: household.vfo()["dial"] == 9_431_000, now)
        await watched.says("#figures", "9\u2009431")
        await watched.says("#answer", "tuned to 9431 kHz by page")
        await page.get_by_label("Tune to, kHz").fill("7.205 MHz")
        await page.get_by_role("button", name="Go").click()
        await until(lambda: household.vfo()["dial"] == 7_205_000, now)
        await page.get_by_role("button", name="Band up").click()
        await watched.says("#place", "31m")
        await page.get_by_label("Tune to, kHz").fill("99 MHz")
        await page.get_by_role("button", name="Go").click()
        await watched.says("#answer", "range")
        await page.locator("#step").select_option("5000")
        await until(lambda: household.vfo()["step"] == 5000, now)
        await page.get_by_label("Dial frequency").hover()
        before = household.vfo()["dial"]
        await page.mouse.wheel(0, -100)
        await until(lambda: household.vfo()["dial"] == before + 5000, now)
        assert household.vfo()["moved_by"]["door"] == "page"
        await watched.axe()


async def test_the_keyboard_alone_is_enough(household: Household, browser: Browser) -> None:
    """Tab reaches the dial, and arrows and page keys turn it; the value is spoken."""
    async with open_page(browser, household.url) as watched:
        page = watched.page
        await watched.says("#figures", "9\u2009420")
        for _ in range(10):
            await page.keyboard.press("Tab")
            if await page.evaluate("document.activeElement.id") == "dial":
                break
        await page.keyboard.press("ArrowUp")
        await until(lambda: household.vfo()["dial"] == 9_421_000, now)
        await page.keyboard.press("PageDown")
        await until(lambda: household.vfo()["dial"] == 9_411_000, now)
        dial = page.get_by_role("spinbutton", name="Dial frequency")
        await watched.says("#figures", "9\u2009411")
        assert "9\u2009411 kilohertz" == await dial.get_attribute("aria-valuetext")
        await page.keyboard.press("Tab")
        assert "frequency" == await page.evaluate("document.activeElement.id")
        await page.keyboard.type("6070")
        await page.keyboard.press("Enter")
        await until(lambda: household.vfo()["dial"] == 6_070_000, now)


async def test_a_sweep_shows_its_progress(household: Household, browser: Browser) -> None:
    """Resumed on the page it moves, says what comes next, and stays when it is asked to."""
    async with open_page(browser, household.url) as watched:
        page = watched.page
        await watched.says("#sweep-says", "test: yielded")
        await page.get_by_role("button", name="Resume").click()
        await watched.says("#sweep-says", "test: sweeping")
        await watched.says("#sweep-says", ", then 7\u2009")
        first = float(await page.locator("#progress").evaluate("bar => bar.value"))
        await page.wait_for_function(
            "first => document.querySelector('#progress').value > first", arg=first
        )
        await page.get_by_role("button", name="Skip").click()
        await watched.says("#events", "skipped by page")
        await page.get_by_role("button", name="Stay half an hour").click()
        await watched.says("#sweep-says", "test: yielded")
        await watched.axe()


async def test_a_note_with_markup_is_text(household: Household, browser: Browser) -> None:
    """It is written down with where it was, and what looks like markup is shown as it is."""
    async with open_page(browser, household.url) as watched:
        page = watched.page
        await watched.says("#figures", "9\u2009420")
        markup = "<img src=x onerror=alert(1)> </script> & so on"
        await page.get_by_label("For the log").fill(markup)
        await page.get_by_label("SINPO").fill("45344")
        await page.get_by_role("button", name="Write down").click()
        await watched.says("#events", f"noted: {markup}; 9420 kHz, 31m")
        assert 0 == await page.locator("#events img").count()


async def test_a_model_with_markup_is_text(
    tmp_path: Path, mosquitto: Server, browser: Browser
) -> None:
    """What the box calls itself is shown as it is, whatever it looks like."""
    it = Household(tmp_path, mosquitto)
    model = "<b>x</b>&'"
    scenario = tmp_path / "box.yaml"
    scenario.write_text(f'box: {{model: "{model}"}}\n')
    it.scenario = (str(scenario),)
    it.start("box")
    it.start("daemon")
    try:
        await until(lambda: it.vfo()["link"]["model"], now)
        await until(lambda: it.scraped(), now)
        async with open_page(browser, it.url) as watched:
            await watched.says("#link", f"{model}, link up")
            await watched.says("#events", f"link up: {model} on")
            assert 0 == await watched.page.locator("b").count()
    finally:
        it.close()


async def test_a_daemon_killed_and_back(household: Household, browser: Browser) -> None:
    """The loss is visible at once, and heals by itself with the state as it then is."""
    async with open_page(browser, household.url) as watched:
        watched.expected = ("net::ERR", "Failed to load resource")
        await watched.says("#connection", "live")
        household.kill("daemon")
        await watched.says("#connection", "no connection")
        assert "stale" in (await watched.page.locator("body").get_attribute("class") or "")
        await watched.page.get_by_role("button", name="One step up").click()
        await watched.says("#answer", "nothing was changed")
        household.start("daemon")
        await watched.says("#connection", "live")
        await until(lambda: household.vfo()["link"]["phase"] == "up", now)
        dial = household.vfo()["dial"]
        await watched.says("#figures", f"{dial // 1_000_000}\u2009{dial // 1000 % 1000:03}")


async def test_every_light_and_width(household: Household, browser: Browser) -> None:
    """Nothing sticks out to the side, and axe-core finds nothing, contrast included."""
    for width in (340, 1440):
        async with open_page(browser, household.url, width=width) as watched:
            await watched.says("#figures", "9\u2009420")
            for theme in ("light", "dark", "night"):
                await watched.page.get_by_label("Light").select_option(theme)
                wide = await watched.page.evaluate("document.documentElement.scrollWidth")
                assert wide <= width
                await watched.axe()
            # Nothing but red by night, what stands in an empty field neither.
            shown = await watched.page.evaluate(
                "getComputedStyle(document.querySelector('#frequency'), '::placeholder').color"
            )
            red, green, blue = map(int, re.findall(r"\d+", shown)[:3])
            assert red > 2 * max(green, blue)


async def test_tonight_grows(household: Household, browser: Browser) -> None:
    """The picture has the channels visited so far, and names stand at what is heard."""
    household.ask("resume")
    await until(lambda: household.vfo()["heard"], now)
    heard = household.vfo()["heard"][0]["dial"]
    async with open_page(browser, household.url) as watched:
        chart = watched.page.locator("#tonight svg.wide")
        await chart.wait_for()
        assert "channels from 7200 kHz" in (await chart.get_attribute("aria-label") or "")
        line = watched.page.locator("#heard li", has_text=f"7\u2009{heard // 1000 % 1000:03}")
        await line.get_by_text("Radio of the Test").wait_for()
        await watched.axe()


async def test_several_vfos(tmp_path: Path, mosquitto: Server, browser: Browser) -> None:
    """A list, then each: what is done on a VFO's page is done to that VFO.

    What is wrong with the sound of one is said on its page, and not on the other's.
    """
    sound = "{program: arecord, device: nothing-there, delay: 100ms}"
    second = f"attic: {{port: {tmp_path}/vfo1, audio: {sound}}}"
    it = Household(tmp_path, mosquitto, second=second)
    it.start("box")
    it.start("daemon")
    try:
        await until(lambda: it.vfo()["visits"] >= 1, now)
        it.ask("stay")
        it.ask("tune", frequency=9_420_000)
        async with open_page(browser, it.url) as watched:
            await watched.says("#vfos", "main, 9\u2009420 kHz")
            await watched.says("#link", "link up")
            assert "" == await watched.page.locator("#troubles").text_content()
            await watched.page.get_by_role("link", name="attic").click()
            await watched.says("#link", "link down")
            await watched.says("#troubles", "no sound from arecord nothing-there since ")
            await watched.says("#figures", "–")
            await watched.page.get_by_role("button", name="One step up").click()
            await watched.says("#answer", "the VFO attic is not reachable")
            assert 9_420_000 == it.vfo()["dial"]
            await watched.axe()
    finally:
        it.close()


async def test_token_wrong_and_right(tmp_path: Path, mosquitto: Server, browser: Browser) -> None:
    """The form says no to a wrong token, lets the right one in, and a reader only look."""
    for name, token in (("token", TOKEN), ("look", LOOK)):
        (tmp_path / name).write_text(token + "\n")
        (tmp_path / name).chmod(0o600)
    it = Household(tmp_path, mosquitto, ", token_file: token, read_token_file: look")
    it.start("box")
    it.start("daemon")
    try:
        await until(lambda: it.vfo()["visits"] >= 1, now)
        it.ask("stay")
        for token, may in ((TOKEN, True), (LOOK, False)):
            async with open_page(browser, it.url) as watched:
                watched.expected = ("status of 403",)
                await _come_in(watched, "a wrong one")
                await watched.says("[role=alert]", "That is not the token.")
                await watched.axe()
                await _come_in(watched, token)
                await watched.says("#connection", "live")
                before = it.vfo()["dial"]
                await watched.page.get_by_role("button", name="One step up").click()
                await watched.says("#answer", "tuned to" if may else "may only look")
                assert before + (1000 if may else 0) == it.vfo()["dial"]
    finally:
        it.close()


async def _come_in(watched: Watched, token: str) -> None:
    await watched.page.get_by_label("Token").fill(token)
    await watched.page.get_by_role("button", name="Come in").click()
