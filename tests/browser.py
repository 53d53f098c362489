"""A real Chromium for the tests, that reaches nothing but the page's own origin.

A test that opens a page through it also checks that no request leaves the origin, that the console
shows no error, and, where it asks, that axe-core finds nothing to object to.
"""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any, Literal
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.async_playwright import Axe
from playwright.async_api import Browser, Page, Route, async_playwright

from tests.real_parts import real_part

Scheme = Literal["light", "dark"]

#: Milliseconds for everything that is waited for, on a busy machine too.
PATIENCE = 120_000


@asynccontextmanager
async def chromium() -> AsyncIterator[Browser]:
    """The machine's own browser, as root too."""
    path = real_part("chromium")
    async with async_playwright() as tools:
        browser = await tools.chromium.launch(
            executable_path=path,
            args=["--no-sandbox", "--disable-dev-shm-usage"],
            timeout=PATIENCE,
        )
        try:
            yield browser
        finally:
            await browser.close()


class Watched:
    """A page, and what it must not do: `complaints` stays empty."""

    def __init__(self, page: Page, address: str) -> None:
        self.page = page
        self.address = address
        self.complaints: list[str] = []
        #: Errors that a test brings about, by a part of their text.
        self.expected: tuple[str, ...] = ()

    def complain(self, text: str) -> None:
        """Note it, unless the test expects it."""
        if not any(part in text for part in self.expected):
            self.complaints.append(text)

    async def axe(self) -> None:
        """Complain of what axe-core objects to."""
        found = await Axe().run(self.page)
        if found.violations_count:
            self.complain(found.generate_report())

    async def text(self, selector: str) -> str:
        """The text of an element."""
        return await self.page.locator(selector).inner_text()

    async def says(self, selector: str, wanted: str) -> None:
        """Wait until an element's text has `wanted` in it."""
        await self.page.wait_for_function(
            "([selector, wanted]) => "
            "document.querySelector(selector)?.textContent.includes(wanted)",
            arg=[selector, wanted],
        )


@asynccontextmanager
async def open_page(
    browser: Browser,
    address: str,
    *,
    width: int = 1280,
    height: int = 900,
    scheme: Scheme = "light",
    **context: Any,
) -> AsyncIterator[Watched]:
    """A page in a browser of its own; it must leave without complaints.

    `address` may be a file, which then may ask for nothing at all.
    """
    opened = await browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme, **context
    )
    opened.set_default_timeout(PATIENCE)
    page = await opened.new_page()
    watched = Watched(page, address)
    origin = urlsplit(address)[:2]

    async def gate(route: Route) -> None:
        target = route.request.url
        same = urlsplit(target)[:2] == origin and (origin[0] != "file" or target == address)
        if same or target.startswith("data:"):
            await route.continue_()
        else:
            watched.complaints.append(f"asked for {target}")
            await route.abort()

    await opened.route("**/*", gate)
    page.on(
        "console",
        lambda message: (
            watched.complain(f"{message.type}: {message.text}")
            if message.type in ("error", "warning")
            else None
        ),
    )
    page.on("pageerror", lambda error: watched.complain(f"error: {error}"))
    try:
        await page.goto(address)
        yield watched
    finally:
        await opened.close()
    if watched.complaints:
        pytest.fail("\n".join(watched.complaints), pytrace=False)
