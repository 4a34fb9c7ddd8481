"""Light and dark: the phone decides, the switch overrules and is remembered, and all works without script."""

import gzip

import pytest
from playwright.sync_api import Page

from service.web.static import static_file
from tests.look.conftest import Open, written

pytestmark = pytest.mark.browser
PAPER = {"light": "rgb(248, 242, 228)", "dark": "rgb(20, 17, 13)"}
FIRST_FLIGHT = 14_600  # bytes that a server may send at once: RFC 6928, segments of 1460 bytes


def paper(page: Page) -> str:
    return str(page.evaluate("getComputedStyle(document.body).backgroundColor"))


@pytest.mark.parametrize(("phone", "other"), [("light", "dark"), ("dark", "light")])
def test_switch_overrules_the_phone_and_is_kept(opened: Open, phone: str, other: str) -> None:
    page = opened(color_scheme=phone)
    assert paper(page) == PAPER[phone]
    page.get_by_role("button", name="Dark colors").click()
    assert paper(page) == PAPER[other]
    page.reload()
    assert paper(page) == PAPER[other]
    pressed = page.get_by_role("button", name="Dark colors").get_attribute("aria-pressed")
    assert pressed == str(other == "dark").lower()


def test_choice_like_the_phones_is_forgotten(opened: Open) -> None:
    page = opened(color_scheme="light")
    switch = page.get_by_role("button", name="Dark colors")
    switch.click()
    switch.click()
    page.emulate_media(color_scheme="dark")
    assert paper(page) == PAPER["dark"]


def test_without_script_the_phone_decides_and_no_switch_shows(opened: Open) -> None:
    page = opened(color_scheme="dark", java_script_enabled=False)
    assert page.locator(".switch").is_hidden()
    assert page.locator(".cover").is_visible()


def test_print_is_light_and_bare(opened: Open) -> None:
    page = opened(color_scheme="dark")
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(29, 26, 21)"
    assert page.locator(".cover").is_hidden()
    assert page.locator(".foot").is_hidden()


def test_page_and_style_fit_one_flight() -> None:
    parts = [written("problem.html").encode(), static_file("look/coilbook.css").content]
    assert sum(len(gzip.compress(part)) for part in parts) <= FIRST_FLIGHT


def test_page_asks_for_little_and_nobody_else(opened: Open) -> None:
    asked: list[str] = []
    page = opened("problem.html")
    page.on("request", lambda request: asked.append(request.url))
    page.reload()
    assert {url.split("/")[2] for url in asked} == {"coilbook.localhost"}
    kept = {url for url in asked if "/outbox/" in url}  # one graph, loaded after the page shows, kept for good
    icon = {url for url in asked if "/icon.svg" in url}  # a browser asks for it when it likes
    assert len(kept) <= 2
    assert len(set(asked) - kept - icon) <= 3
