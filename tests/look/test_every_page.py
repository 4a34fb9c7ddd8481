"""Every page of the service in a phone's browser: nothing for axe-core to find, and nothing off the side.

Three states: the demo's program, an empty one, and what a form shows that is sent with nothing in it. The pages
without a signal are walked in `tests/outbox`; the dark theme is measured by its colors and in the gallery.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from fastapi.testclient import TestClient
from httpx2 import Response
from playwright.sync_api import Browser, Page, Route

from tests.support.access import STANDARDS
from tests.support.program import BASE, running
from tests.web.world import World, rows, sent, world

pytestmark = pytest.mark.browser
PHONES = (320, 430)  # the narrowest and the widest; `test_boxes.py` has those between
AXE = """async rules => (await axe.run(document, {runOnly: rules, resultTypes: ["violations"]})).violations
  .map(one => `${one.id}: ${one.nodes[0].html.slice(0, 160)}`)"""
SMALL = """() => [...document.querySelectorAll("button, .btn, summary, select, textarea, .tile, "
    + "input:not([type=radio], [type=checkbox], [type=hidden], [type=range])")]
  .filter(one => one.checkVisibility() && one.getBoundingClientRect().height < 47.9)
  .map(one => `${one.tagName} ${one.textContent.trim() || one.name} is low`)"""
CUT = r"""() => {
  const found = [], range = document.createRange()
  for (const one of document.querySelectorAll(".chip, .tile")) {
    const texts = document.createTreeWalker(one, NodeFilter.SHOW_TEXT)
    for (let text = texts.nextNode(); text; text = texts.nextNode())
      for (const word of text.data.matchAll(/[^\s-]+/g)) {
        range.setStart(text, word.index)
        range.setEnd(text, word.index + word[0].length)
        if (range.getClientRects().length > 1) found.push(`"${word[0]}" is cut`)
      }
  }
  return found
}"""
"""The words of a state or a choice are read at a glance: none is cut in two."""
BESIDE = (
    "/gear?q=nothing-like-it",
    "/no-such-page",
    "/t/7K3M9U",
    "/due?on=2026-12-24",
    "/t/{code}/phantom",
    "/t/{code}/where",
    "/t/{code}/lamps",
)
"""States of pages that the routes alone do not show."""

Show = Callable[[str], Page]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """The demo's program."""
    with world(tmp_path_factory.mktemp("demo")) as at:
        yield at


def browsing(browser: Browser, client: TestClient, said: dict[str, Response]) -> Iterator[Show]:
    """A way to show addresses as `client` gets them; those in `said` were answered before."""

    files: dict[str, Response] = {}

    def answer(route: Route) -> None:
        asked = urlsplit(route.request.url)
        path = asked.path + (f"?{asked.query}" if asked.query else "")
        accept = {"Accept": route.request.headers.get("accept", "*/*")}
        got = said.get(path) or files.get(path) or client.get(path, headers=accept)
        if path.startswith("/static/"):
            files[path] = got
        headers = {name: got.headers[name] for name in ("content-type", "content-security-policy")}
        route.fulfill(status=got.status_code, headers=headers, body=got.content)

    with browser.new_context(viewport={"width": 390, "height": 844}) as context:
        context.route("**/*", answer)
        page = context.new_page()

        def show(path: str) -> Page:
            page.goto(BASE + path, wait_until="domcontentloaded")
            return page

        yield show


def is_page(got: Response) -> bool:
    return got.headers.get("content-type", "").startswith("text/html") and "<html" in got.text


def pages_of(client: TestClient, paths: list[str]) -> dict[str, Response]:
    """What is a page, of these addresses."""
    asked = [path for path in paths if not path.startswith(("/api", "/T/"))]
    said = {path: client.get(path, headers={"Accept": "text/html"}) for path in asked}
    return {path: got for path, got in said.items() if is_page(got)}


def wrong(page: Page, widths: tuple[int, ...] = PHONES) -> list[str]:
    """What is wrong with the page that is shown, at these widths: in words, empty where nothing is."""
    found = []
    for width in widths:
        page.set_viewport_size({"width": width, "height": 780})
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        found += [f"{over} px off the side at {width} px"] if over > 0 else []
        found += [f"{word} at {width} px" for word in page.evaluate(CUT)]
    found += page.evaluate(SMALL)
    # As tall as the page: what the bar at the foot lies over until one scrolls is not what axe is asked about.
    tall = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": PHONES[-1], "height": tall + 300})
    page.evaluate(AXE_SCRIPT)
    return [*found, *page.evaluate(AXE, STANDARDS)]


def test_of_a_program_in_mid_season(demo: World, browser: Browser) -> None:
    lead = demo.clients["lead"]
    named = [row.removeprefix("GET ") for row in rows(demo.app) if row.startswith("GET ")]
    pages = pages_of(lead, [demo.path(path) for path in (*named, *BESIDE)])
    assert len(pages) > 60
    for show in browsing(browser, lead, pages):
        found = {path: wrong(show(path)) for path in pages}
    assert {path: amiss for path, amiss in found.items() if amiss} == {}


def test_of_what_was_sent_empty(tmp_path: Path, browser: Browser) -> None:
    with world(tmp_path) as at:
        lead, said = at.clients["lead"], {}
        for row in rows(at.app):
            method, _, template = row.partition(" ")
            if method == "POST" and not template.startswith("/api") and template != "/sign-out":
                got = lead.post(at.path(template), headers={"Accept": "text/html"}, **sent(at, row))
                if is_page(got) and got.status_code >= 400:
                    # Each form shown again is its own page; what else is refused is the same page in other words.
                    name = at.path(template) if "<form" in got.text else f"/{got.status_code}"
                    said[f"/sent{name}"] = got
        assert len(said) > 20, sorted(said)
        for show in browsing(browser, lead, said):
            found = {path: wrong(show(path), PHONES[:1]) for path in said}
    assert {path: amiss for path, amiss in found.items() if amiss} == {}


def test_of_an_empty_program(sqlite_url: str, browser: Browser) -> None:
    with running(sqlite_url) as program:
        app: Any = program.lead.app
        named = [row.removeprefix("GET ") for row in rows(app) if row.startswith("GET ")]
        all_pages = pages_of(program.lead, [path for path in named if "{" not in path])
        pages = {path: got for path, got in all_pages.items() if 'class="empty' in got.text}
        assert len(pages) > 8
        for show in browsing(browser, program.lead, pages):
            found = {path: wrong(show(path)) for path in pages}
    assert {path: amiss for path, amiss in found.items() if amiss} == {}
