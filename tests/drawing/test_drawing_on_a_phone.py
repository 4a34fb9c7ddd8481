"""Drawings in a real browser: letters large enough, none on another, nothing cut off, and nothing that axe-core finds.

Of letters: 12 px at the least, on a page 320 px wide, in a sheet of its own (common practice, no source).
"""

from collections.abc import Callable, Iterator
from types import SimpleNamespace

import pytest
from jinja2 import ChoiceLoader, FileSystemLoader
from playwright.sync_api import Browser, Page, Route

from service.drawing.layout import as_found
from service.drawing.shapes import Drawing
from service.web.headers import headers_of_every_answer
from service.web.render import ENVIRONMENT, TEMPLATES
from service.web.static import STATIC
from service.wiring.builtin import BUILTIN
from service.wiring.faults import Fault, FaultClass, rebuild
from tests.support.access import barriers_at

pytestmark = pytest.mark.browser
TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
Open = Callable[..., Page]

LETTERS = """() => [...document.querySelectorAll('.drawing text')].map(one =>
  [one.textContent, parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a])"""
ON_EACH_OTHER = """() => [...document.querySelectorAll('.drawing svg')].flatMap(svg => {
  const texts = [...svg.querySelectorAll('text')].map(one => [one.textContent, one.getBoundingClientRect()]);
  return texts.flatMap(([a, one], at) => texts.slice(0, at)
    .filter(([, other]) => Math.min(one.right, other.right) - Math.max(one.left, other.left) > 0
      && Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top) > 2)
    .map(([b]) => [a, b]));
})"""
CUT_OFF = """() => [...document.querySelectorAll('.drawing svg')].flatMap(svg => {
  const {width, height} = svg.viewBox.baseVal;
  return [...svg.querySelectorAll('path, rect, circle, text')].map(one => [one.outerHTML, one.getBBox()])
    .filter(([, box]) => box.x < 0 || box.y < 0 || box.x + box.width > width || box.y + box.height > height);
}).map(([name]) => name)"""


def case(key: str, *faults: Fault, missed: tuple[str, ...] = ()) -> Drawing:
    """What a test of such a cable found, but for the contacts that were missed."""
    line = BUILTIN[key]
    probed = sum(bit for contact, bit in line.bit.items() if contact not in missed)
    return as_found(line, rebuild(line, faults).within(probed), faults)


LANES = ("12", "24", "25", "10", "11", "23")
DRAWINGS = [
    case("xlr3", Fault(FaultClass.OPEN, ("1",)), missed=("As", "Bs")),
    case("xlr3", Fault(FaultClass.REVERSED_PAIR, ("2", "3"))),
    case("xlr3", Fault(FaultClass.SHORT, ("1", "2"), "A"), Fault(FaultClass.OPEN, ("2",), "B")),
    case("xlr3", Fault(FaultClass.SHORT, ("1", "As"))),
    case("xlr3-bonded", Fault(FaultClass.OPEN, ("As",), "A"), Fault(FaultClass.DAMAGE, (), "B")),
    case("xlr3-to-trs", Fault(FaultClass.MISWIRE, ("1", "2"), None, None, (("1", "BT"), ("2", "BS"))), missed=("A3",)),
    case("d25x8", Fault(FaultClass.CROSSED_LANES, LANES, None, ("1", "2")), Fault(FaultClass.OPEN, ("22",))),
    case("8p8c-to-xlr4", Fault(FaultClass.CROSSED_PAIRS, ("1", "2", "3", "6")), Fault(FaultClass.INTERMITTENT, ("5",))),
    case("8p8c-screened", Fault(FaultClass.SHORT, ("1", "3"), "B"), Fault(FaultClass.SHORT, ("2", "6", "8"), "B")),
    case("d25-to-xlr8", missed=("B3.s", "B5.1", "B5.2", "B5.3")),
    *map(case, BUILTIN),
]


def page_of_drawings() -> str:
    loader = ChoiceLoader([FileSystemLoader(TEMPLATES), FileSystemLoader(__file__.rpartition("/")[0])])
    return (
        ENVIRONMENT.overlay(loader=loader)
        .get_template("drawings.html")
        .render(
            trouble="",
            behind=None,
            who=SimpleNamespace(display_name="Mira", role="viewer"),
            program=SimpleNamespace(name="Fernhollow Band Program"),
            path="/",
            drawings=DRAWINGS,
        )
    )


def _answer(route: Route) -> None:
    path = route.request.url.removeprefix("http://coilbook.localhost/").split("?")[0]
    headers = headers_of_every_answer(secure=False)
    if path.startswith("static/"):
        file = STATIC / path.removeprefix("static/")
        route.fulfill(body=file.read_bytes(), headers=headers | {"Content-Type": TYPES[file.suffix]})
    else:
        route.fulfill(body=page_of_drawings(), headers=headers | {"Content-Type": "text/html; charset=utf-8"})


@pytest.fixture
def opened(browser: Browser) -> Iterator[Open]:
    """Opens the drawings; what the page logs, such as a breach of the content security policy, fails the test."""
    contexts, logged = [], []

    def open_page(width: int, **how: object) -> Page:
        context = browser.new_context(viewport={"width": width, "height": 844}, **how)  # type: ignore[arg-type]
        contexts.append(context)
        context.route("**/*", _answer)
        page = context.new_page()
        page.on("console", lambda message: logged.append(message.text))
        page.goto("http://coilbook.localhost/drawings")
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert logged == []


@pytest.mark.parametrize("width", [320, 390])
def test_words_are_large_apart_and_inside(opened: Open, width: int) -> None:
    page = opened(width)
    letters = page.evaluate(LETTERS)
    assert len(letters) > 200
    assert [text for text, size in letters if size < 12] == []
    assert page.evaluate(ON_EACH_OTHER) == []
    assert page.evaluate(CUT_OFF) == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


def test_axe_finds_nothing(opened: Open) -> None:
    assert barriers_at(opened(390), (320, 390)) == []


def test_screen_readers_get_title_and_faults(opened: Open) -> None:
    page = opened(390)
    name = "What was found Conductor 1 (shield) is open. Not tested: the shell at end A"
    assert page.get_by_role("img", name=name).count() == 1
    page.get_by_text("In words").first.click()
    assert page.get_by_role("listitem").filter(has_text="Conductor 1 (shield) is open.").first.is_visible()


def test_colors_of_forced_colors_are_the_systems(opened: Open) -> None:
    page = opened(390, forced_colors="active")
    strokes = page.evaluate(
        "() => [...document.querySelectorAll('.strand path, .drawing .sign')].map(one => getComputedStyle(one).stroke)"
    )
    ink = page.evaluate("getComputedStyle(document.body).color")
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert set(strokes) == {ink, ground}


def test_a_fault_can_be_told_without_color(opened: Open) -> None:
    page = opened(390)
    widths = {
        kind: page.evaluate(
            f"getComputedStyle(document.querySelector('.strand.is-{kind} path:last-child')).strokeWidth"
        )
        for kind in ("good", "open", "elsewhere", "unsure", "untested")
    }
    assert len({widths[kind] for kind in ("open", "elsewhere", "unsure")} & {widths["good"]}) == 0
    dashes = "getComputedStyle(document.querySelector('.strand.is-untested path')).strokeDasharray"
    assert page.evaluate(dashes) != "none"
    assert page.locator(".drawing .ring").count() >= 6
