"""The system's Chromium, driven by Playwright."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, BrowserContext, expect, sync_playwright

from tests.support.waiting import PATIENCE

FLAGS = [
    "--no-sandbox",  # the sandbox does not start for root, for example in containers
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextmanager
def chromium() -> Iterator[Browser]:
    """A headless browser that makes no requests of its own, only those of the opened pages.

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
    """A current phone in portrait orientation (sizes in CSS pixels), without cookies and storage."""
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, device_scale_factor=2, is_mobile=True, has_touch=True
    )
    context.set_default_timeout(PATIENCE * 1000)
    return context


def chromium_program(*, camera: bool = False) -> str:
    """The path of the browser on this system. The headless one is preferred, since it takes 0.4 of the processor time.

    It has no support for a `camera`.
    """
    whole = ("chromium", "chromium-browser", "google-chrome")
    found = next(filter(None, map(shutil.which, whole if camera else ("chromium-headless-shell", *whole))), None)
    if found is None:
        raise RuntimeError("chromium is missing: install it (Debian: apt-get install chromium)")
    return found
