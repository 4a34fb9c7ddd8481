"""Phones in many hands: nobody's test is sent as somebody else's, and nobody's is lost when they leave."""

import pytest
from playwright.sync_api import Browser, Page, expect

from service.crew.core import Role
from tests.outbox.support import Truck, bar, entries, eventually, lead_on, open_page, press, send_now, worker_ready
from tests.support.chromium import phone_in
from tests.support.program import Running, op
from tests.testlog.support import GOOD, bench

browser_test = pytest.mark.browser


def test_a_sign_in_does_not_send_what_somebody_else_kept(program: Running) -> None:
    at = bench(program, "xlr3")
    body = {"id": op(), "item": at.codes[0], "joined": GOOD, "tested_at": program.clock.now.isoformat()}
    other = {"Coilbook-Person": op()}
    assert program.crew.post("/api/v1/tests", json=body, headers=other).status_code == 401
    assert program.viewer.get("/api/v1/tests").json()["items"] == []
    assert program.crew.post("/api/v1/tests", json=body).status_code == 201


def test_sent_again_later_it_is_the_same_test(program: Running) -> None:
    at = bench(program, "xlr3")
    body = {"id": op(), "item": at.codes[0], "joined": GOOD, "tested_at": program.clock.now.isoformat()}
    first = program.crew.post("/api/v1/tests", json=body | {"sent_at": program.clock.now.isoformat()})
    program.clock.ahead(minutes=3)
    again = program.crew.post("/api/v1/tests", json=body | {"sent_at": program.clock.now.isoformat()})
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert program.crew.post("/api/v1/tests", json=body | {"note": "other"}).status_code == 422


def leave(page: Page) -> None:
    """Press the button on one's own page."""
    lead_on(page, "/".join(page.url.split("/")[:3]) + "/me")
    page.get_by_role("button", name="Sign out on this device").click()


@browser_test
def test_what_one_kept_waits_while_another_is_signed_in(at_truck: Truck, browser: Browser) -> None:
    with phone_in(browser) as context:
        page = at_truck.joined(context, "Mira")
        page.goto(at_truck.form())
        press(page, "Pass")
        (entry,) = entries(page)
        at_truck.line.tell(*["cut before"] * 9)
        leave(page)
        expect(page.get_by_role("alert")).to_contain_text("1 test is on this phone and could not be sent yet")
        page.get_by_role("button", name="Sign out all the same").click()
        expect(page).to_have_url(f"{at_truck.base}/sign-in")
        at_truck.line.told.clear()
        page.close()

        seen = at_truck.line.seen
        page = at_truck.joined(context, "Noor")
        expect(bar(page)).to_contain_text("Mira has tests waiting on this phone.")
        assert bar(page).get_by_role("button", name="Send now").count() == 0
        page.goto(at_truck.form(1))
        press(page, "Pass")
        send_now(page)
        eventually(lambda: [one["id"] for one in entries(page)] == [entry["id"]])
        assert at_truck.line.seen == seen + 1
        assert entry["id"] not in map(str, at_truck.logged())

        # Mira's pass made her a new sign-in; she says herself that she is the one.
        open_page(page, f"{at_truck.base}/offline")
        page.get_by_role("button", name="I am Mira: send it").click()
        eventually(lambda: entries(page) == [])
        assert [str(key) for key in at_truck.logged()].count(entry["id"]) == 1


@browser_test
def test_who_was_signed_out_is_told_what_waits_here_and_how_it_goes_out(at_truck: Truck, browser: Browser) -> None:
    with phone_in(browser) as context:
        page = at_truck.joined(context, "Mira")
        page.goto(at_truck.form())
        worker_ready(page)
        with at_truck.no_signal():
            press(page, "Pass")
            context.clear_cookies()  # her pass was ended
        for path in ("/", "/join", "/sign-in", f"/t/{at_truck.codes[0]}", "/sessions"):
            page.goto(at_truck.base + path)
            expect(bar(page)).to_contain_text("1 test of Mira waits on this phone")
            expect(bar(page)).to_contain_text("nothing is lost")
            assert bar(page).get_by_role("button", name="Send now").count() == 0
        assert bar(page).get_by_role("link", name="Join again").get_attribute("href") == "/join?next=%2Fsessions"

        page = at_truck.joined(context, "Mira")
        expect(bar(page)).to_contain_text("from before you joined again")  # by now it knows who is here
        open_page(page, f"{at_truck.base}/offline")
        page.get_by_role("button", name="I am Mira: send it").click()
        eventually(lambda: entries(page) == [])


@browser_test
def test_with_nothing_waiting_a_phone_is_left_clean(at_truck: Truck, browser: Browser) -> None:
    with phone_in(browser) as context:
        page = at_truck.joined(context)
        page.goto(at_truck.form())
        worker_ready(page)
        with page.expect_response("**/sign-out") as answered:
            leave(page)
        assert answered.value.all_headers()["clear-site-data"] == '"cache", "storage"'
        expect(page).to_have_url(f"{at_truck.base}/sign-in")
        page.reload()
        assert page.evaluate("navigator.serviceWorker.getRegistrations().then((all) => all.length)") == 0
        assert page.evaluate("Object.keys(localStorage)") == []
        assert page.evaluate("indexedDB.databases().then((all) => all.length)") == 0


@browser_test
def test_two_phones_that_test_the_same_cable_both_count(at_truck: Truck, browser: Browser) -> None:
    before = len(at_truck.logged())
    with phone_in(browser) as one, phone_in(browser) as other:
        pages = [at_truck.joined(one, "Mira"), at_truck.joined(other, "Noor")]
        for page in pages:
            page.goto(at_truck.form(2))
            worker_ready(page)
        with at_truck.no_signal():
            for page in pages:
                page.locator(".actions").get_by_role("button", name="Pass").click()
                eventually(lambda page=page: len(entries(page)) == 1)  # type: ignore[misc]
        for page in pages:
            lead_on(page, at_truck.base)
            send_now(page)
            eventually(lambda page=page: entries(page) == [])  # type: ignore[misc]
    assert len(at_truck.logged()) == before + 2
    assert len({test.person_id for test in at_truck.tests()[-2:]}) == 2


@browser_test
def test_who_logs_nothing_has_no_outbox(at_truck: Truck, browser: Browser) -> None:
    with phone_in(browser) as context:
        page = at_truck.joined(context, "Sasha", Role.VIEWER)
        assert page.locator("[data-outbox]").count() == 0
        stranger = context.new_page()
        context.clear_cookies()
        stranger.goto(f"{at_truck.base}/t/{at_truck.codes[0]}")
        expect(stranger.locator("[data-outbox] *")).to_have_count(0)
        assert stranger.evaluate("indexedDB.databases().then((all) => all.length)") == 0
        assert stranger.locator("link[rel=manifest]").count() == 0
