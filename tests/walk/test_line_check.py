"""A line check on a phone, walked in a browser: a multicore is bad at the show, and there is no signal."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

import pytest
from playwright.sync_api import BrowserContext, Page, expect
from sqlalchemy import select

from service.crew.actions import add_person
from service.crew.core import Actor, Role, Who
from service.gear.models import Item
from service.lines.checks.models import CauseRow, HeardRow
from service.lines.inputs.actions import add_channel, make_list
from service.lines.inputs.core import NewChannel
from service.season.actions import add_season
from service.season.core import Season, split
from service.season.models import SeasonRow
from service.tags.queries import code_of, item_with
from service.testlog.actions import call_suspect
from service.testlog.models import Swap, Test
from tests.outbox.support import Truck, bar, entries, eventually, send_now, truck, worker_ready
from tests.testlog.support import ZONE

CHANNELS = 12
ON_ONE_HUB = 8
WIRINGS = [*["xlr3"] * CHANNELS, *["d25-to-xlr8"] * 2, *["d25x8"] * 3]
KEPT = """async (address) => {
  const script = document.querySelector('script[src*="/outbox/page.js"]');
  return Boolean(await (await import(script.src)).outbox_store.taken.get(`page:${address}`));
}"""


@pytest.fixture
def at(sqlite_url: str) -> Iterator[Truck]:
    with truck(sqlite_url, *WIRINGS) as made:
        yield made


def prepare(at: Truck) -> tuple[dict[str, list[str]], str, list[str]]:
    """Twelve channels without lines; the codes of each wiring, and the ids of the list and its channels."""
    now, season = datetime.now(UTC), uuid4()
    today = now.astimezone(ZONE).date()
    starts, ends = today - timedelta(days=20), today + timedelta(days=20)
    channels = [uuid4() for _ in range(CHANNELS)]
    with at.store.writing() as db:
        codes: dict[str, list[str]] = {}
        for item in db.scalars(select(Item)):
            codes.setdefault(item.wiring, []).append(code_of(db, item.id))
        add_season(db, season, "Fall", Season(starts, ends, split(starts, ends, 2)), [], now)
        person = add_person(db, "Lead", Role.LEAD, now)
        actor = Actor(Who(person.id, person.display_name, Role.LEAD), now, ZONE)
        list_id = make_list(db, uuid4(), db.get_one(SeasonRow, season), actor).id
        for number, channel in enumerate(channels, 1):
            add_channel(db, channel, list_id, NewChannel(number, f"Marimba {number}"), actor)
    return codes, str(list_id), [str(channel) for channel in channels]


def scan_line(at: Truck, page: Page, channel: str, tags: list[str], lane: int, by_hand: bool) -> None:
    """Scan the tags of a line one after the other, and lay it.

    What the last scan leads to is shown; without `by_hand`, the pages before it are asked for only.
    """
    before: list[str] = []
    for tag in tags:
        errand = {"line_for": channel} | ({"line": " ".join(before)} if before else {})
        before.append(tag)
        if by_hand:
            page.goto(f"{at.base}/scan?{urlencode(errand)}")
            page.get_by_label("Or the code on the tag").fill(tag)
            page.get_by_role("button", name="Find it").click()
            page.wait_for_url(f"**/channels/{channel}?items=*")
        else:
            there = page.request.get(f"{at.base}/find?{urlencode(errand | {'code': tag})}").url
            assert f"/channels/{channel}?items=" in there
    if not by_hand:
        page.goto(there)
    page.locator("[name=lane]").fill(str(lane))
    with page.expect_navigation():
        page.get_by_role("button", name="Lay this line").click()


def spaced(code: str) -> str:
    """A code as pages show it."""
    return f"{code[:3]} {code[3:]}"


def tap(page: Page, number: int, word: str) -> None:
    key = page.locator(f"form[data-number='{number}'] button")
    key.click()
    expect(key).to_contain_text(word)


def rows(at: Truck, table: Any) -> list[Any]:
    with at.store.reading() as db:
        return list(db.scalars(select(table)))


@pytest.mark.browser
def test_twelve_channels_from_the_first_scan_to_the_last_tap(at: Truck, phone: BrowserContext) -> None:
    page = at.joined(phone, "Mira", Role.LEAD)
    codes, input_list, channels = prepare(at)
    hubs, (trunk, other, spare) = codes["d25-to-xlr8"], codes["d25x8"]
    with at.store.writing() as db:
        bad = item_with(db, trunk).id
        call_suspect(db, bad, uuid4(), "It crackled yesterday.", None, datetime.now(UTC))
    for number, channel in enumerate(channels):
        hub, multicore = (hubs[0], trunk) if number < ON_ONE_HUB else (hubs[1], other)
        scan_line(at, page, channel, [codes["xlr3"][number], hub, multicore], number % ON_ONE_HUB + 1, not number)

    page.goto(f"{at.base}/line-checks")
    page.get_by_role("button", name="Start a line check").click()
    page.wait_for_url("**/line-checks/*-*")
    wall = page.url
    worker_ready(page)
    eventually(lambda: bool(page.evaluate(KEPT, f"/inputs/{input_list}/cards")))

    with at.no_signal():
        page.goto(wall)
        expect(page.locator(".brand")).to_have_text("On this phone")
        for number in range(1, CHANNELS + 1):
            tap(page, number, "Good")
            if number <= ON_ONE_HUB:
                tap(page, number, "Dead")
        expect(page.locator("[data-counts]")).to_have_text("4 good, 8 dead, 0 crossed, 0 left")
        expect(page.locator("[data-most]")).to_contain_text(spaced(trunk))

        page.get_by_role("link", name="Why").click()
        expect(page.get_by_role("heading", name="What is to blame")).to_be_visible()
        expect(page.locator("[data-blamed] li").first).to_contain_text(spaced(trunk))
        page.get_by_role("link", name="Back to the wall").click()
        page.get_by_role("link", name="What to try first: channel 1").click()

        page.set_viewport_size({"width": 320, "height": 640})
        expect(page.locator(".do")).to_contain_text(f"Swap 10 ft trunk (multicore) {spaced(trunk)}")
        page.get_by_text("What it was, and what can be seen on it").click()
        page.get_by_label("What it was").select_option(value=f"item {bad}")
        page.get_by_label("What you see on it").select_option(label="Bent contact")
        page.get_by_label("End B").check()
        page.get_by_role("button", name="It works now").click()

        page.wait_for_url(f"**/swap?bad={trunk}&check=*")
        page.get_by_label("The spare that goes in").fill(spare)
        page.get_by_role("button", name="Swap", exact=True).click()
        page.wait_for_url(wall)
        expect(page.locator("[data-word]", has_text="Listen again")).to_have_count(ON_ONE_HUB)
        for number in range(1, ON_ONE_HUB + 1):
            tap(page, number, "Good")
        expect(page.locator("[data-counts]")).to_have_text("12 good, 0 dead, 0 crossed, 0 left")
        page.goto(f"{at.base}/cards")
        expect(page.get_by_role("heading", name="Plug cards")).to_be_visible()
        expect(page.get_by_role("main")).to_contain_text("into lane 8 of")
        page.goto(f"{at.base}/inputs")
        expect(page.locator(".channels > li")).to_have_count(CHANNELS)
        taps = CHANNELS + 2 * ON_ONE_HUB
        assert len(entries(page)) == taps + 2
        assert (rows(at, HeardRow), rows(at, CauseRow), rows(at, Swap)) == ([], [], [])

    send_now(page)
    eventually(lambda: entries(page) == [])
    expect(bar(page)).to_contain_text("sent.")
    assert len(rows(at, HeardRow)) == taps
    (cause,), (swap,), (test,) = rows(at, CauseRow), rows(at, Swap), rows(at, Test)
    assert cause.item_id == swap.bad_id == bad
    assert test.verdict == "fail"
    with at.store.reading() as db:
        assert code_of(db, swap.spare_id) == spare
        assert db.get_one(Item, swap.bad_id).state == "quarantined"
    page.goto(wall)
    expect(page.locator("[data-counts]")).to_have_text("12 good, 0 dead, 0 crossed, 0 left")
