"""It crackled, and swap now, where there is no signal: kept on the phone like a test, and done once there is one."""

from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import select

from service.gear.models import Flag, Item
from service.kit.codes import make_code
from service.sessions.lanes.core import Lane, LaneReading, readings
from service.tags.queries import item_with
from service.testlog.models import Swap
from service.wiring.builtin import BUILTIN
from service.wiring.wirings import read
from tests.outbox.support import Truck, bar, entries, eventually, send_now, take_along, truck
from tests.support.access import barriers
from tests.support.chromium import phone_in

pytestmark = pytest.mark.browser


@pytest.fixture
def at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Truck]:
    path = tmp_path_factory.mktemp("deeds") / "coilbook.db"
    with truck(f"sqlite:///{path}", "xlr3", "xlr3", "xlr3") as made:
        yield made


@pytest.fixture
def phone(at: Truck, browser: Browser) -> Iterator[Page]:
    with phone_in(browser) as context:
        yield at.joined(context)


def state(at: Truck, code: str) -> str:
    with at.store.reading() as db:
        return str(item_with(db, code).state)


def suspects(at: Truck) -> list[str]:
    """The codes of what was called suspect."""
    with at.store.reading() as db:
        flagged = {flag.item_id for flag in db.scalars(select(Flag).where(Flag.flag == "suspect"))}
        return [code for code in at.codes if item_with(db, code).id in flagged]


def usable(page: Page) -> None:
    assert barriers(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_both_are_done_without_a_signal_and_sent_afterwards(at: Truck, phone: Page) -> None:
    page, (crackles, bad, spare) = phone, at.codes
    take_along(at, page)
    with at.no_signal():
        page.goto(f"{at.base}/t/{crackles}")
        usable(page)
        page.get_by_role("button", name="It crackled").click()
        expect(bar(page)).to_contain_text(f"Crackle kept for {crackles[:3]} {crackles[3:]}.")

        page.goto(f"{at.base}/t/{bad}")
        page.get_by_role("link", name="Swap it now").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Swap now")
        usable(page)
        page.get_by_label("The spare that goes in").fill("QQQQQQ")
        page.get_by_role("button", name="Swap", exact=True).click()
        expect(bar(page)).to_contain_text("“QQQQQQ” is no code")
        page.get_by_label("The spare that goes in").fill(f" {spare[:3].lower()} {spare[3:]}")
        page.get_by_role("button", name="Swap", exact=True).click()
        page.wait_for_url(f"{at.base}/t/{bad}")
        expect(bar(page)).to_contain_text(f"Swap kept for {bad[:3]} {bad[3:]}.")
        assert len(entries(page)) == 2
    send_now(page)
    eventually(lambda: entries(page) == [])
    assert (state(at, bad), state(at, spare)) == ("quarantined", "in_service")
    assert suspects(at) == [crackles]


def test_what_was_not_taken_along_is_swapped_by_its_code(at: Truck, phone: Page) -> None:
    page, unknown = phone, make_code(Random(7))
    take_along(at, page)
    with at.no_signal():
        page.goto(f"{at.base}/t/{unknown}")
        expect(page.get_by_text("is not among what you took along")).to_be_visible()
        expect(page.get_by_role("button", name="It crackled")).to_be_visible()
        page.get_by_role("link", name="Swap it now").click()
        expect(page.get_by_label("The bad one")).to_have_value(unknown)
        page.goto(f"{at.base}/offline")
        page.get_by_role("link", name="Swap now").click()
        expect(page.get_by_label("The bad one")).to_have_value("")


def test_the_spare_is_scanned_without_a_signal(at: Truck, phone: Page) -> None:
    page, (bad, spare, _) = phone, at.codes
    take_along(at, page)
    with at.no_signal():
        page.goto(f"{at.base}/swap?bad={bad}&code={spare}")  # where the camera leads
        expect(page.get_by_label("The spare that goes in")).to_have_value(spare)
        page.get_by_role("button", name="Swap", exact=True).click()
        page.wait_for_url(f"{at.base}/t/{bad}")
        page.get_by_role("button", name="Undo").click()
        expect(page.get_by_label("The spare that goes in")).to_have_value(spare)
        assert entries(page) == []


def test_pages_that_were_open_when_the_signal_went_keep_it_too(at: Truck, phone: Page) -> None:
    page, (crackles, bad, spare) = phone, at.codes
    page.goto(f"{at.base}/t/{crackles}")
    page.mouse.wheel(0, 400)
    with at.no_signal():
        page.get_by_role("button", name="It crackled").click()
        expect(bar(page).get_by_text("Crackle kept for")).to_be_in_viewport()
        expect(page.get_by_role("button", name="It crackled")).to_be_disabled()
    page.goto(f"{at.base}/swap?bad={bad}")
    page.get_by_label("Or the spare's code").fill(spare)
    with at.no_signal():
        page.get_by_role("button", name="Swap", exact=True).click()
        expect(bar(page)).to_contain_text("Swap kept for")
    send_now(page)
    eventually(lambda: entries(page) == [])
    assert suspects(at) == [crackles]
    with at.store.reading() as db:
        assert [db.get_one(Item, swap.bad_id).state for swap in db.scalars(select(Swap))] == ["quarantined"]


FOUR = BUILTIN["xlr3x4"]
DEAD = Lane("2", LaneReading.BAD)
TOLD = Lane("3", LaneReading.BAD, frozenset("1"), (("1", "2"), ("2", "3")), reversed=True)


def test_eight_taps_are_not_lost_when_the_signal_goes(tmp_path: Path, browser: Browser) -> None:
    """What the phone makes of the lanes is what the service reads from the same taps."""
    lanes = [Lane("1", LaneReading.GOOD), DEAD, TOLD, Lane("4")]
    with truck(f"sqlite:///{tmp_path / 'lanes.db'}", "xlr3x4") as at, phone_in(browser) as context:
        page = at.joined(context)
        page.goto(f"{at.base}/t/{at.codes[0]}/lanes?session={at.session}")
        log = page.get_by_role("button", name="Log these lanes")
        with at.no_signal():
            log.click()
            expect(bar(page).get_by_text("Say of at least one lane")).to_be_visible()
            for lane in lanes:
                page.locator(f'[name="lane-{lane.name}"][value="{lane.shown}"]').check()
            for name, values in (("open", ["1"]), ("touch", ["1-2", "2-3"]), ("reversed", ["yes"])):
                for value in values:
                    page.locator(f'[name="{name}-3"][value="{value}"]').check()
            log.click()
            expect(bar(page).get_by_text("Fail kept for")).to_be_in_viewport()
        send_now(page)
        eventually(lambda: entries(page) == [])
        [test] = at.tests()
        joined, probed = readings(FOUR, lanes)
        assert (test.verdict, test.session_id, test.wiring) == ("fail", at.session, "xlr3x4")
        assert read(FOUR, test.joined, test.probed) == read(FOUR, joined, probed)
        assert state(at, at.codes[0]) == "quarantined"
