"""After a fail the fault, its drawing and where to look first are told at the spot, with a signal and without."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from service.gear.models import Item
from service.tags.models import Tag
from tests.outbox.support import Truck, bar, entries, eventually, send_now, tables_ready, take_along, truck
from tests.support.access import barriers
from tests.support.chromium import phone_in

pytestmark = pytest.mark.browser
SWAPPED = "Conductor 2 (hot) and conductor 3 (cold) are swapped"


@pytest.fixture(scope="module")
def at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Truck]:
    path: Path = tmp_path_factory.mktemp("told") / "coilbook.db"
    with truck(f"sqlite:///{path}", "xlr3", "xlr3", "d25x8") as made:
        with made.store.reading() as db:
            wirings = {code: db.get_one(Item, db.get_one(Tag, code).item_id).wiring for code in made.codes}
        made.codes.sort(key=lambda code: wirings[code] == "d25x8")  # the multicore is the last
        yield made


@pytest.fixture(scope="module")
def page(at: Truck, browser: Browser) -> Iterator[Page]:
    with phone_in(browser) as context:
        page = at.joined(context)
        tables_ready(at, page, "xlr3", "d25x8")
        yield page


def fail_swapped(page: Page) -> None:
    """Enter two swapped conductors and a cut jacket, and press Fail."""
    page.get_by_text("Mark what was found", exact=True).click()
    page.get_by_role("radiogroup", name="A2").get_by_label("B3").check()
    page.get_by_role("radiogroup", name="A3").get_by_label("B2").check()
    page.get_by_label("Cut jacket").check()
    page.locator(".actions").get_by_role("button", name="Fail").click()


def told(page: Page) -> None:
    """What has to stand there, and nothing of the form."""
    expect(page.get_by_role("heading", name="Fail", exact=True)).to_be_focused()
    first, other = page.locator("section.sheet:visible").all()
    expect(first.get_by_role("heading")).to_have_text(SWAPPED)
    expect(first).to_contain_text("Look first:")
    expect(first.get_by_role("img", name=SWAPPED)).to_be_visible()
    assert first.locator(".strand.is-elsewhere").count() == 2
    expect(other.get_by_role("heading")).to_contain_text("cut jacket")
    expect(other.get_by_role("img")).to_be_visible()
    expect(page.get_by_text("Do not plug it in. Put tape round it and lay it aside.")).to_be_visible()
    expect(page.locator("form#test")).to_be_hidden()
    expect(page.get_by_text("as soon as this is sent")).to_be_hidden()


def test_it_is_told_at_the_spot_with_a_signal_and_without(at: Truck, page: Page) -> None:
    page.goto(at.form())
    fail_swapped(page)
    expect(page.locator("section.sheet:visible")).to_have_count(2)
    told(page)
    assert barriers(page) == []
    on = page.get_by_role("button", name="On to the next")
    expect(on).to_be_enabled()
    on.click()
    page.wait_for_url(lambda url: at.codes[0] not in url)
    expect(page.locator("form#test")).to_be_visible()
    send_now(page)  # the worklist would be shown anew, and no more be taken along, when it is sent
    eventually(lambda: entries(page) == [])
    take_along(at, page)
    with at.no_signal():
        page.goto(at.form(1))
        fail_swapped(page)
        told(page)
        page.get_by_role("button", name="On to the next").click()
        page.wait_for_url(lambda url: at.codes[1] not in url)


def test_what_only_the_service_can_tell_is_told_once_it_is_sent(at: Truck, page: Page) -> None:
    page.goto(at.form(2))
    page.get_by_text("Mark what was found", exact=True).click()
    for lane in ("1", "2"):  # in two lanes at once: no table has that
        page.locator(f"[data-lane='{lane}']").click()
        expect(page.locator(f"[data-lane='{lane}'][aria-pressed=true]")).to_be_visible()
    for row in page.locator("[data-row]:visible").all()[::3]:
        row.get_by_label("none").check()
    page.locator(".actions").get_by_role("button", name="Fail").click()
    expect(page.get_by_text("The fault is named as soon as this is sent.")).to_be_visible()
    send_now(page)
    expect(page.get_by_text("The fault is named as soon as this is sent.")).to_be_hidden()
    expect(page.locator("section.sheet:visible")).to_have_count(2)
    expect(page.locator("section.sheet:visible").first).to_contain_text("is open")
    expect(page.get_by_role("img", name="What was found")).to_be_visible()
    expect(bar(page)).to_contain_text("sent.")
