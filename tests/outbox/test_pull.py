"""The pull list on a phone: ticked at once, taken along, worked with the service gone, and sent afterwards."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import select

from service.gear.models import Item
from service.retire.lists.models import PullTick
from service.season.actions import add_event, add_season
from service.season.core import Season, split
from service.season.models import EventKind
from tests.outbox.support import Truck, bar, entries, eventually, send_now, truck, worker_ready
from tests.support.chromium import phone_in

pytestmark = pytest.mark.browser


@pytest.fixture
def listed(sqlite_url: str) -> Iterator[tuple[Truck, str]]:
    """Three cables that nobody has tested, and the event that they are on the list of."""
    with truck(sqlite_url, "xlr3", "xlr3", "xlr3") as made:
        now, season = datetime.now(UTC), uuid4()
        starts, ends = now.date() - timedelta(days=20), now.date() + timedelta(days=20)
        with made.store.writing() as db:
            items = list(db.scalars(select(Item.id)))
            add_season(db, season, "Fall", Season(starts, ends, split(starts, ends, 2)), items, now)
            on = now.date() + timedelta(days=9)
            event = add_event(db, season, "Lantern Field", EventKind.COMPETITION, on, now).id
        yield made, str(event)


def ticks(at: Truck) -> int:
    with at.store.reading() as db:
        return len(list(db.scalars(select(PullTick.id))))


def taken_along(at: Truck, page: Page, event: str) -> None:
    """Take the list along, and wait until it is on the phone."""
    page.goto(f"{at.base}/pull/{event}")
    button = page.get_by_role("button", name="Take it along")
    button.click()
    expect(button).to_be_enabled()  # it is not while the list is loaded
    expect(page.locator("[data-told]")).to_contain_text("On this phone, loaded under a minute")
    worker_ready(page)


def test_a_walk_with_a_signal_without_and_with_one_again(listed: tuple[Truck, str], browser: Browser) -> None:
    at, event = listed
    with phone_in(browser) as context:
        page: Page = at.joined(context)
        taken_along(at, page, event)
        page.locator("form[data-tick] button").first.click()
        expect(page.locator(".pullbar")).to_contain_text("1 of 3 done")
        expect(bar(page)).to_contain_text("Tick kept for")

        with at.no_signal():
            page.goto(f"{at.base}/pull/{event}")
            expect(page.locator(".pullbar")).to_contain_text("1 of 3 done")
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
            code = page.locator("[data-view] li:has(form) .code").last.inner_text().replace(" ", "")
            page.goto(f"{at.base}/find?code={code}")  # scanned
            first = page.locator("[data-view] .pull > li").first
            expect(first).to_contain_text(f"{code[:3]} {code[3:]}")
            first.get_by_role("button").click()
            expect(page.locator(".pullbar")).to_contain_text("2 of 3 done")
            page.goto(f"{at.base}/offline")
            expect(page.get_by_text("Pull list: Lantern Field")).to_be_visible()
            expect(bar(page)).to_contain_text("2 ticks on this phone, not sent yet")

        page.get_by_role("button", name="Send now").click()
        eventually(lambda: entries(page) == [])
        assert ticks(at) == 2
        page.goto(f"{at.base}/pull/{event}")
        expect(page.locator(".pullbar")).to_contain_text("2 of 3 done")


def test_a_tick_that_was_taken_back_is_open_on_a_list_that_was_taken_along_since(
    listed: tuple[Truck, str], browser: Browser
) -> None:
    at, event = listed
    with phone_in(browser) as context:
        page: Page = at.joined(context)
        taken_along(at, page, event)
        page.locator("form[data-tick] button").first.click()
        expect(page.locator(".pullbar")).to_contain_text("1 of 3 done")
        send_now(page)
        eventually(lambda: ticks(at) == 1 and entries(page) == [])
        with at.no_signal():
            page.goto(f"{at.base}/pull/{event}")
            expect(page.locator(".pullbar")).to_contain_text("1 of 3 done")
        page.goto(f"{at.base}/pull/{event}")
        page.locator(".pull .is-done a").click()
        page.get_by_role("button", name="Take the tick back").click()
        expect(page.locator(".pullbar")).to_contain_text("0 of 3 done")
        taken_along(at, page, event)
        with at.no_signal():
            page.goto(f"{at.base}/pull/{event}")
            expect(page.locator(".pullbar")).to_contain_text("0 of 3 done")
