"""What failed, or was swapped out, stands so on every page from the tap on: sent or not, with a signal and without."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.outbox.support import (
    Truck,
    bar,
    entries,
    eventually,
    press,
    send_now,
    tables_ready,
    take_along,
    truck,
)
from tests.support.chromium import phone_in

pytestmark = pytest.mark.browser
UNSENT = "**/api/v1/*"


@pytest.fixture(scope="module")
def at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Truck]:
    path: Path = tmp_path_factory.mktemp("standing") / "coilbook.db"
    with truck(f"sqlite:///{path}", "xlr3", "xlr3", "xlr3") as made:
        yield made


@pytest.fixture(scope="module")
def page(at: Truck, browser: Browser) -> Iterator[Page]:
    with phone_in(browser) as context:
        page = at.joined(context)
        tables_ready(at, page, "xlr3")
        yield page


def fail(at: Truck, page: Page, number: int) -> None:
    page.goto(at.form(number))
    page.get_by_text("Mark what was found", exact=True).click()
    page.get_by_role("radiogroup", name="A2").get_by_label("none").check()
    press(page, "Fail")
    expect(page.get_by_role("heading", name="Fail", exact=True)).to_be_visible()


def stands(page: Page, code: str) -> list[str]:
    """The chips of an item that can be seen."""
    found = page.locator(f"[data-stands='{code}'], [data-due='{code}'], .chip[data-instead]")
    return [chip.inner_text() for chip in found.all() if chip.is_visible()]


def test_a_fail_that_waits_stands_on_every_page(at: Truck, page: Page) -> None:
    code = at.codes[0]
    page.goto(at.form())
    press(page, "Pass")
    send_now(page)
    eventually(lambda: entries(page) == [])
    page.goto(f"{at.base}/t/{code}")
    assert stands(page, code)[0] == "In service"
    page.route(UNSENT, lambda route: route.abort())
    fail(at, page, 0)
    page.goto(f"{at.base}/t/{code}")
    expect(page.get_by_text("Do not plug it in").last).to_be_visible()
    assert stands(page, code) == ["Quarantined", "Blocked"]
    page.goto(f"{at.base}/gear/{code}")
    expect(page.locator(".chip[data-instead]")).to_have_count(2)
    assert stands(page, code) == ["Quarantined", "Blocked"]
    page.goto(f"{at.base}/gear")
    row = page.get_by_role("listitem").filter(has=page.locator(f"[data-stands='{code}']"))
    expect(row.locator(".chip:visible").first).to_have_text("Quarantined")
    assert row.get_by_text("In service").locator("visible=true").count() == 0
    assert "#quarantined" in (row.locator(".node use").get_attribute("href") or "")
    page.unroute(UNSENT)
    send_now(page)
    eventually(lambda: entries(page) == [])
    page.goto(f"{at.base}/t/{code}")
    assert stands(page, code) == ["Quarantined", "Blocked"]


def test_the_worklist_shows_it_too_and_undo_takes_it_back(at: Truck, page: Page) -> None:
    code = at.codes[1]
    page.route(UNSENT, lambda route: route.abort())
    fail(at, page, 1)
    page.goto(f"{at.base}/sessions/{at.session}")
    row = page.get_by_role("listitem").filter(has_text=f"{code[:3]}{code[3:]}")
    expect(row.get_by_text("Fail, not sent yet")).to_be_visible()
    bar(page).get_by_role("button", name="Undo").click()
    page.wait_for_url(lambda url: "/test" in url)
    assert stands(page, code) == ["In service, untested"]
    page.unroute(UNSENT)


def test_it_stands_so_without_a_signal_also_after_it_was_sent(at: Truck, page: Page) -> None:
    code, spare = at.codes[1:]
    take_along(at, page)
    with at.no_signal():
        page.goto(f"{at.base}/t/{code}")
        expect(page.get_by_text("In service, untested")).to_be_visible()
        page.goto(f"{at.base}/swap?bad={code}&spare={spare}")
        page.get_by_role("button", name="Swap", exact=True).click()
        page.wait_for_url(f"{at.base}/t/{code}")
        expect(page.locator("[data-state]").get_by_text("Quarantined")).to_be_visible()
        expect(page.get_by_text("Do not plug it in", exact=True)).to_be_visible()
    page.goto(f"{at.base}/t/{code}")
    eventually(lambda: entries(page) == [])  # it goes out by itself
    with at.no_signal():
        page.goto(f"{at.base}/t/{code}")
        expect(page.locator("[data-state]").get_by_text("Quarantined")).to_be_visible()


def test_what_was_wrongly_passed_or_tested_in_part_counts_as_not_tested(tmp_path: Path, browser: Browser) -> None:
    with truck(f"sqlite:///{tmp_path / 'truck.db'}", "xlr3", "xlr3") as at, phone_in(browser) as context:
        page = at.joined(context)
        take_along(at, page)
        page.goto(at.form(1))
        page.get_by_text("Mark what was found", exact=True).click()
        page.get_by_text("Not everything was tested", exact=True).click()
        page.locator("[name=skip]").first.check()
        press(page, "Pass")
        page.goto(at.form())
        press(page, "Pass")
        send_now(page)
        eventually(lambda: entries(page) == [])
        passed, partly = at.codes
        with at.no_signal():
            page.goto(f"{at.base}/t/{passed}")
            expect(page.locator("p[data-state]")).to_have_text("In service")
            page.goto(f"{at.base}/t/{partly}")
            expect(page.locator("p[data-state]")).to_have_text("In service, untested")
            page.get_by_text("Undo an earlier one").click()
            row = page.locator("[data-last] .side").filter(has_text=f"{passed[:3]} {passed[3:]}")
            row.get_by_role("button", name="This was wrong").click()
            expect(bar(page)).to_contain_text("Pass was wrong")
            page.goto(f"{at.base}/t/{passed}")
            expect(page.locator("p[data-state]")).to_have_text("In service, untested")
        page.route(UNSENT, lambda route: route.abort())
        page.goto(f"{at.base}/t/{passed}")
        expect(page.locator("[data-instead]").first).to_be_visible()
        assert stands(page, passed)[0] == "In service, untested"
        page.unroute(UNSENT)
        send_now(page)
        eventually(lambda: entries(page) == [])
        with at.no_signal():
            page.goto(f"{at.base}/t/{passed}")
            expect(page.locator("p[data-state]")).to_have_text("In service, untested")
