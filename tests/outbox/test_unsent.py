"""Where there is no signal a page stays, with what was entered or asked for on it."""

from collections.abc import Callable
from contextlib import AbstractContextManager

import pytest
from playwright.sync_api import Browser, Page, Route, expect
from sqlalchemy import select

from service.testlog.models import Repair
from tests.outbox.support import Truck, entries, eventually, press, send_now, take_along, truck
from tests.support.access import barriers
from tests.support.chromium import phone_in

WORDS = "There is no signal, so this was not sent."
KEEP = "Keep it, then test again"
pytestmark = pytest.mark.browser


@pytest.mark.parametrize("away", [Truck.no_signal, Truck.gateway_alone], ids=["nothing answers", "a gateway"])
def test_a_repair_stays_on_the_page_until_there_is_a_signal(
    bad_line: Truck, page: Page, away: Callable[[Truck], AbstractContextManager[None]]
) -> None:
    before = repairs(bad_line)
    page.goto(f"{bad_line.base}/t/{bad_line.codes[0]}/repair")
    what = page.get_by_label("What was done")
    what.fill("New plug at the far end")
    with away(bad_line):
        for _ in range(2):
            page.get_by_role("button", name=KEEP).click()
            expect(page.get_by_text(WORDS)).to_be_in_viewport()
        assert page.get_by_text(WORDS).count() == 1
        expect(what).to_have_value("New plug at the far end")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert barriers(page) == []
    assert repairs(bad_line) == before
    page.get_by_role("button", name=KEEP).dblclick()
    expect(page.get_by_role("heading", level=1)).not_to_contain_text("Repair")
    assert repairs(bad_line) == [*before, "New plug at the far end"]


def test_a_form_is_sent_by_the_button_that_was_pressed(bad_line: Truck, page: Page) -> None:
    page.goto(f"{bad_line.base}/t/{bad_line.codes[0]}/phantom")
    for label, volts in (("v21", "47.9"), ("v31", "48.0"), ("l21", "24"), ("l31", "32")):
        page.locator(f"#f-{label}").fill(volts)
    page.get_by_role("button", name="What does it mean?").click()
    expect(page.get_by_role("heading", name="What reads like this")).to_be_visible()


@pytest.mark.parametrize(
    "lacks",
    ["delete AbortSignal.timeout;", "delete HTMLFormElement.prototype.requestSubmit;"],
    ids=["no time limit", "no way to send a form on"],
)
def test_a_browser_of_an_older_phone_sends_its_forms(bad_line: Truck, browser: Browser, lacks: str) -> None:
    """Safari has the two since version 16, and phones of 2015 and 2016 stay at 15."""
    before = repairs(bad_line)
    with phone_in(browser) as context:
        context.add_init_script(lacks)
        page = bad_line.joined(context)
        page.goto(f"{bad_line.base}/t/{bad_line.codes[0]}/repair")
        page.get_by_label("What was done").fill("Joint soldered again")
        page.get_by_role("button", name=KEEP).click()
        expect(page.get_by_role("heading", level=1)).not_to_contain_text("Repair")
    assert repairs(bad_line) == [*before, "Joint soldered again"]


def test_the_next_item_comes_from_what_was_taken_along(sqlite_url: str, browser: Browser) -> None:
    with truck(sqlite_url, "xlr3") as at, phone_in(browser) as context:
        page = at.joined(context)
        take_along(at, page)
        page.reload()  # the worker has a hold on pages loaded after it
        with at.no_signal():
            page.get_by_role("button", name="Give me the next").click()
            expect(page.locator("[data-form]")).to_be_visible()
            assert "/test?session=" in page.url


def test_a_page_is_loaded_anew_once_its_session_is_taken_along(bad_line: Truck, page: Page) -> None:
    """It shows a test that was sent just then; loaded anew at once, it would drop what somebody asked for."""
    asked: list[Route] = []
    page.route("**/api/v1/tests", lambda route: route.abort())
    page.route("**/api/v1/sessions/*/package", lambda route: asked.append(route))
    page.goto(bad_line.form())
    press(page, "Pass")
    page.goto(f"{bad_line.base}/sessions/{bad_line.session}")
    page.evaluate("window.asThen = true")
    page.get_by_role("button", name="Take it along").click()
    eventually(lambda: page.evaluate("window.asThen") and len(asked) == 1)
    page.unroute("**/api/v1/tests")
    send_now(page)
    eventually(lambda: entries(page) == [])
    assert page.evaluate("window.asThen")
    asked[0].continue_()
    page.unroute("**/api/v1/sessions/*/package")
    page.wait_for_function("() => !window.asThen")
    expect(page.locator("[data-told]")).to_contain_text("On this phone, loaded")


def repairs(at: Truck) -> list[str]:
    """What was done, over the whole log."""
    with at.store.reading() as db:
        return list(db.scalars(select(Repair.what).order_by(Repair.at)))
