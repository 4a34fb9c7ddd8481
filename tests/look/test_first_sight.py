"""What is seen on the smallest phones: the caution, first on whatever form a test is logged; states in whole words."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from service.crew.models import Person, Program
from service.gear.models import Item
from tests.look.conftest import Open, written
from tests.look.test_every_page import CUT, Show, browsing
from tests.web.world import World, world

pytestmark = pytest.mark.browser
LONG = "The Fernhollow Community Band Program and its Front Ensemble"
SMALLEST = {"width": 320, "height": 568}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """The demo, its program, people and gear with the longest names that they may have."""
    with world(tmp_path_factory.mktemp("long")) as at:
        with at.store.writing() as db:
            db.get_one(Program, 1).name = LONG
            for person in db.query(Person):
                person.display_name = f"{person.display_name} of the front ensemble"[:24]
            for item in db.query(Item):
                item.label = "The long one from the mixer to the far end of the front line"[:60]
        yield at


@pytest.fixture
def shown(demo: World, browser: Browser) -> Iterator[Show]:
    yield from browsing(browser, demo.clients["crew"], {})


def box(page: Page, selector: str) -> dict[str, Any]:
    found: dict[str, Any] = page.locator(selector).first.evaluate("one => one.getBoundingClientRect().toJSON()")
    return found


@pytest.mark.parametrize("path", ["/t/{code}/test", "/t/{code}/test?session={session_id}", "/t/{code}/lanes"])
def test_the_caution_is_seen_when_a_form_opens(demo: World, shown: Show, path: str) -> None:
    page = shown(demo.path(path))
    page.set_viewport_size(SMALLEST)  # type: ignore[arg-type]
    caution = page.get_by_text("Mute it. Phantom off. Unplug both ends.")
    assert caution.count() == 1
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        seen = caution.evaluate("one => one.getBoundingClientRect().toJSON()")
        assert seen["bottom"] <= box(page, ".foot")["top"], scheme


@pytest.mark.parametrize("size", ["100%", "200%"])
def test_the_cover_has_two_lines_at_the_most(demo: World, shown: Show, size: str) -> None:
    page = shown("/")
    page.set_viewport_size(SMALLEST)  # type: ignore[arg-type]
    page.evaluate("size => { document.documentElement.style.fontSize = size }", size)
    line = page.locator(".brand span").evaluate("one => parseFloat(getComputedStyle(one).lineHeight)")
    assert box(page, ".brand span")["height"] <= 2 * line + 1
    rows = {round(box(page, one)["bottom"] / 24) for one in (".brand", ".switch")}
    assert len(rows) == (1 if size == "100%" else 2)
    assert box(page, ".me")["right"] <= box(page, ".switch")["left"]
    assert page.locator(".brand").text_content() == LONG  # the whole of it is read aloud
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_nothing_is_left_free_where_no_news_is(opened: Open) -> None:
    page = opened("problem.html", **SMALLEST)
    assert "news" in written("problem.html")
    padding = page.locator(".page").evaluate("one => parseFloat(getComputedStyle(one).paddingTop)")
    assert box(page, "h1")["top"] - box(page, ".page")["top"] <= padding + 1


@pytest.mark.parametrize("family", ["DejaVu Sans", "DejaVu Sans Mono"])
@pytest.mark.parametrize("path", ["/", "/due"])
def test_no_word_of_a_state_is_cut_where_the_letters_are_wide(shown: Show, path: str, family: str) -> None:
    page = shown(path)
    page.evaluate("family => document.documentElement.style.setProperty('--narrow', family)", family)
    found = {}
    for width in (320, 360, 390, 430, 480, 520):
        for size in ("100%", "130%", "150%", "200%"):
            page.set_viewport_size({"width": width, "height": 700})
            page.evaluate("size => { document.documentElement.style.fontSize = size }", size)
            found[width, size] = page.evaluate(CUT)
    assert {at: words for at, words in found.items() if words} == {}
