"""A set-up drill on two phones, one with a wrong clock: taps without a signal, each logged once with its own time."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from playwright.sync_api import Browser, expect
from sqlalchemy import select

from service.crew.actions import add_person
from service.crew.core import Actor, Role, Who
from service.lines.drills.actions import start_drill
from service.lines.drills.models import StationDoneRow
from service.lines.inputs.actions import add_channel, make_list, set_line
from service.lines.inputs.core import NewChannel
from service.season.actions import add_season
from service.season.core import Season, split
from service.season.models import SeasonRow
from tests.lines.test_cards import PROGRAM
from tests.outbox.support import Truck, bar, entries, eventually, send_now, truck
from tests.support.chromium import phone_in
from tests.testlog.support import ZONE

pytestmark = pytest.mark.browser
BEHIND = """globalThis.Date = class extends Date {
  constructor(...given) { given.length ? super(...given) : super(Date.now()) }
  static now() { return super.now() - 90_000 }
}"""
"""A phone's clock that is 90 seconds behind, less than the service corrects by itself."""


@pytest.fixture
def drilled(sqlite_url: str) -> Iterator[tuple[Truck, str]]:
    """A drill of two channels, each with a cable of its own into the mixer, and its address."""
    with truck(sqlite_url, "xlr3", "xlr3") as made:
        now, season, drill = datetime.now(UTC), uuid4(), uuid4()
        today = now.astimezone(ZONE).date()
        starts, ends = today - timedelta(days=20), today + timedelta(days=20)
        with made.store.writing() as db:
            add_season(db, season, "Fall", Season(starts, ends, split(starts, ends, 2)), [], now)
            person = add_person(db, "Lead", Role.LEAD, now)
            actor = Actor(Who(person.id, person.display_name, Role.LEAD), now, ZONE)
            list_id = make_list(db, uuid4(), db.get_one(SeasonRow, season), actor).id
            for number, code in enumerate(made.codes, 1):
                channel = uuid4()
                add_channel(db, channel, list_id, NewChannel(number, f"Marimba {number}"), actor)
                set_line(db, channel, [code], "", actor)
            start_drill(db, drill, list_id, 180, PROGRAM, actor)
        yield made, f"{made.base}/drills/{drill}"


def tapped(at: Truck) -> list[tuple[str, bool, bool]]:
    """What was logged, in order of its times: the station, whether it was a plug by itself, and whether it was done."""
    with at.store.reading() as db:
        rows = db.scalars(select(StationDoneRow).order_by(StationDoneRow.at))
        return [(row.station, row.plug_id is not None, row.done) for row in rows]


def test_a_drill_with_a_signal_without_and_with_one_again(drilled: tuple[Truck, str], browser: Browser) -> None:
    at, address = drilled
    with phone_in(browser) as context, phone_in(browser) as other:
        other.add_init_script(BEHIND)
        page, second = at.joined(context), at.joined(other, "Theo")
        page.goto(address)
        second.goto(address)
        expect(page.locator("[data-clock]")).to_contain_text("of 3:00")
        counts = page.locator("[data-counts]")
        expect(counts).to_have_text("0 of 1 stations done")
        page.get_by_text("Its 2 plugs, one by one").click()
        page.locator("form[data-plug] button").first.click()
        expect(page.locator("form[data-plug] button").first).to_contain_text("In at 0:")
        station = second.locator("form[data-station]:not([data-plug]) button")
        expect(station).to_contain_text("1 of 2 plugs in")  # the other phone is told
        with at.no_signal():
            station.click()
            expect(second.locator("[data-counts]")).to_contain_text("All stations done in 0:")
            station.click()
            expect(station).to_contain_text("0 of 2 plugs in")
            station.click()
            expect(bar(second)).to_contain_text("3 taps on this phone, not sent yet.")
            assert len(entries(second)) == 3
            assert len(tapped(at)) == 1
        send_now(second)
        eventually(lambda: entries(second) == [])
        expect(counts).to_contain_text("All stations done in 0:")  # the first phone is told
        assert [(plug, done) for _, plug, done in tapped(at)] == [
            (True, True),
            (False, True),
            (False, False),
            (False, True),
        ]
        second.reload()
        expect(second.locator("[data-counts]")).to_contain_text("All stations done in 0:")
