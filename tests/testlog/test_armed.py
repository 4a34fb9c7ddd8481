"""A verdict is given by a hand that can have tested: no second tap, key or post says anything of the next item."""

import random
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Route, expect

from tests.outbox.support import Truck, entries, take_along, truck
from tests.support.chromium import phone_in
from tests.support.program import Running, op
from tests.testlog.support import bench
from tests.testlog.test_pages import Filled

LOADS, ROUNDS = 5, 60
BACK = "dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true }))"
HIDDEN = """hidden => {
  Object.defineProperty(document, "visibilityState", { value: hidden ? "hidden" : "visible", configurable: true });
  document.dispatchEvent(new Event("visibilitychange"));
}"""


@pytest.fixture(scope="module")
def at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Truck]:
    with truck(f"sqlite:///{tmp_path_factory.mktemp('armed') / 'coilbook.db'}", *["xlr3"] * 4) as made:
        yield made


@pytest.fixture
def page(at: Truck, browser: Browser) -> Iterator[Page]:
    """A phone whose clock stands still until the test lets time pass."""
    with phone_in(browser) as context:
        page = at.joined(context)
        page.clock.install()
        yield page


def button(page: Page, verdict: str = "Pass") -> Locator:
    return page.locator(".actions").get_by_role("button", name=verdict)


def tap(page: Page, where: tuple[float, float]) -> None:
    page.touchscreen.tap(*where)


def middle(of: Locator) -> tuple[float, float]:
    box = of.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def stand_still(page: Page) -> None:
    page.clock.pause_at(page.evaluate("Date.now()") / 1000 + 60)


@pytest.mark.browser
def test_no_double_or_triple_tap_logs_the_next_item(at: Truck, page: Page) -> None:
    """300 at random moments until 1.5 s after the page came up, be it loaded or brought back by the browser."""
    chance = random.Random(13)
    page.goto(at.form())
    stand_still(page)
    taps = 0
    for _ in range(LOADS):
        page.goto(at.form())
        expect(button(page)).to_have_attribute("aria-disabled", "true")
        where = middle(button(page, chance.choice(["Pass", "Fail"])))
        for _ in range(ROUNDS):
            moments = sorted(chance.uniform(0, 1500) for _ in range(chance.choice([2, 3])))
            for before, moment in zip([0, *moments], moments, strict=False):
                page.clock.run_for(round(moment) - round(before))
                tap(page, where)
                taps += 1
            expect(page.get_by_text("Nothing logged yet")).to_be_visible()
            page.evaluate(BACK)
    assert taps > 2 * LOADS * ROUNDS
    assert page.url == at.form()
    assert entries(page) == []
    assert at.logged() == []
    page.clock.run_for(2100)
    expect(page.get_by_text("Ready to log")).to_be_visible()
    tap(page, middle(button(page)))
    page.clock.resume()
    expect(page.get_by_text("Pass kept for")).to_be_visible()


@pytest.mark.browser
def test_what_arms_them(at: Truck, page: Page) -> None:
    page.goto(at.form(1))
    stand_still(page)
    page.goto(at.form(1))
    waits, ready = page.get_by_text("Not yet: tap its code"), page.get_by_text("Ready to log")
    expect(waits).to_be_visible()
    expect(page.get_by_role("status").filter(has=waits)).to_have_count(1)  # read aloud
    assert button(page).get_attribute("aria-describedby") == "arming"

    # Keys are no other way in: Enter on the button, and typed where the form would be sent by it.
    button(page).focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Space")
    expect(page.get_by_text("Nothing logged yet")).to_be_visible()
    page.locator("[name=flexed]").focus()
    page.keyboard.press("Enter")
    assert entries(page) == []

    # Nor a key held down until they are armed.
    page.evaluate(BACK)
    button(page).focus()
    page.keyboard.down("Enter")
    page.clock.run_for(2100)
    expect(ready).to_be_visible()
    for _ in range(3):
        page.keyboard.down("Enter")  # again without an up: it repeats
    page.keyboard.up("Enter")
    assert entries(page) == []

    # In the background no time goes by.
    page.evaluate(BACK)
    page.clock.run_for(1500)
    page.evaluate(HIDDEN, True)
    page.clock.run_for(60_000)
    page.evaluate(HIDDEN, False)
    page.clock.run_for(1900)
    expect(ready).to_be_hidden()
    page.clock.run_for(200)  # the clock counts whole milliseconds, the moment it was stopped at does not
    expect(ready).to_be_visible()
    page.evaluate(HIDDEN, True)
    page.evaluate(HIDDEN, False)
    expect(ready).to_be_visible()  # once armed they stay so: a phone goes dark while one tests

    # The code in the hand arms at once.
    page.evaluate(BACK)
    expect(ready).to_be_hidden()
    held = page.get_by_role("button", name="This is the one I hold")
    expect(held).to_contain_text(at.codes[1][:3])
    held.click()
    expect(ready).to_be_visible()
    expect(held).to_have_attribute("aria-pressed", "true")
    button(page).click()
    page.clock.resume()
    expect(page.get_by_text("Pass kept for")).to_be_visible()


@pytest.mark.browser
def test_a_scanned_tag_arms_them_but_for_a_tap_that_comes_twice(at: Truck, page: Page) -> None:
    code = at.codes[2]
    page.goto(f"{at.base}/t/{code}")  # as a camera opens it
    stand_still(page)
    page.get_by_role("link", name="Test it").click()
    ready = page.get_by_text("Ready to log")
    expect(page.get_by_text("Not yet: tap its code")).to_be_visible()
    page.clock.run_for(900)
    expect(ready).to_be_hidden()
    page.clock.run_for(200)  # the clock counts whole milliseconds, the moment it was stopped at does not
    expect(ready).to_be_visible()
    assert "scanned" not in page.url  # opened anew, nothing was scanned for it

    page.clock.resume()
    page.goto(f"{at.base}/find?code={code}&session={at.session}")
    page.wait_for_url(f"**/t/{code}/test?session={at.session}")
    expect(page.locator("[data-arming]")).to_have_attribute("data-scanned", "")


@pytest.mark.browser
def test_without_a_signal_alike(at: Truck, page: Page) -> None:
    take_along(at, page)
    with at.no_signal():
        page.goto(at.form(3))
        stand_still(page)
        page.goto(at.form(3))
        expect(page.get_by_text("Not yet: tap its code")).to_be_visible()
        tap(page, middle(button(page)))
        expect(page.get_by_text("Nothing logged yet")).to_be_visible()
        page.clock.run_for(1900)
        tap(page, middle(button(page)))
        assert entries(page) == []
        page.get_by_role("button", name="This is the one I hold").click()
        tap(page, middle(button(page)))
        page.clock.resume()
        expect(page.get_by_text("Pass kept for")).to_be_visible()


@pytest.mark.browser
def test_without_script_it_asks_once_more(at: Truck, browser: Browser, phone: BrowserContext) -> None:
    at.joined(phone)
    plain = browser.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    plain.add_cookies(phone.cookies())  # type: ignore[arg-type]
    page, before = plain.new_page(), len(at.logged())

    def just_made(route: Route) -> None:
        """However slow this computer is, the form was made just now, or later still."""
        got = route.fetch()
        route.fulfill(response=got, body=re.sub(r'(name="made" value=")[^"]*', r"\g<1>2100-01-01T00:00Z", got.text()))

    page.route(at.form(3), just_made)
    page.goto(at.form(3))
    page.get_by_text("Mark what was found", exact=True).click()
    page.get_by_label("Note").fill("end B is new")
    page.get_by_label("Bent behind both connectors").check()
    where = middle(button(page))
    button(page).click()
    expect(page.get_by_role("heading", name="Was it tested?")).to_be_visible()
    page.mouse.click(*where)  # a third tap in the same spot logs nothing either
    page.get_by_role("button", name="No, back to the form").click()
    expect(page.get_by_role("heading", name="Test: ")).to_be_visible()
    expect(page.get_by_label("Note")).to_have_value("end B is new")
    expect(page.get_by_label("Bent behind both connectors")).to_be_checked()
    assert len(at.logged()) == before
    button(page).click()
    page.get_by_role("button", name="I tested it: log the pass").click()
    expect(page.get_by_role("heading", name="Pass", exact=True)).to_be_visible()
    assert len(at.logged()) == before + 1
    assert [test.note for test in at.tests()][-1] == "end B is new"
    plain.close()


@pytest.mark.parametrize(
    ("seconds", "more", "asks"),
    [
        (1.9, {}, True),
        (2, {}, False),
        (0.9, {"scanned": "1"}, True),
        (1, {"scanned": "1"}, False),
        (0, {"sure": "yes"}, False),
        (9, {"made": ""}, True),
        (9, {"made": "soon"}, True),
        (9, {"made": "2030-01-01T00:00:00Z"}, True),
    ],
)
def test_a_post_sooner_than_anybody_tests_is_asked_about(
    program: Running, seconds: float, more: dict[str, str], asks: bool
) -> None:
    (code,) = bench(program, "xlr3").codes
    sent = Filled("test", program.crew.get(f"/t/{code}/test").text).sent | {"verdict": "pass", "note": "so"}
    program.clock.ahead(seconds=seconds)
    answer = program.crew.post(f"/t/{code}/test", data=sent | more)
    assert ("Was it tested?" in answer.text) is asks
    assert len(program.viewer.get("/api/v1/tests").json()["items"]) == (0 if asks else 1)
    if asks:  # one tap, with all that was entered
        sure = Filled("sure", answer.text).sent | {"sure": "yes"}
        done = program.crew.post(f"/t/{code}/test", data=sure)
        assert done.headers["location"] == f"/tests/{sent['op'][0]}"
        assert [test["note"] for test in program.viewer.get("/api/v1/tests").json()["items"]] == ["so"]


def test_the_same_test_sent_late_and_surely_is_one(program: Running) -> None:
    (code,) = bench(program, "xlr3").codes
    sent = Filled("test", program.crew.get(f"/t/{code}/test").text).sent | {"verdict": "pass"}
    first = program.crew.post(f"/t/{code}/test", data=sent | {"sure": "yes"})
    program.clock.ahead(seconds=5)
    assert program.crew.post(f"/t/{code}/test", data=sent).headers["location"] == first.headers["location"]
    assert program.crew.post(f"/t/{code}/test", data=sent | {"op": op()}).status_code == 303


def test_a_tag_opened_from_outside_was_scanned_and_a_link_was_not(program: Running) -> None:
    (code,) = bench(program, "xlr3").codes

    def leads(**headers: str) -> str:
        page = program.crew.get(f"/t/{code}", headers=headers).text
        found = re.search(rf'href="(/t/{code}/test[^"]*)"', page)
        assert found
        return found[1]

    assert leads() == f"/t/{code}/test?scanned=1"
    assert leads(**{"Sec-Fetch-Site": "none"}) == f"/t/{code}/test?scanned=1"
    assert leads(**{"Sec-Fetch-Site": "same-origin"}) == f"/t/{code}/test"
    assert leads(Referer="http://coilbook.test/gear") == f"/t/{code}/test"


def test_lanes_ask_too(program: Running) -> None:
    (code,) = bench(program, "xlr3x8").codes
    data = {"op": op(), "through": "", "lane-1": "pass", "note": "by one"}
    asked = program.crew.post(f"/t/{code}/lanes", data=data)
    assert "Was it tested?" in asked.text
    sure = Filled("sure", asked.text).sent | {"sure": "yes"}
    assert program.crew.post(f"/t/{code}/lanes", data=sure).status_code == 303
    again = program.crew.post(f"/t/{code}/lanes", data=Filled("sure", asked.text).sent | {"show": ""})
    assert 'name="lane-1" value="pass" checked' in again.text
