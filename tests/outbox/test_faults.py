"""Every way in which a line or a service can fail a phone: nothing is lost, nothing is doubled, refusals are shown."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.outbox.proxy import CUT_AFTER, CUT_BEFORE, TORN, Answer, Told
from tests.outbox.support import Truck, bar, entries, eventually, lead_on, press, send_now, worker_ready

pytestmark = pytest.mark.browser


def log(at: Truck, page: Page) -> str:
    """A pass of the first cable, given on the phone; its id."""
    page.goto(at.form())
    press(page, "Pass")
    (entry,) = entries(page)
    return str(entry["id"])


def settled(page: Page, state: str) -> None:
    """Wait until the only entry is in this state after a try."""
    eventually(lambda: [(one["state"], one["tries"] > 0) for one in entries(page)] == [(state, True)])


def sent(page: Page, at: Truck, key: str) -> None:
    """Wait until nothing waits; the test is in the log, once."""
    eventually(lambda: entries(page) == [])
    assert [str(each) for each in at.logged()].count(key) == 1


def signal(page: Page) -> None:
    """The phone thinks that there is a signal again."""
    page.evaluate("dispatchEvent(new Event('online'))")


LATER: dict[str, Told] = {
    "cut before": CUT_BEFORE,
    "cut after": CUT_AFTER,
    "torn": TORN,
    "408": Answer(408),
    "429": Answer(429, headers=(("Retry-After", "30"),)),
    "500": Answer(500),
    "502": Answer(502, b"<h1>Bad gateway</h1>"),
    "503": Answer(503, headers=(("Retry-After", "2"),)),
    "a page for all": Answer(200, b"<html>Welcome to our network"),
    "another's receipt": Answer(201, b'{"id": "7b7ef4ea-0000-4000-8000-000000000000"}'),
    "elsewhere": Answer(302, b"", (("Location", "/sign-in"),)),
}


@pytest.mark.parametrize("fault", LATER)
def test_it_waits_and_is_sent_again(bad_line: Truck, page: Page, fault: str) -> None:
    key, before = log(bad_line, page), len(bad_line.logged())
    bad_line.line.tell(*[LATER[fault]] * 9)  # browsers try once more by themselves where a connection was cut
    send_now(page)
    settled(page, "waiting")
    assert len(bad_line.logged()) == before + (fault in ("cut after", "torn"))
    bad_line.line.told.clear()
    signal(page)
    sent(page, bad_line, key)
    assert len(bad_line.logged()) == before + 1


@pytest.mark.parametrize("status", [401, 403])
def test_it_waits_for_somebody_to_join_again(bad_line: Truck, page: Page, status: int) -> None:
    key = log(bad_line, page)
    bad_line.line.tell(Answer(status))
    send_now(page)
    expect(bar(page)).to_contain_text("Sign in again to send: nothing is lost.")
    expect(bar(page).get_by_role("link", name="Join again")).to_be_visible()
    page.reload()
    sent(page, bad_line, key)


@pytest.mark.parametrize("status", [400, 409, 413, 422])
def test_a_refusal_is_shown_until_a_person_settles_it(bad_line: Truck, page: Page, status: int) -> None:
    key = log(bad_line, page)
    bad_line.line.tell(Answer(status, b'{"detail": "The service says why."}'))
    send_now(page)
    expect(bar(page)).to_contain_text("1 test refused by the service")
    seen = bad_line.line.seen
    page.goto(f"{bad_line.base}/offline")
    expect(page.get_by_role("main")).to_contain_text("The service says why.")
    page.reload()
    expect(page.get_by_role("main")).to_contain_text("The service says why.")
    assert bad_line.line.seen == seen  # it is not sent by itself any more
    page.get_by_role("button", name="Send it again").click()
    sent(page, bad_line, key)


def test_a_refused_test_is_edited_under_its_id(bad_line: Truck, page: Page) -> None:
    page.goto(bad_line.form())
    page.get_by_text("Mark what was found", exact=True).click()
    page.get_by_role("radiogroup", name="A2").get_by_label("none").check()
    page.get_by_label("Note").fill("typed once")
    press(page, "Fail")
    (refused,) = entries(page)
    bad_line.line.tell(Answer(422, b'{"detail": "No."}'))
    send_now(page)
    settled(page, "needs_attention")
    page.goto(f"{bad_line.base}/offline")
    page.get_by_role("button", name="Edit it").click()
    expect(page.get_by_role("radiogroup", name="A2").get_by_label("none")).to_be_checked()
    expect(page.get_by_label("Note")).to_have_value("typed once")
    press(page, "Fail")
    (again,) = entries(page)
    assert again["id"] == refused["id"]
    assert again["body"]["joined"] == refused["body"]["joined"] == [["A1", "B1"], ["A3", "B3"]]
    send_now(page)
    sent(page, bad_line, again["id"])


def test_what_the_service_has_is_never_edited_into_a_second_test(bad_line: Truck, page: Page) -> None:
    page.goto(bad_line.form())
    page.get_by_label("Bent behind both connectors").check()
    press(page, "Pass")
    before = len(bad_line.logged())
    bad_line.line.tell(CUT_AFTER, *[Answer(409, b'{"detail": "No."}')] * 9)
    send_now(page)
    settled(page, "needs_attention")
    bad_line.line.told.clear()
    page.goto(f"{bad_line.base}/offline")
    page.get_by_role("button", name="Edit it").click()
    page.get_by_label("Bent behind both connectors").uncheck()
    press(page, "Pass")
    (again,) = entries(page)
    send_now(page)
    settled(page, "needs_attention")
    assert [str(each) for each in bad_line.logged()].count(again["id"]) == 1
    assert len(bad_line.logged()) == before + 1
    page.goto(f"{bad_line.base}/offline")
    expect(page.get_by_role("main")).to_contain_text("already used for another entry")
    expect(page.get_by_role("button", name="Edit it")).to_be_hidden()
    page.get_by_role("link", name="See what the service has").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Pass")


def test_what_was_to_be_edited_is_put_into_no_other_items_form(bad_line: Truck, page: Page) -> None:
    """Its own form does not open without a signal, so the helper goes on with the next item."""
    nothing_reached = page.locator("[name=c1][value='-']")
    page.goto(bad_line.form())
    page.get_by_text("Mark what was found", exact=True).click()
    nothing_reached.evaluate("choice => choice.scrollIntoView({ block: 'center' })")  # out from under the verdicts
    nothing_reached.check(force=True)
    press(page, "Fail")
    (refused,) = entries(page)
    bad_line.line.tell(Answer(422, b'{"detail": "No."}'))
    send_now(page)
    settled(page, "needs_attention")
    page.goto(f"{bad_line.base}/offline")
    worker_ready(page)
    with bad_line.no_signal():
        page.get_by_role("button", name="Edit it").click()
        expect(page.get_by_text("is not among what you took along")).to_be_visible()
    page.goto(bad_line.form(1))
    expect(nothing_reached).not_to_be_checked()
    press(page, "Pass")
    assert refused["id"] in [one["id"] for one in entries(page)]


def test_a_refused_test_is_thrown_away_only_on_purpose(bad_line: Truck, page: Page) -> None:
    log(bad_line, page)
    bad_line.line.tell(Answer(413))
    send_now(page)
    settled(page, "needs_attention")
    page.goto(f"{bad_line.base}/offline")
    page.get_by_role("button", name="Discard it").click()
    assert len(entries(page)) == 1
    page.get_by_role("button", name="Throw this test away for good").click()
    expect(page.get_by_text("Nothing waits here")).to_be_visible()
    assert entries(page) == []


def test_one_that_the_service_stumbles_over_does_not_hold_up_the_others(bad_line: Truck, page: Page) -> None:
    first = log(bad_line, page)
    bad_line.line.stumbles.add(first)
    lead_on(page, bad_line.form(1))
    press(page, "Pass")
    (second,) = {one["id"] for one in entries(page)} - {first}
    send_now(page)
    settled(page, "waiting")
    (left,) = entries(page)
    assert left["id"] == first
    assert [str(each) for each in bad_line.logged()].count(second) == 1


@pytest.mark.parametrize("how", ["the service is gone", "the phone has no signal"])
def test_it_is_sent_when_there_is_a_signal_again(bad_line: Truck, page: Page, how: str) -> None:
    key = log(bad_line, page)
    gone = how == "the service is gone"
    bad_line.line.stop() if gone else page.context.set_offline(True)
    send_now(page)
    settled(page, "waiting")
    assert key not in map(str, bad_line.logged())
    bad_line.line.start() if gone else page.context.set_offline(False)
    signal(page)
    sent(page, bad_line, key)


def test_a_test_can_be_taken_back_for_ten_seconds(bad_line: Truck, page: Page) -> None:
    page.clock.install()
    page.goto(bad_line.form())
    page.clock.pause_at(page.evaluate("Date.now()") / 1000 + 60)  # the ten seconds are the test's, not the machine's
    page.goto(bad_line.form())
    page.get_by_text("Bent behind both").click()
    press(page, "Pass")
    expect(bar(page)).to_contain_text(re.compile("Pass kept for"))
    (taken_back,) = entries(page)
    page.clock.run_for(9_000)
    assert entries(page) == [taken_back]
    bar(page).get_by_role("button", name="Undo").click()
    expect(page.get_by_text("Bent behind both")).to_be_checked()
    assert entries(page) == []
    assert taken_back["id"] not in map(str, bad_line.logged())
    press(page, "Pass")
    (entry,) = entries(page)
    page.clock.run_for(11_000)
    page.clock.resume()  # what is tried again is tried later
    sent(page, bad_line, entry["id"])


def test_what_is_a_day_old_is_said_in_red(bad_line: Truck, page: Page) -> None:
    page.clock.install()
    log(bad_line, page)
    page.context.set_offline(True)
    send_now(page)
    settled(page, "waiting")
    assert bar(page).locator(".is-fail").count() == 0
    page.clock.fast_forward(25 * 3600 * 1000)

    def said() -> bool:
        page.clock.run_for(31_000)  # to the next look: one may have been under way while the clock went on
        return "The oldest is from 25 hours ago." in bar(page).inner_text()

    eventually(said)
    expect(bar(page).locator(".is-fail")).to_be_visible()
    assert len(entries(page)) == 1
    page.context.set_offline(False)
