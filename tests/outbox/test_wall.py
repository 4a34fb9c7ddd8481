"""A line check on two phones: taps show at once, with a signal and without, and each is logged once."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid4

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlalchemy import select

from service.crew.actions import add_person
from service.crew.core import Actor, Role, Who
from service.lines.checks.actions import start_check
from service.lines.checks.models import HeardRow
from service.lines.inputs.actions import add_channel, make_list
from service.lines.inputs.core import NewChannel
from service.season.actions import add_season
from service.season.core import Season, split
from service.season.models import SeasonRow
from tests.outbox.support import Truck, bar, entries, eventually, send_now, truck
from tests.support.chromium import phone_in
from tests.testlog.support import ZONE

pytestmark = pytest.mark.browser


@pytest.fixture
def walled(sqlite_url: str) -> Iterator[tuple[Truck, str]]:
    """A line check of three channels, and its address."""
    with truck(sqlite_url, "xlr3") as made:
        now, season, check = datetime.now(UTC), uuid4(), uuid4()
        starts, ends = now.date() - timedelta(days=20), now.date() + timedelta(days=20)
        with made.store.writing() as db:
            add_season(db, season, "Fall", Season(starts, ends, split(starts, ends, 2)), [], now)
            person = add_person(db, "Lead", Role.LEAD, now)
            actor = Actor(Who(person.id, person.display_name, Role.LEAD), now, ZONE)
            list_id = make_list(db, uuid4(), db.get_one(SeasonRow, season), actor).id
            for number in (1, 2, 3):
                add_channel(db, uuid4(), list_id, NewChannel(number, f"Marimba {number}"), actor)
            start_check(db, check, list_id, 180, actor)
        yield made, f"{made.base}/line-checks/{check}"


def heard(at: Truck) -> list[tuple[UUID, str]]:
    with at.store.reading() as db:
        rows = db.scalars(select(HeardRow).order_by(HeardRow.at, HeardRow.received_at))
        return [(row.id, row.heard) for row in rows]


def tap(page: Page, number: int, word: str) -> None:
    key = page.locator(f"form[data-number='{number}'] button")
    key.click()
    expect(key).to_contain_text(word)


def test_taps_with_a_signal_without_and_with_one_again(walled: tuple[Truck, str], browser: Browser) -> None:
    at, address = walled
    with phone_in(browser) as context, phone_in(browser) as other:
        page, second = at.joined(context), at.joined(other, "Theo")
        page.goto(address)
        second.goto(address)
        tap(page, 1, "Good")
        expect(page.locator("[data-counts]")).to_have_text("1 good, 0 dead, 0 crossed, 2 left")
        expect(second.locator("form[data-number='1'] button")).to_contain_text("Good")  # the other phone is told

        with at.no_signal():
            tap(page, 2, "Good")
            tap(page, 2, "Dead")
            page.get_by_text("A key has the sound of another channel").click()
            page.get_by_label("Key").select_option(label="3 Marimba 3")
            page.get_by_label("It sounds as").select_option(label="1 Marimba 1")
            page.get_by_role("button", name="They are crossed").click()
            expect(page.locator("form[data-number='3'] button")).to_contain_text("Sounds as 1")
            expect(bar(page)).to_contain_text("3 channels on this phone, not sent yet.")
            assert len(entries(page)) == 3
            assert len(heard(at)) == 1
        send_now(page)
        eventually(lambda: len(heard(at)) == 4)
        eventually(lambda: entries(page) == [])
        page.reload()
        expect(page.locator("[data-counts]")).to_have_text("1 good, 1 dead, 1 crossed, 0 left")
        assert len({entry for entry, _ in heard(at)}) == 4
        assert sorted(sound for _, sound in heard(at)) == ["crossed", "dead", "good", "good"]
