"""Ticking a pull list: what comes out, what goes in, who may, what is refused, and how a tick is taken back."""

import re
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest

from service.gear.core import ItemState
from service.gear.queries import item_facts, place_named
from tests.home.support import Truck, truck
from tests.support.program import Running, op, running
from tests.testlog.support import OPEN_2


class Walk(Truck):
    """A truck, and an event with its list."""

    listed: str

    def lives(self, label: str) -> tuple[str, ItemState]:
        item_id = self.ids[self.tags[label]]
        with self.program.store.reading() as db:
            item = item_facts(db, [item_id])[item_id]
        return item.place, item.state

    def line(self, label: str) -> dict[str, Any]:
        lines = self.program.viewer.get(f"/api/v1/pull?event={self.listed}").json()["items"]
        return next(line for line in lines if line["code"] == self.tags[label])

    def tick(self, label: str, action: str, spare: str | None = None, **more: Any):  # type: ignore[no-untyped-def]
        body = {"op": op(), "item": self.tags[label], "action": action}
        if spare:
            body["spare"] = self.tags[spare]
        return self.program.crew.post(f"/pull/{self.listed}/ticks", data=body | more)


@pytest.fixture
def walk(sqlite_url: str) -> Iterator[Walk]:
    """One broken, one that crackles, one in order; a spare that fits both, and one that is too short."""
    with running(sqlite_url) as program:
        yield made(program)


def made(program: Running) -> Walk:
    at = truck(
        program,
        ("broken", "Frame 1", 10),
        ("shaky", "Frame 2", 10),
        ("good", "Frame 2", 10),
        ("spare", "Spares Case", 10),
        ("short", "Spares Case", 5),
    )
    at.passes("broken", "shaky", "good", "spare", "short")
    at.test(at.tags["broken"], OPEN_2)
    at.suspect("shaky", "crackled")
    found = Walk(at.program, at.ids, at.lead, at.tags, at.season)
    found.listed = str(at.event("Lantern Field", date(2026, 10, 3)))
    return found


def test_a_tick_takes_it_out_and_puts_the_spare_in(walk: Walk) -> None:
    assert walk.line("broken")["spare"] == walk.tags["spare"]
    answer = walk.tick("broken", "repair_first", "spare", why="It failed and is not repaired.")
    assert answer.status_code == 303
    assert walk.lives("broken") == ("", ItemState.QUARANTINED)
    assert walk.lives("spare") == ("Frame 1", ItemState.IN_SERVICE)
    page = walk.program.crew.get(f"/pull/{walk.listed}").text
    assert "1 of 2 done" in page
    assert "Frame 1" in page  # the walk still shows where that was
    line = walk.line("broken")
    assert (line["place"], line["why"], bool(line["done_at"])) == (
        "Frame 1",
        ["It failed and is not repaired."],
        True,
    )


def test_what_is_retired_by_a_tick_is_retired(walk: Walk) -> None:
    assert walk.tick("broken", "retire", "spare", why="Cut down.").status_code == 303
    assert walk.lives("broken") == ("", ItemState.RETIRED)
    assert (
        "Retired by the pull list of Lantern Field. Cut down."
        in walk.program.lead.get(f"/gear/{walk.tags['broken']}").text
    )


def test_without_a_spare_it_keeps_its_place_and_is_repaired_or_bought(walk: Walk) -> None:
    def told() -> tuple[object, str]:
        buy = walk.program.viewer.get(f"/api/v1/pull?event={walk.listed}").json()["buy"]
        page = re.sub("<[^>]*>", "", walk.program.viewer.get("/buying").text)
        return buy, " ".join(page.split())

    assert walk.tick("good", "repair_first").status_code == 303
    assert walk.lives("good") == ("Frame 2", ItemState.QUARANTINED)
    buy, page = told()
    assert buy == []  # it comes back
    assert page.index("Repair them: 2") < page.index(f"good {walk.tags['good'][:3]}")
    assert walk.tick("shaky", "retire").status_code == 303
    buy, page = told()
    assert buy == [{"kind": "cable", "wiring": "xlr3", "length_mm": 3048, "count": 1}]
    assert "1 × 10 ft cable" in page


def test_what_is_seen_to_changes_no_state(walk: Walk) -> None:
    assert walk.tick("shaky", "test_first", "spare").status_code == 303
    assert walk.lives("shaky") == ("Frame 2", ItemState.IN_SERVICE)
    assert walk.lives("spare") == ("Spares Case", ItemState.SPARE)


@pytest.mark.parametrize("action", ["retire", "repair_first"])
@pytest.mark.parametrize("label", ["broken", "good"])
def test_a_tick_taken_back_leaves_all_as_it_was(walk: Walk, label: str, action: str) -> None:
    before = [walk.lives(each) for each in (label, "spare")]
    walk.tick(label, action, "spare")
    page = walk.program.crew.get(f"/pull/{walk.listed}/items/{walk.tags[label]}").text
    (tick,) = re.findall(r"/ticks/([0-9a-f-]+)/undo", page)
    back = walk.program.crew.post(f"/pull/{walk.listed}/ticks/{tick}/undo", data={"op": op()})
    assert back.status_code == 303
    assert [walk.lives(each) for each in (label, "spare")] == before
    assert "0 of" in walk.program.crew.get(f"/pull/{walk.listed}").text
    again = walk.program.crew.post(f"/pull/{walk.listed}/ticks/{tick}/undo", data={"op": op()})
    assert again.status_code == 303  # nothing more happens


def test_what_moved_on_since_is_not_taken_back(walk: Walk) -> None:
    walk.tick("broken", "retire", "spare")
    page = walk.program.crew.get(f"/pull/{walk.listed}/items/{walk.tags['broken']}").text
    (tick,) = re.findall(r"/ticks/([0-9a-f-]+)/undo", page)
    walk.test(walk.tags["spare"], OPEN_2)
    back = walk.program.crew.post(f"/pull/{walk.listed}/ticks/{tick}/undo", data={"op": op()})
    assert back.status_code == 409
    assert f"{walk.tags['spare']} is quarantined by now" in back.text


def test_a_tick_is_not_taken_back_to_a_place_that_was_removed(walk: Walk) -> None:
    walk.tick("broken", "retire", "spare")
    with walk.program.store.reading() as db:
        case = place_named(db, "Spares Case")
    assert case is not None
    for label in set(walk.tags) - {"broken", "spare"}:
        if walk.lives(label)[0] == "Spares Case":
            walk.program.lead.post(f"/gear/{walk.tags[label]}/place", data={"op": op(), "place": "", "place_b": ""})
    assert walk.program.lead.post(f"/places/{case.id}/remove", data={"op": op()}).status_code == 303
    page = walk.program.crew.get(f"/pull/{walk.listed}/items/{walk.tags['broken']}").text
    (tick,) = re.findall(r"/ticks/([0-9a-f-]+)/undo", page)
    back = walk.program.crew.post(f"/pull/{walk.listed}/ticks/{tick}/undo", data={"op": op()})
    assert (back.status_code, "The place Spares Case was removed since" in back.text) == (409, True)


def test_a_phone_sends_ticks_and_may_send_them_twice(program: Running) -> None:
    walk = made(program)
    body = {
        "id": op(),
        "event": walk.listed,
        "item": walk.tags["broken"],
        "action": "repair_first",
        "spare": walk.tags["spare"],
        "why": ["It failed."],
    }
    first = walk.program.crew.post("/api/v1/pull/ticks", json=body)
    assert first.status_code == 201
    told = first.json()
    assert (told["id"], told["item_state"], told["spare_state"], told["already"]) == (
        body["id"],
        "quarantined",
        "in_service",
        False,
    )
    assert walk.program.crew.post("/api/v1/pull/ticks", json=body).json() == told
    other = walk.program.crew.post("/api/v1/pull/ticks", json=body | {"id": op()}).json()
    assert (other["already"], other["spare"]) == (True, walk.tags["spare"])  # somebody else was quicker
    assert walk.program.crew.post("/api/v1/pull/ticks", json=body | {"item": walk.tags["good"]}).status_code == 422


def test_a_spare_that_does_not_fit_is_told_and_may_go_in_anyway(walk: Walk) -> None:
    answer = walk.tick("broken", "repair_first", other=walk.tags["short"])
    assert answer.status_code == 422
    assert f"{walk.tags['short']} is shorter than {walk.tags['broken']}" in answer.text
    assert 'name="anyway"' in answer.text
    assert walk.lives("short") == ("Spares Case", ItemState.SPARE)
    assert walk.tick("broken", "repair_first", other=walk.tags["short"], anyway="yes").status_code == 303
    assert walk.lives("short") == ("Frame 1", ItemState.IN_SERVICE)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"other": "no code"}, "Scan or type one code"),
        ({"action": "burn"}, "out of date"),
        ({"other": "222222"}, "code"),
    ],
)
def test_wrong_input_is_told(walk: Walk, more: dict[str, str], told: str) -> None:
    answer = walk.tick("broken", more.pop("action", "repair_first"), **more)
    assert answer.status_code == 422
    assert told in answer.text
    assert walk.lives("broken") == ("Frame 1", ItemState.QUARANTINED)


def test_a_scan_on_the_walk_leads_to_its_line_and_a_spare_to_the_line_it_goes_in_for(walk: Walk) -> None:
    find = walk.program.crew.get("/find", params={"code": walk.tags["broken"], "pull": walk.listed})
    assert find.headers["location"] == f"/pull/{walk.listed}/items/{walk.tags['broken']}"
    page = walk.program.crew.get(find.headers["location"]).text
    assert "It failed and is not repaired." in page
    goes = walk.program.crew.get(f"/pull/{walk.listed}/items/{walk.tags['spare']}")
    assert goes.status_code == 303
    assert "What you scanned goes in here." in walk.program.crew.get(goes.headers["location"]).text
    assert "Not on this list" in walk.program.crew.get(f"/pull/{walk.listed}/items/{walk.tags['good']}").text
    typed = walk.program.crew.get(f"/pull/{walk.listed}/find", params={"code": walk.tags["good"].lower()})
    assert typed.status_code == 303
    assert walk.program.crew.get(f"/pull/{walk.listed}/find", params={"code": "?"}).status_code == 422
    tag = f"/t/{walk.tags['good']}"
    assert "Scan for the pull list of" not in walk.program.crew.get("/scan").text
    walk.tick("shaky", "test_first")
    assert "Scan for the pull list of Lantern Field" in walk.program.crew.get("/scan").text
    way = f"/pull?item={walk.tags['good']}"
    assert f'href="{way}"' in walk.program.crew.get(tag).text
    assert walk.program.crew.get(way).headers["location"].startswith(f"/pull/{walk.listed}/items/")


def test_a_lead_overrules_a_line_and_the_reason_is_kept_and_shown(walk: Walk) -> None:
    at = f"/pull/{walk.listed}/items/{walk.tags['broken']}/overrule"
    assert walk.program.crew.post(at, data={"op": op(), "action": "watch", "reason": "x"}).status_code == 403
    assert "Say why" in walk.program.lead.post(at, data={"op": op(), "action": "watch"}).text
    assert "Choose what to do" in walk.program.lead.post(at, data={"op": op(), "reason": "so"}).text
    told = {"op": op(), "action": "retire", "reason": "third time this year"}
    assert walk.program.lead.post(at, data=told).status_code == 303
    line = walk.line("broken")
    assert (line["action"], line["overruled"]["reason"]) == ("retire", "third time this year")
    assert "third time this year" in walk.program.crew.get(f"/pull/{walk.listed}").text
    assert walk.program.lead.post(at, data={"op": op(), "action": "decided", "reason": "mended"}).status_code == 303
    assert walk.line("broken")["action"] == "repair_first"
    page = walk.program.viewer.get(f"/pull/{walk.listed}/items/{walk.tags['broken']}").text
    assert "third time this year" in page  # added, never changed
    assert "mended" in page


def test_paper_keeps_what_it_said_and_the_list_tells_what_changed(walk: Walk) -> None:
    assert "it was printed" not in walk.program.crew.get(f"/pull/{walk.listed}").text
    printed = walk.program.crew.post(f"/pull/{walk.listed}/prints", data={"op": op()})
    paper = walk.program.viewer.get(printed.headers["location"]).text
    assert paper.count("<svg") >= 2
    assert "crackled" in paper
    assert "Nothing changed since it was printed" in walk.program.crew.get(f"/pull/{walk.listed}").text
    walk.suspect("good", "hums")
    walk.tick("broken", "repair_first", "spare")
    page = walk.program.crew.get(f"/pull/{walk.listed}").text
    since = re.sub(r"<[^>]*>|\s", "", page[page.index("Since it was printed") : page.index('<h2 id="p1"')])
    assert f"New:{walk.tags['good']}" in since
    assert walk.tags["broken"] not in since
    assert "hums" not in walk.program.viewer.get(printed.headers["location"]).text


def test_the_csv_has_every_line(walk: Walk) -> None:
    walk.suspect("good", "=cmd()")
    answer = walk.program.viewer.get(f"/pull/{walk.listed}/list.csv")
    assert answer.headers["content-disposition"] == 'attachment; filename="pull-list-2026-10-03.csv"'
    assert all(walk.tags[label] in answer.text for label in ("broken", "shaky", "good"))
    assert "\n=" not in answer.text


def test_an_event_whose_list_was_worked_with_stays(walk: Walk) -> None:
    walk.tick("shaky", "watch")
    answer = walk.program.lead.post(f"/season/events/{walk.listed}/drop", data={"op": op()})
    assert answer.status_code == 409
    assert "stays in the book" in answer.text


def test_thresholds_and_trip_are_kept_within_bounds(walk: Walk) -> None:
    lead, page = walk.program.lead, walk.program.lead.get("/pull/limits").text
    fields = dict(re.findall(r'name="(\w+)" type="text" value="([^"]+)"', page))
    assert (fields["risk_percent"], fields["repair_cents"]) == ("10", "6.00")
    for name, wrong in (
        ("risk_percent", "0"),
        ("life_years", "ten"),
        ("repair_cents", "-1"),
        ("repeat_fails", "9"),
    ):
        answer = lead.post("/pull/limits", data={"op": op()} | fields | {name: wrong})
        assert answer.status_code == 422
        assert f'id="f-{name}-error"' in answer.text
    kept = lead.post("/pull/limits", data={"op": op()} | fields | {"risk_percent": "35", "repair_cents": "12"})
    assert kept.status_code == 303
    assert 'value="35"' in lead.get("/pull/limits").text
    trip = {"op": op(), "days": "2", "percent": "90", "budget": "50"}
    assert 'id="f-percent-error"' in lead.post("/spares", data=trip | {"percent": "100"}).text
    assert lead.post("/spares", data=trip).status_code == 303
    assert "you want 90 %" in walk.program.viewer.get("/spares").text


def test_prices_default_to_the_newest_purchase_until_a_lead_sets_them(walk: Walk) -> None:
    lead = walk.program.lead
    new = {
        "id": op(),
        "kind": "cable",
        "wiring": "xlr3",
        "length": "10 ft",
        "place": "Frame 1",
        "price": "21.00",
    }
    assert lead.post("/api/v1/items", json=new | {"bought_on": "2026-09-01"}).status_code == 201
    older = new | {"id": op(), "price": "17.00", "bought_on": "2025-09-01"}
    assert lead.post("/api/v1/items", json=older).status_code == 201
    assert 'value="$21.00"' in lead.get("/prices").text
    answer = lead.post("/prices", data={"op": op(), "cable.xlr3.3048": "much"})
    assert answer.status_code == 422
    assert "not an amount" in answer.text
    assert lead.post("/prices", data={"op": op(), "cable.xlr3.3048": "23.50"}).status_code == 303
    assert 'value="$23.50"' in lead.get("/prices").text
    walk.tick("good", "retire")
    text = walk.program.viewer.get("/buying.csv").text
    assert "cable,Three-contact audio (XLR),10 ft,1," in text
    assert "23.50" in text
