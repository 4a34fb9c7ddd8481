"""The gear list, an item's record, and changing what is told of it."""

from typing import Any
from uuid import UUID

import pytest

from service.gear import actions as gear
from service.gear import queries
from service.gear.core import FlagKind, ItemState
from service.gear.models import Item
from service.home.items import queries as items
from tests.support.program import Running, op


def added(program: Running, **facts: Any) -> list[str]:
    """The codes of new items."""
    body = {"id": op(), "kind": "cable", "length": "10 ft"} | facts
    answer = program.lead.post("/api/v1/items", json=body)
    assert answer.status_code == 201, answer.text
    return [item["code"] for item in answer.json()]


def listed(program: Running, **asked: Any) -> list[str]:
    """The codes that the list shows."""
    answer = program.viewer.get("/api/v1/items", params={"limit": 200} | asked)
    assert answer.status_code == 200, answer.text
    return [item["code"] for item in answer.json()["items"]]


def put(program: Running, code: str, state: ItemState, flag: FlagKind | None = None) -> None:
    """Bring an item into a state, and raise a flag on it."""
    item_id = UUID(program.viewer.get(f"/api/v1/items/{code}").json()["id"])
    with program.store.writing() as db:
        gear.change_state(db, db.get_one(Item, item_id), state, None, program.clock.now, "for this test")
        if flag:
            gear.raise_flag(db, item_id, flag, "now", "", None, program.clock.now)


@pytest.mark.parametrize("size", [1, 7, 200])
def test_pages_walk_all_items_once_in_order(program: Running, size: int) -> None:
    made = [
        *added(program, length="25 ft", count=9),
        *added(program, length="10 ft", count=9),
        *added(program, kind="hub", length="", count=3),
        *added(program, kind="trunk", length="100 ft", count=2),
    ]
    seen: list[dict[str, Any]] = []
    after = None
    while True:
        params = {"limit": size} | ({"after": after} if after else {})
        page = program.viewer.get("/api/v1/items", params=params).json()
        assert len(page["items"]) <= size
        seen += page["items"]
        after = page["next"]
        if after is None:
            break
    assert sorted(item["code"] for item in seen) == sorted(made)
    keys = [(item["kind"], item["length_mm"] or 0, item["id"]) for item in seen]
    assert keys == sorted(keys)


def test_the_list_is_narrowed_down(program: Running) -> None:
    [chained] = added(program, place="Frame 1", place_b="Frame 2", label="Marimba 2, low end", batch="F-25")
    [spare] = added(program, place="Case 1", spare=True)
    [hub] = added(program, kind="hub", length="", place="Frame 2")
    put(program, hub, ItemState.QUARANTINED, FlagKind.SUSPECT)
    assert listed(program, kind="hub") == [hub]
    assert listed(program, state="spare") == [spare]
    assert listed(program, flag="suspect") == [hub]
    assert listed(program, flag="at_risk") == []
    assert set(listed(program, place="Frame 2")) == {chained, hub}
    assert listed(program, place="Frame 2", kind="cable") == [chained]
    assert set(listed(program, due="untested")) == {chained, spare, hub}
    assert listed(program, due="overdue") == []


@pytest.mark.parametrize("many", [1, 2000])
def test_few_and_many_of_a_due_state_are_listed_alike(
    program: Running, monkeypatch: pytest.MonkeyPatch, many: int
) -> None:
    monkeypatch.setattr(items, "_MANY", many)
    codes = added(program, count=3)
    assert sorted(listed(program, due="untested")) == sorted(codes)
    assert listed(program, due="blocked") == []


@pytest.mark.parametrize("text", ["marimba 2", "f-25", "frame 9", "CODE", "code", "25 ft", "7.62 m"])
def test_the_search_finds_by_code_label_batch_place_and_length(program: Running, text: str) -> None:
    facts = {"label": "Marimba 2, low end", "batch": "F-25", "place": "Frame 9", "length": "25 ft"}
    [code] = added(program, **facts)
    added(program, length="10 ft", place="Case 1", count=2)
    typed = text.replace("CODE", f"{code[:3]} {code[3:]}".lower()).replace("code", code[:5])
    assert listed(program, q=typed) == [code]
    assert code in program.viewer.get("/gear", params={"q": typed}).text.replace("</span><span>", "")


def test_a_search_takes_no_pattern(program: Running) -> None:
    added(program, label="Low end")
    [percent] = added(program, label="100% new")
    assert listed(program, q="%") == [percent]
    assert listed(program, q="_") == []


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"state": "broken"}, "state"),
        ({"flag": "red"}, "flag"),
        ({"kind": "snake"}, "kind"),
        ({"due": "soon"}, "due"),
        ({"place": "Nowhere"}, "place"),
        ({"after": "x"}, "after"),
        ({"limit": 0}, "limit"),
        ({"limit": 201}, "limit"),
        ({"limit": "all"}, "limit"),
    ],
)
def test_a_wrong_condition_is_told(program: Running, asked: dict[str, Any], field: str) -> None:
    answer = program.viewer.get("/api/v1/items", params=asked)
    assert answer.status_code == 422
    assert [error["field"] for error in answer.json()["errors"]] == [field]


def test_the_list_page_leads_on_with_its_conditions(program: Running) -> None:
    codes = added(program, count=51, spare=True)
    added(program, length="5 ft")
    page = program.viewer.get("/gear", params={"state": "spare"}).text
    more = page.split('rel="next"')[0].rpartition('href="')[2].split('"')[0].replace("&amp;", "&")
    assert more.startswith("/gear?state=spare&after=")
    rest = program.viewer.get(more).text
    assert sum(f'href="/gear/{code}"' in page for code in codes) == 50
    assert sum(f'href="/gear/{code}"' in rest for code in codes) == 1


def test_an_empty_list_says_what_to_do(program: Running) -> None:
    assert "Add the first cable" in program.lead.get("/gear").text
    assert "Your lead adds it" in program.viewer.get("/gear").text
    assert "Nothing meets this" in program.viewer.get("/gear?state=lost").text


def test_the_record_shows_the_whole_item(program: Running) -> None:
    [code] = added(
        program,
        place="Frame 1",
        place_b="Frame 2",
        label="Marimba 2, low end",
        batch="F-25",
        price="18.50",
        bought_on="2025-08-02",
        gauge_awg=24,
    )
    put(program, code, ItemState.QUARANTINED, FlagKind.SUSPECT)
    page = program.viewer.get(f"/gear/{code.lower()}").text
    for shown in (
        "Frame 1",
        "Frame 2",
        "XLR socket",
        "XLR plug",
        "F-25",
        "$18.50",
        "24 AWG",
        "Quarantined",
        "Suspect",
        "for this test",
        "Coilbook",
    ):
        assert shown in page
    assert "Edit the facts" not in page
    assert "Edit the facts" in program.lead.get(f"/gear/{code}").text


def test_the_record_of_a_hub_has_its_lanes(program: Running) -> None:
    [code] = added(program, kind="hub", length="")
    page = program.viewer.get(f"/gear/{code}").text
    assert "25-way D socket" in page
    assert "8 × XLR socket" in page


def test_a_lead_edits_what_is_told(program: Running) -> None:
    [code] = added(program, label="Low end", price="18.50", batch="F-25")
    page = program.lead.get(f"/gear/{code}/edit").text
    assert 'value="18.50"' in page
    typed = {"op": op(), "label": "High end", "price": "20", "bought_on": "2025-08-02", "gauge_awg": "22"}
    assert program.lead.post(f"/gear/{code}/edit", data=typed).status_code == 303
    item = program.viewer.get(f"/api/v1/items/{code}").json()
    told = [item[name] for name in ("label", "price", "bought_on", "gauge_awg", "batch")]
    assert told == ["High end", "20.00", "2025-08-02", 22, ""]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("price", "much"),
        ("bought_on", "2026-09-22"),
        ("gauge_awg", "41"),
        ("label", "x" * 61),
        ("batch", "x" * 61),
    ],
)
def test_a_wrong_edit_is_told_beside_its_field(program: Running, field: str, value: str) -> None:
    [code] = added(program, label="Low end")
    answer = program.lead.post(f"/gear/{code}/edit", data={"op": op(), "label": "Other", field: value})
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text
    assert program.viewer.get(f"/api/v1/items/{code}").json()["label"] == "Low end"


def test_a_lead_moves_an_item_and_its_history_stays(program: Running) -> None:
    [code] = added(program, place="Frame 1")
    for place, place_b in (("Frame 2", "Frame 3"), ("", "")):
        kinds = {"place_kind": "frame", "place_b_kind": "case"}
        data = {"op": op(), "place": place, "place_b": place_b} | kinds
        assert program.lead.post(f"/gear/{code}/place", data=data).status_code == 303
        item = program.viewer.get(f"/api/v1/items/{code}").json()
        assert (item["place"], item["place_b"]) == (place, place_b)
    with program.store.reading() as db:
        placement = queries.placements(db, UUID(item["id"]))
    assert [(row[1], row[2]) for row in placement] == [("Frame 2", "Frame 3"), ("Frame 1", None)]
    wrong = program.lead.post(f"/gear/{code}/place", data={"op": op(), "place": "", "place_b": "Frame 3"})
    assert wrong.status_code == 422
    assert 'id="f-place_b-error"' in wrong.text


def test_crew_note_something_down_once(program: Running) -> None:
    [code] = added(program)
    note = {"op": op(), "text": "Crackles when folded.\r\nWatch <end B>."}
    for _ in range(2):
        assert program.crew.post(f"/gear/{code}/notes", data=note).status_code == 303
    page = program.viewer.get(f"/gear/{code}").text
    assert page.count("Crackles when folded.<br>Watch &lt;end B&gt;.") == 1
    empty = program.crew.post(f"/gear/{code}/notes", data={"op": op(), "text": "  "})
    assert empty.status_code == 422
    assert 'id="f-text-error"' in empty.text


def test_a_code_that_is_none_is_told(program: Running) -> None:
    assert program.viewer.get("/api/v1/items/222222").status_code == 422
    [code] = added(program)
    assert program.viewer.get(f"/gear/{code[:5]}").status_code == 422


def test_who_may_see_and_change_gear(program: Running) -> None:
    [code] = added(program)
    for path in ("/gear", f"/gear/{code}", "/api/v1/items", f"/api/v1/items/{code}"):
        assert program.viewer.get(path).status_code == 200
        assert program.stranger.get(path).status_code == 401
    for path in (f"/gear/{code}/edit", f"/gear/{code}/place"):
        assert program.crew.get(path).status_code == 403
        assert program.crew.post(path, data={"op": op()}).status_code == 403
    assert program.viewer.post(f"/gear/{code}/notes", data={"op": op(), "text": "x"}).status_code == 403
