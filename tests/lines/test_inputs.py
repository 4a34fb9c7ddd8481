"""Input lists as people use them: making one, laying lines, what is refused, swaps, copies, sheets, days gone by."""

import csv
import io
import re
from typing import Any
from uuid import UUID

import pytest

from service.gear.actions import place
from service.gear.core import ItemState
from service.season import actions as seasons
from service.season.core import Season, split
from service.season.models import EventKind
from service.testlog.actions import change_state
from tests.support.program import Running, op, running
from tests.testlog.support import GOOD, OPEN_2, ZONE, Bench, bench

HUB, TRUNK = "d25-to-xlr8", "d25x8"


class Inputs:
    """A season with its input list, two cables, a spare, a hub and its multicore."""

    def __init__(self, program: Running) -> None:
        self.program, self.lead = program, program.lead
        self.at: Bench = bench(program, "xlr3", "xlr3", "xlr3", HUB, TRUNK)
        self.one, self.two, self.spare, self.hub, self.trunk = self.at.codes
        today = program.clock.now.astimezone(ZONE).date()
        rule = Season(today, today.replace(year=today.year + 1), split(today, today.replace(year=today.year + 1), 2))
        self.season = UUID(op())
        with program.store.writing() as db:
            seasons.add_season(db, self.season, "Fall season", rule, [], program.clock.now)
            self.event = seasons.add_event(db, self.season, "Home show", EventKind.SHOW, today, program.clock.now).id
            place(db, self.at.ids[self.one], "Marimba 1", "", None, program.clock.now)
            place(db, self.at.ids[self.hub], "Marimba 1", "", None, program.clock.now)
            change_state(
                db, self.at.ids[self.spare], ItemState.SPARE, "bought as one", self.at.lead, program.clock.now, ZONE
            )
        self.list = self.make(season=str(self.season))
        program.clock.ahead(minutes=1)

    def make(self, **of: str) -> str:
        answer = self.lead.post("/api/v1/input-lists", json={"id": op()} | of)
        assert answer.status_code == 201, answer.text
        return str(answer.json()["id"])

    def add(self, number: int, *items: str, status: int = 201, **more: Any) -> Any:
        body = {"id": op(), "number": number, "source": f"Source {number}", "items": list(items)} | more
        answer = self.lead.post(f"/api/v1/input-lists/{self.list}/channels", json=body)
        assert answer.status_code == status, answer.text
        return answer.json()

    def channels(self, list_id: str = "", on: str = "") -> list[Any]:
        query = {"on": on} if on else {}
        answer = self.program.viewer.get(f"/api/v1/input-lists/{list_id or self.list}", params=query)
        assert answer.status_code == 200, answer.text
        channels: list[Any] = answer.json()["channels"]
        return channels


@pytest.fixture
def at(program: Running) -> Inputs:
    return Inputs(program)


def items_of(channel: Any) -> list[tuple[str, str | None, bool]]:
    return [(item["item"], item["lane"], item["stays"]) for item in channel["items"]]


def test_a_line_is_laid_by_a_page_and_its_joints_are_as_they_usually_are(at: Inputs) -> None:
    form = {"op": op(), "number": "1", "source": "Marimba 1 low", "phantom": "yes", "place": "Marimba 1"}
    made = at.lead.post(f"/inputs/{at.list}/channels/new", data=form)
    assert made.status_code == 303, made.text
    there = made.headers["location"]
    assert at.lead.post(f"/inputs/{at.list}/channels/new", data=form).headers["location"] == there
    laid = at.lead.post(f"{there}/line", data={"op": op(), "items": f"{at.one}\n{at.hub} {at.trunk}", "lane": "3"})
    assert laid.status_code == 303, laid.text
    (channel,) = at.channels()
    assert (channel["number"], channel["phantom"], channel["place"]) == (1, True, "Marimba 1")
    assert items_of(channel) == [(at.one, None, True), (at.hub, "3", True), (at.trunk, "3", False)]
    at.lead.post(f"{there}/joints", data={"op": op(), "stays": ["1", "3"]})
    (channel,) = at.channels()
    assert [item["stays"] for item in channel["items"]] == [False, True, False]
    assert channel["mixer_stays"]
    for who in (at.program.viewer, at.program.crew):
        assert "Marimba 1 low" in who.get(f"/inputs/{at.list}").text
        assert who.get(there).status_code == 200
    at.lead.post(f"{there}/end", data={"op": op()})
    assert at.channels() == []


def test_what_another_channel_takes_is_refused_and_nothing_is_saved(at: Inputs) -> None:
    at.add(1, at.one, at.hub, at.trunk, lane="1")
    assert "is taken by channel 1" in at.add(2, at.two, at.hub, at.trunk, lane="1", status=422)["detail"]
    assert "carries channel 1" in at.add(2, at.one, status=422)["detail"]
    assert "Channel 1 is Source 1" in at.add(1, status=422)["detail"]
    assert "do not mate" in at.add(2, at.hub, at.two, lane="2", status=422)["detail"]
    assert [channel["number"] for channel in at.channels()] == [1]
    there = f"/channels/{at.channels()[0]['id']}"
    refused = at.lead.post(f"{there}/line", data={"op": op(), "items": f"{at.one} {at.one[:5]}", "lane": ""})
    assert refused.status_code == 422
    assert at.one[:5] in refused.text  # what was typed is still there


def test_a_swapped_in_item_takes_the_others_place_and_yesterday_stays(at: Inputs) -> None:
    at.add(1, at.one, at.hub, at.trunk, lane="1")
    day = at.program.clock.now.astimezone(ZONE).date().isoformat()
    at.program.clock.ahead(days=1)
    swap = at.program.crew.post("/api/v1/swaps", json={"id": op(), "bad": at.one, "spare": at.spare, "anyway": True})
    assert swap.status_code == 201, swap.text
    assert [item["item"] for item in at.channels()[0]["items"]] == [at.spare, at.hub, at.trunk]
    assert [item["item"] for item in at.channels(on=day)[0]["items"]] == [at.one, at.hub, at.trunk]
    for code, carries in ((at.spare, True), (at.one, False), (at.hub, True), (at.two, False)):
        assert ("Source 1" in at.program.crew.get(f"/t/{code}").text) is carries
    page = at.lead.get(f"/inputs/{at.list}", params={"on": day})
    assert at.one[:3] in page.text
    assert at.lead.get(f"/inputs/{at.list}", params={"on": "last week"}).status_code == 422


def test_an_event_with_a_list_of_its_own_shows_where_it_differs_until_it_is_over(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        at = Inputs(program)
        at.add(1, at.one, at.hub, at.trunk, lane="1")
        own = at.make(event=str(at.event), copy_of=at.list)
        assert "At Home show" not in program.crew.get(f"/t/{at.one}").text  # it is the same as all season
        (channel,) = at.channels(own)
        changed = {"id": op(), "number": 5, "source": "Solo"}
        assert at.lead.post(f"/api/v1/channels/{channel['id']}", json=changed).status_code in (200, 201)
        page = program.crew.get(f"/t/{at.one}").text
        assert page.index("Source 1") < page.index("Solo") < page.index("At Home show")
        assert "Solo" not in program.crew.get(f"/t/{at.two}").text
        program.clock.ahead(days=1)
        page = program.crew.get(f"/t/{at.one}").text
        assert "Source 1" in page
        assert "Solo" not in page


def test_what_is_wrong_today_is_shown_beside_the_channel(at: Inputs) -> None:
    at.add(1, at.one)
    at.add(2, at.two)
    at.at.test(at.one, OPEN_2)
    page = at.program.crew.get(f"/inputs/{at.list}").text
    assert "Quarantined" in page
    ready = at.program.crew.get(f"/season/events/{at.event}").text
    assert "Nothing is wrong today on 0 of 2 channels. On these something is:" in ready  # channel 2 was never tested
    at.at.test(at.two)
    assert (
        "Nothing is wrong today on 1 of 2 channels. On this one something is:"
        in at.program.crew.get(f"/season/events/{at.event}").text
    )
    assert at.channels()[0]["items"][0]["state"] == "quarantined"


def test_the_next_list_begins_with_the_channels_of_another(at: Inputs) -> None:
    at.add(1, at.one, at.hub, at.trunk, lane="1")
    at.add(2, at.two)
    at.add(3)
    with at.program.store.writing() as db:
        change_state(db, at.at.ids[at.two], ItemState.LOST, "gone", at.at.lead, at.program.clock.now, ZONE)
    own = at.make(event=str(at.event), copy_of=at.list)
    assert [items_of(channel) for channel in at.channels(own)] == [
        [(at.one, None, True), (at.hub, "1", True), (at.trunk, "1", False)],
        [],
        [],
    ]
    again = at.lead.post("/inputs", data={"op": op(), "event": str(at.event), "copy_of": ""})
    assert again.status_code == 409
    assert "has an input list already" in again.text
    assert at.lead.get("/inputs", params={"event": str(at.event)}).headers["location"] == f"/inputs/{own}"
    dropped = at.lead.post(f"/season/events/{at.event}/drop", data={"op": op()})
    assert dropped.status_code == 409


def test_a_sheet_goes_out_and_comes_in_as_it_was(at: Inputs) -> None:
    at.add(1, at.one, at.hub, at.trunk, lane="1", phantom=True, place="Marimba 1", microphone="=over it")
    at.add(2, at.two, at.spare, stays=[0, 2])
    url = f"/inputs/{at.list}/sheet"
    out = at.lead.get(f"{url}.csv").content.decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(out)))
    assert rows[1:] == [
        ["1", "Source 1", "'=over it", "yes", "Marimba 1", f"{at.one} {at.hub} {at.trunk}", "1", "0 1"],
        ["2", "Source 2", "", "no", "", f"{at.two} {at.spare}", "", "0 2"],
    ]
    before = at.channels()
    at.program.clock.ahead(minutes=1)
    sent = at.lead.post(url, data={"op": op()}, files={"file": out.encode()})
    assert sent.status_code == 303, sent.text
    assert at.channels() == before
    # Two channels exchange their cables at once; a third is new.
    swapped = out.replace(at.one, "?").replace(f"{at.two} {at.spare}", at.one).replace("?", at.two)
    swapped += f"3,Singer,,x,,{at.spare},,\r\n"
    assert at.lead.post(url, data={"op": op(), "sheet": swapped}, files={"file": b""}).status_code == 303
    assert [channel["items"][0]["item"] for channel in at.channels()] == [at.two, at.one, at.spare]


def test_each_wrong_row_of_a_sheet_is_named_and_nothing_is_brought_in(at: Inputs) -> None:
    at.add(1, at.one)
    before, url = at.channels(), f"/inputs/{at.list}/sheet"
    wrong = {
        "Source,Items\nSinger,": "Channel is missing",
        "Channel,Source\n": "has 0 rows",
        "Channel,Source,Phantom\n2,Singer,maybe": "Row 2: “maybe” in Phantom",
        "Channel,Source\n2,Singer\n\nx,Choir\n2,Gong": "Row 4: “x” is not a channel",
        "Channel,Source,Items\n2,Singer,QQQQQQ\n3,Choir," + at.one: "Row 3: ",
        "Channel,Source,Stays\n2,Singer,first": "in Stays",
        "Channel,Source\n2,Singer\n2,Choir": "Row 3: channel 2 stands in this sheet twice",
    }
    for sheet, why in wrong.items():
        answer = at.lead.post(url, data={"op": op(), "sheet": sheet}, files={"file": b""})
        assert answer.status_code == 422, (sheet, answer.text)
        assert why.replace("“", "&#8220;") in answer.text or why in answer.text, (sheet, answer.text)
    assert at.channels() == before


def test_a_line_is_tested_by_one_test_through_all_its_items(at: Inputs) -> None:
    """A pass proves each item, of the hub and the multicore the lane that the channel takes."""
    channel = at.add(1, at.one, at.hub, at.trunk, lane="3")
    page = at.program.crew.get(f"/channels/{channel['id']}").text
    assert "hide each other" in page
    assert f"/t/{at.trunk}/test?lane=3" in page  # the second half is one item
    whole = f"/t/{at.one}/test?through={at.hub}+{at.trunk}&amp;through_lane=3"
    assert whole in page
    form = at.program.crew.get(whole.replace("&amp;", "&")).text
    chosen = re.search(r'name="through_lane" value="3"[^>]*checked', form)
    assert chosen, form
    test = {"id": op(), "item": at.one, "through": [at.hub, at.trunk], "joined": GOOD, "lane": "3"}
    assert at.program.crew.post("/api/v1/tests", json=test).json()["verdict"] == "pass"
    assert "1 of 8 lanes proven" in at.program.crew.get(f"/t/{at.hub}").text
    fail = at.program.crew.post("/api/v1/tests", json=test | {"id": op(), "joined": OPEN_2}).json()
    result = at.program.crew.get(f"/tests/{fail['id']}").text
    assert f'<a href="/t/{at.one}/test?through={at.hub}">{at.one} and {at.hub}</a>, then' in result


def test_a_line_is_scanned_tag_by_tag(at: Inputs) -> None:
    """Each tag leads back to the channel with its code below those before; the last step lays the line."""
    channel = at.add(1)
    there = f"/channels/{channel['id']}"
    scan = re.search(r'href="(/scan\?line_for=[^"]*)"', at.lead.get(there).text)
    for code in (at.one, at.hub, at.trunk):
        assert scan
        assert "Scan the next item of the line" in at.lead.get(scan[1].replace("&amp;", "&")).text
        found = at.lead.get(scan[1].replace("&amp;", "&").replace("/scan", "/find") + f"&code={code}")
        assert found.status_code == 303, found.text
        page = at.lead.get(found.headers["location"]).text
        scan = re.search(r'href="(/scan\?line_for=[^"]*)"', page)
    assert f"{at.one}\n{at.hub}\n{at.trunk}</textarea>" in page


def test_tags_say_the_channels_if_that_is_chosen(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        inputs = Inputs(program)
        inputs.add(1, inputs.one, inputs.hub, inputs.trunk, lane="1")
        inputs.add(2, inputs.two, inputs.hub, inputs.trunk, lane="2")
        inputs.add(4)
        chosen = {"code": [inputs.one, inputs.hub, inputs.spare]}
        plain = program.lead.get("/tags/preview", params=chosen).text
        told = program.lead.get("/tags/preview", params=chosen | {"channels": "yes"}).text
        assert "Ch 1 Source 1" in told
        assert "Ch 1-2" in told
        assert told.count("Ch 1") == 4 + 2  # on both halves of a flag and once on a plate, at both ends
        assert "Ch " not in plain
        pdf = program.lead.get("/tags/sheet.pdf", params=chosen | {"channels": "yes"})
        assert pdf.status_code == 200
