"""Taking back one of the last five entries, sent or not; and a phone that is put away with something waiting."""

from pathlib import Path
from uuid import UUID

import pytest
from playwright.sync_api import Browser, Locator, Page, expect
from sqlalchemy import select

from service.testlog.models import WrongMark
from tests.outbox.proxy import CUT_AFTER
from tests.outbox.support import Truck, bar, entries, eventually, open_page, press, send_now, take_along, truck
from tests.support.access import barriers
from tests.support.chromium import phone_in

pytestmark = pytest.mark.browser


def marked(at: Truck) -> list[UUID]:
    """The tests that were marked as wrong."""
    with at.store.reading() as db:
        return list(db.scalars(select(WrongMark.test_id)))


def away(page: Page) -> None:
    """Leave for a page of nobody's, as by closing the tab: no page of ours is open any more."""
    page.goto("about:blank")


def log(at: Truck, page: Page, cable: int = 0) -> str:
    """A pass, given on the phone; its id."""
    open_page(page, at.form(cable))
    known = {one["id"] for one in entries(page)}
    press(page, "Pass")
    (key,) = {one["id"] for one in entries(page)} - known
    return str(key)


def row(page: Page, code: str) -> Locator:
    """The line of an item among the earlier ones, opened."""
    earlier = page.locator("[data-last]")
    expect(earlier).to_have_count(1)
    if earlier.get_attribute("open") is None:
        earlier.locator("summary").click()
    return earlier.locator(".side").filter(has_text=f"{code[:3]} {code[3:]}").first  # the newest of it


def test_a_pass_leaves_the_phone_when_its_page_does(bad_line: Truck, page: Page) -> None:
    key = log(bad_line, page)
    assert UUID(key) not in bad_line.logged()  # leading on to the next form is no leaving
    expect(bar(page).get_by_role("button", name="Undo", exact=True)).to_be_visible()
    away(page)
    eventually(lambda: UUID(key) in bad_line.logged())
    page.goto(f"{bad_line.base}/sessions")
    eventually(lambda: entries(page) == [])
    assert bad_line.logged().count(UUID(key)) == 1


def test_a_phone_that_is_put_away_sends_and_what_it_sent_is_no_more_undone(bad_line: Truck, page: Page) -> None:
    bad_line.line.tell(*[CUT_AFTER] * 9)
    key = log(bad_line, page)
    page.evaluate(
        """() => { Object.defineProperty(document, 'visibilityState', { value: 'hidden', configurable: true });
                   document.dispatchEvent(new Event('visibilitychange')); }"""
    )
    eventually(lambda: UUID(key) in bad_line.logged())
    eventually(lambda: [one["tries"] > 0 for one in entries(page)] == [True])  # no receipt, so it is here still
    page.reload()
    expect(bar(page).get_by_role("button", name="Undo", exact=True)).to_have_count(0)
    # Said while the line is still cut: a page that shows what was sent opens itself anew, and its lists are closed.
    row(page, bad_line.codes[0]).get_by_role("button", name="This was wrong").click()
    expect(bar(page)).to_contain_text("Pass was wrong.")  # kept: until then nothing may be waiting
    bad_line.line.told.clear()
    send_now(page)
    eventually(lambda: entries(page) == [])
    assert bad_line.logged().count(UUID(key)) == 1
    assert UUID(key) in marked(bad_line)


def test_each_of_the_last_entries_is_taken_back_by_itself(at_truck: Truck, browser: Browser) -> None:
    at = at_truck
    with phone_in(browser) as context:
        page = at.joined(context, "Nico")
        first, second = log(at, page, 0), log(at, page, 1)
        send_now(page)
        eventually(lambda: entries(page) == [])
        third = log(at, page, 2)
        page.goto(f"{at.base}/me")  # not from a link, so it was sent
        eventually(lambda: entries(page) == [])
        page.get_by_text("Undo an earlier one").click()
        assert barriers(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        assert page.locator("[data-last] .side").count() == 3
        row(page, at.codes[1]).get_by_role("button", name="This was wrong").click()
        expect(bar(page)).to_contain_text("Pass was wrong. It counts as not tested until your lead decides.")
        expect(page.locator("[data-last] .side")).to_have_count(2)
        bar(page).get_by_role("button", name="Undo", exact=True).click()  # that was the wrong one, too
        page.wait_for_load_state()
        expect(page.locator("[data-last] .side")).to_have_count(3)
        row(page, at.codes[0]).get_by_role("button", name="This was wrong").click()
        send_now(page)
        eventually(lambda: UUID(first) in marked(at))
        assert not {UUID(second), UUID(third)} & set(marked(at))


def test_without_a_signal_what_was_not_sent_never_comes(tmp_path: Path, browser: Browser) -> None:
    with (
        truck(f"sqlite:///{tmp_path / 'truck.db'}", "xlr3", "xlr3", "xlr3") as at,
        phone_in(browser) as context,
    ):
        page = at.joined(context)
        take_along(at, page)
        with at.no_signal():
            page.goto(at.form())
            for _ in at.codes:  # each leads on to the next
                press(page, "Pass")
            kept = [UUID(one["id"]) for one in entries(page)]
            send_now(page)
            eventually(lambda: [one["tries"] > 0 for one in entries(page)] == [True, False, False])
            row(page, at.codes[0]).get_by_role("button", name="This was wrong").click()
            row(page, at.codes[1]).get_by_role("button", name="Undo").click()
            page.wait_for_url(f"**/t/{at.codes[1]}/test*")
            eventually(lambda: [one["shown"]["code"] for one in entries(page)] == [at.codes[2], at.codes[0]])
        send_now(page)
        eventually(lambda: entries(page) == [])
        assert at.logged() == [kept[2]]
        assert marked(at) == []


def test_send_now_is_not_forgotten_while_another_page_sends(at_truck: Truck, browser: Browser) -> None:
    with phone_in(browser) as context:
        page, other = at_truck.joined(context, "Oskar"), context.new_page()
        page.clock.install()
        key = log(at_truck, page)
        page.clock.pause_at(page.evaluate("Date.now()") / 1000 + 1)  # the ten seconds never end by themselves
        other.goto(f"{at_truck.base}/healthz")
        other.evaluate(
            "navigator.locks.request('coilbook-outbox', () => new Promise((done) => { window.done = done; })), 0"
        )
        send_now(page)
        page.wait_for_function("navigator.locks.query().then(({ held }) => held.length === 1)")
        assert UUID(key) not in at_truck.logged()
        other.evaluate("window.done()")
        page.clock.run_for(1000)
        eventually(lambda: UUID(key) in at_truck.logged())
