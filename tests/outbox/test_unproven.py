"""Without a signal, pull list and swap name the same spares as not proven, and none that went in meanwhile."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, expect
from sqlalchemy import select

from service.crew.core import Role, Who
from service.crew.queries import first_lead
from service.gear.core import ItemState
from service.gear.models import Item
from service.season.actions import add_event, add_season
from service.season.core import Season, split
from service.season.models import EventKind
from service.tags.models import Tag
from service.testlog.actions import change_state
from service.testlog.core import NewTest
from service.testlog.logging_tests import log_test
from tests.outbox.support import take_along, truck, worker_ready
from tests.support.chromium import phone_in
from tests.testlog.support import OPEN_2

pytestmark = pytest.mark.browser
ZONE = ZoneInfo("America/New_York")


def test_what_is_not_proven_is_named_without_a_signal(sqlite_url: str, browser: Browser) -> None:
    with truck(sqlite_url, "xlr3", "xlr3", "xlr3") as at, phone_in(browser) as context:
        now, season = datetime.now(UTC), uuid4()
        today = now.astimezone(ZONE).date()
        starts, ends = today - timedelta(days=20), today + timedelta(days=20)
        bad, raw, other = at.codes
        page = at.joined(context, role=Role.LEAD)
        with at.store.writing() as db:
            lead = first_lead(db)
            assert lead is not None
            who = Who(lead.id, lead.display_name, Role.LEAD)
            items = list(db.scalars(select(Item.id)))
            add_season(db, season, "Fall", Season(starts, ends, split(starts, ends, 2)), items, now)
            on = today + timedelta(days=1)  # soon: a spare that is likely bad by then is not offered at all
            event = add_event(db, season, "Lantern Field", EventKind.COMPETITION, on, now).id
            for code in (raw, other):
                item = db.get_one(Tag, code).item_id
                assert item is not None
                change_state(db, item, ItemState.SPARE, "bought as one", who, now, ZONE)
            log_test(db, NewTest(uuid4(), bad, joined=OPEN_2), who, now, ZONE)
        take_along(at, page)
        with at.no_signal():  # by the worklist alone
            page.goto(f"{at.base}/swap?bad={bad}")
            expect(page.locator("[data-list] li")).to_have_count(2)
            expect(page.locator("[data-list] li").first).to_contain_text("Not proven: test it first.")
        page.goto(f"{at.base}/pull/{event}")
        page.get_by_role("button", name="Take it along").click()
        expect(page.locator("[data-told]")).to_contain_text("On this phone")
        worker_ready(page)
        with at.no_signal():
            page.goto(f"{at.base}/pull/{event}")
            line = page.locator("[data-view] .pull > li").filter(has_text=f"{bad[:3]} {bad[3:]}").first
            expect(line).to_contain_text("No proven spare fits. Not proven, test it first:")
            page.goto(f"{at.base}/swap?bad={bad}")
            expect(page.locator("[data-list] li")).to_have_count(2)
            expect(page.locator("[data-list] li").first).to_contain_text("Not proven: test it first.")
            page.goto(f"{at.base}/swap?bad={other}&spare={raw}")  # it goes in somewhere else
            page.get_by_role("button", name="Swap", exact=True).click()
            page.wait_for_url(f"{at.base}/t/{other}")
            page.goto(f"{at.base}/swap?bad={bad}")
            expect(page.get_by_role("heading", name="Swap now")).to_be_visible()
            expect(page.locator("[data-list] li")).to_have_count(0)
