"""A new kind of gear is one row of `KINDS`: nothing else in the service has to know of it."""

import json
import re
import shutil
from datetime import date
from typing import Any

import pytest
from sqlalchemy import select

from service.gear.core import KINDS, Kind
from service.gear.models import Item
from service.store.sessions import Store
from tests.demo.test_demo import loaded, told
from tests.exchange.test_sheets import brought_in, fates, tried
from tests.home.support import Truck, truck
from tests.support.csv_text import read_csv
from tests.support.demo import demo_file
from tests.support.program import Running, op

PANEL = Kind(
    "panel",
    "patch panel",
    "patch panels",
    has_length=False,
    is_box=True,
    has_flag_tag=False,
    wirings=("xlr3x8", "xlr3x4"),
    test_minutes=7,
    words=r"patch ?panel",
)


@pytest.fixture(autouse=True)
def _panels(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(KINDS, PANEL.name, PANEL)


def add(program: Running, **facts: Any) -> dict[str, Any]:
    """A panel that was added over the API."""
    answer = program.lead.post("/api/v1/items", json={"id": op(), "kind": "panel", "wiring": "xlr3x8"} | facts)
    assert answer.status_code == 201, answer.text
    [item] = answer.json()
    return dict(item)


def test_it_is_added_without_a_length_listed_and_found(program: Running) -> None:
    page = program.lead.get("/gear/new").text
    assert re.search(r'name="kind" value="panel"[^>]*><span>Patch panel</span>', page)
    item = add(program, place="Rack 1")
    assert item["length_mm"] is None or item["length_mm"] == 0
    assert program.viewer.get("/api/v1/items", params={"kind": "panel"}).json()["items"] == [item]
    assert program.viewer.get("/api/v1/items", params={"kind": "hub"}).json()["items"] == []
    listed = program.viewer.get("/gear", params={"kind": "panel"}).text
    assert item["code"][:3] in listed
    assert "Patch panel" in listed
    refused = program.lead.post("/api/v1/items", json={"id": op(), "kind": "panel", "wiring": "xlr3x8", "length": "9"})
    assert refused.status_code == 422


def test_its_tag_page_test_form_and_printed_tag(program: Running) -> None:
    code = add(program, place="Rack 1")["code"]
    assert "Patch panel" in program.crew.get(f"/t/{code}").text
    assert "Patch panel" in program.lead.get(f"/gear/{code}").text
    form = program.crew.get(f"/t/{code}/test")
    assert form.status_code == 200
    assert "Patch panel" in form.text
    tag = program.lead.get("/tags/sheet.pdf", params={"code": code})
    assert tag.status_code == 200
    assert tag.content.startswith(b"%PDF")


def put_on_the_truck(program: Running) -> tuple[Truck, str, str]:
    """A panel that failed, in use, and one that passed, in the case, in a season with an event."""
    at = truck(program, ("vibes", "Frame 1", 10))
    bad, spare = add(program, place="Frame 1"), add(program, place="Spares case", spare=True)
    at.event("Lantern Field", date(2026, 10, 3))
    log(program, spare["code"], "pass")
    log(program, bad["code"], "fail")
    return at, bad["code"], spare["code"]


def log(program: Running, code: str, verdict: str) -> None:
    """A test of a panel: every lane as it should be, or nothing joined at all."""
    good = [[f"A{lane}.{pin}", f"B{lane}.{pin}"] for lane in range(1, 9) for pin in (1, 2, 3)]
    sent = {"id": op(), "item": code, "tested_at": program.clock.now.isoformat(), "method": "two_ended"}
    joined = good if verdict == "pass" else []
    answer = program.crew.post("/api/v1/tests", json=sent | {"joined": joined, "probed": "all", "evidence": []})
    assert answer.status_code == 201, answer.text
    assert answer.json()["verdict"] == verdict


def test_its_tests_pull_list_and_plan(program: Running) -> None:
    _, bad, spare = put_on_the_truck(program)
    [line] = [line for line in program.viewer.get("/api/v1/pull").json()["items"] if line["code"] == bad]
    assert (line["action"], line["spare"]) == ("repair_first", spare)
    assert "Patch panel" in program.lead.get("/buying").text
    assert "7 minutes for a patch panel" in program.lead.get("/plan").text


def test_its_wear_and_the_spares_for_a_trip(program: Running) -> None:
    put_on_the_truck(program)
    sent = {"id": op(), "kind": "panel", "wiring": "xlr3x8", "place": "Frame 1", "count": 12}
    codes = [item["code"] for item in program.lead.post("/api/v1/items", json=sent).json()]
    program.clock.ahead(days=10)
    for number, code in enumerate(codes):
        log(program, code, "fail" if number < 5 else "pass")
    assert "Patch panels" in program.viewer.get("/wear").text
    assert "Panels, Eight three-contact lines (XLR)" in program.lead.get("/spares").text


def test_a_spare_goes_in_for_it(program: Running) -> None:
    _, bad, spare = put_on_the_truck(program)
    answer = program.crew.post("/api/v1/swaps", json={"id": op(), "bad": bad, "spare": spare})
    assert answer.status_code == 201, answer.text
    assert program.viewer.get(f"/api/v1/items/{spare}").json()["place"] == "Frame 1"


@pytest.mark.parametrize("sheet", ["Kind;Name\npatch panel;P1\n", "Item;Length\nPatch panel P1;\n10 ft XLR;10 ft\n"])
def test_a_sheet_that_calls_it_by_its_words_brings_it_in(program: Running, sheet: str) -> None:
    assert (2, "New") in fates(tried(program, sheet))
    assert brought_in(program, sheet).status_code == 200
    with program.store.reading() as db:
        [panel] = db.scalars(select(Item).where(Item.kind == "panel"))
    assert (panel.wiring, panel.length_mm) == ("xlr3x8", 0)
    assert {fate for _, fate in fates(tried(program, sheet))} == {"Same"}


def test_it_goes_out_and_comes_in_again(program: Running) -> None:
    code = add(program, place="Rack 1")["code"]
    text = program.lead.get("/exchange/gear.csv").text
    header, row = read_csv(text)
    assert dict(zip(header, row, strict=True))["kind"] == "panel"
    assert fates(tried(program, text)) == [(2, "Same")]
    whole = program.lead.get("/exchange/program.json")
    assert whole.status_code == 200
    assert code in json.dumps(whole.json())


def test_the_demo_is_the_same_without_one(tmp_path: Any) -> None:
    now = KINDS.pop(PANEL.name)
    before = told(Store(f"sqlite:///{shutil.copy(demo_file(), tmp_path / 'before.db')}"))
    KINDS[PANEL.name] = now
    store: Store = loaded(f"sqlite:///{tmp_path / 'after.db'}")
    assert told(store) == before
