"""The system's Chromium, driven by Playwright."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, BrowserContext, expect, sync_playwright

from tests.support.waiting import PATIENCE

FLAGS = [
    "--no-sandbox",  # the sandbox does not start as root, as in containers
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextmanager
def chromium() -> Iterator[Browser]:
    """A headless browser that asks nobody but the pages it is sent to.

    While it runs, this thread counts as inside an event loop: a test that calls `asyncio.run` needs a thread.
    """
    expect.set_options(timeout=PATIENCE * 1000)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_program(), args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


def phone_in(browser: Browser) -> BrowserContext:
    """A present-day phone held upright (sizes in CSS pixels), with no cookies and no storage."""
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, device_scale_factor=2, is_mobile=True, has_touch=True
    )
    context.set_default_timeout(PATIENCE * 1000)
    return context


def chromium_program(*, camera: bool = False) -> str:
    """Where the system has it. The same browser without a window goes first, since it takes 0.4 of the processor time.

    It knows no `camera`.
    """
    whole = ("chromium", "chromium-browser", "google-chrome")
    found = next(filter(None, map(shutil.which, whole if camera else ("chromium-headless-shell", *whole))), None)
    if found is None:
        raise RuntimeError("chromium is missing: install it (Debian: apt-get install chromium)")
    return found
