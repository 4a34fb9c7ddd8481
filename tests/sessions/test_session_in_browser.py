"""A session in a real browser: it follows what others do, and lanes ask only what they must."""

from datetime import UTC, date, datetime
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, BrowserContext, expect

from service.crew.core import Role
from service.gear.actions import NewItem, add_items
from service.sessions.actions import NewSession, Why, open_session
from service.tags.actions import issue
from service.testlog.core import NewTest
from service.testlog.logging_tests import log_test
from tests.support.serving import Served, served
from tests.testlog.support import GOOD

pytestmark = pytest.mark.browser


def opened(here: Served, *wirings: str) -> tuple[str, list[str]]:
    """A session over one item of each wiring: its path, and the codes."""
    now, ids = datetime.now(UTC), [uuid4() for _ in wirings]
    with here.store.writing() as db:
        for item_id, wiring in zip(ids, wirings, strict=True):
            kind = "cable" if wiring.startswith("xlr3") else "trunk"
            add_items(db, NewItem(kind, wiring, 3048), [item_id], None, now, now.date())
        codes = issue(db, ids, now)
        session = open_session(db, NewSession(uuid4(), "Tonight", date(2026, 9, 21), (Why.UNTESTED,)), None, now)
    return f"/sessions/{session.id}", codes


def sign_in(here: Served, phone: BrowserContext) -> None:
    page = phone.new_page()
    page.goto(here.way_in(Role.CREW))
    page.get_by_label("Your name here").fill("Mira")
    page.get_by_role("button", name="Join").click()
    page.wait_for_url(f"{here.base}/")


def test_it_follows_what_others_do(phone: BrowserContext, sqlite_url: str) -> None:
    with served(sqlite_url) as here:
        path, codes = opened(here, "xlr3", "xlr3")
        sign_in(here, phone)
        page = phone.new_page()
        page.goto(here.base + path)
        expect(page.get_by_text("Look again")).to_have_count(0)
        expect(page.get_by_text("0 of 2 tested")).to_be_visible()
        with here.store.writing() as db:
            new = NewTest(uuid4(), codes[0], joined=GOOD, session=UUID(path.rsplit("/", 1)[1]))
            log_test(db, new, None, datetime.now(UTC), ZoneInfo("America/New_York"))
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        expect(page.get_by_text("1 of 2 tested")).to_be_visible()


def test_without_script_there_is_a_link(browser: Browser, phone: BrowserContext, sqlite_url: str) -> None:
    with served(sqlite_url) as here:
        path, _ = opened(here, "xlr3")
        sign_in(here, phone)
        plain = browser.new_context(java_script_enabled=False)
        plain.add_cookies(phone.cookies())  # type: ignore[arg-type]
        page = plain.new_page()
        page.goto(here.base + path)
        expect(page.get_by_role("link", name="Look again")).to_be_visible()
        page.get_by_role("button", name="Give me the next").click()
        expect(page.get_by_role("heading", name="Test: ")).to_be_visible()
        plain.close()


def test_a_bad_lane_asks_how_and_a_good_one_does_not(phone: BrowserContext, sqlite_url: str) -> None:
    with served(sqlite_url) as here:
        _, (hub, trunk) = opened(here, "d25-to-xlr8", "d25x8")
        sign_in(here, phone)
        page = phone.new_page()
        page.goto(f"{here.base}/t/{hub}/lanes?through={trunk}")
        how = page.get_by_role("group", name="What is wrong with lane 3")
        expect(how).to_be_hidden()
        lane = page.get_by_role("radiogroup", name="Lane 3")
        lane.get_by_label("Pass").check()
        expect(how).to_be_hidden()
        lane.get_by_label("Fail").check()
        expect(how).to_be_visible()
        how.get_by_label("2 open").check()
        lane.get_by_label("Pass").check()
        expect(how).to_be_visible()  # what is ticked stays in sight, so that it can be taken back
        page.get_by_role("button", name="Log these lanes").click()
        expect(page.get_by_role("alert")).to_contain_text("ticked as found on lane 3")
