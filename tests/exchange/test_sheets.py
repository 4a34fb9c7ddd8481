"""Sheets in and out through the pages: what becomes of each row is told first, and a bad row never half-writes."""

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from service.exchange.sheets import queries
from service.gear.models import Item, Note, StateChange
from service.store.receipts import Receipt
from service.tags.models import Tag, TagPrint
from service.testlog.housekeeping import verify
from service.testlog.models import FaultRow, Repair, Test
from tests.support.csv_text import read_csv
from tests.support.program import START, Running, op, running
from tests.web.world import world

GEAR = """Name;Cable length (ft);Type;Connector;Location;Bought;Price;Notes;Qty
low end;10;cable;XLR;Marimba 1;10/28/2024;$18.50;from the old case;2
;7'6";;XLR;Rack 2;Oct 2024;;;1
snake;100;snake;DB25;Truck;2023-08-01;289;;1
;;;;;;;;
"""
BAD = GEAR + "x;ten feet;cable;XLR;Marimba 1;;;;1\n"
_HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)">')
_SELECT = re.compile(r'<select id="f-(\w+)".*?</select>', re.DOTALL)
_RADIO = re.compile(r'<input type="radio" name="(\w+)" value="([^"]*)"[^>]*checked')


def fields(html: str) -> dict[str, str]:
    """What the form on a page would send as it stands."""
    found = dict(_HIDDEN.findall(html)) | dict(_RADIO.findall(html))
    for select_ in _SELECT.finditer(html):
        chosen = re.search(r'<option value="([^"]*)" selected', select_[0])
        found[select_[1]] = chosen[1] if chosen else ""
    return found


def post(program: Running, path: str, data: dict[str, str], file: bytes | None = None) -> Any:
    """A form with a file, as a browser sends it."""
    return program.lead.post(path, data=data, files={"file": ("sheet.csv", file or b"")})


def tried(program: Running, text: str, **chosen: str) -> Any:
    """The dry run of a sheet, its columns as guessed; a pass after a fail says of no repair."""
    page = post(program, "/exchange/sheet", {}, text.encode())
    assert page.status_code == 200, page.text
    return post(program, "/exchange/check", fields(page.text) | {"between": "no"} | chosen)


def brought_in(program: Running, text: str, **chosen: str) -> Any:
    """The answer to bringing a sheet in as the dry run says."""
    page = tried(program, text, **chosen)
    assert page.status_code == 200, page.text
    return post(program, "/exchange/import", fields(page.text) | chosen)


def fates(page: Any) -> list[tuple[int, str]]:
    """Each row's line and fate, in the order of the lines."""
    found = re.findall(r"Line (\d+)</span>.*?<span>([A-Z][\w ]+?)</span></span>", page.text, re.DOTALL)
    return sorted((int(line), fate) for line, fate in found)


def count(program: Running, model: Any) -> int:
    """How many rows a table has."""
    with program.store.reading() as db:
        return db.scalar(select(func.count()).select_from(model)) or 0


def test_a_sheet_comes_in_as_its_dry_run_says(program: Running) -> None:
    page = tried(program, BAD)
    assert fates(page) == [(2, "New"), (3, "New"), (4, "New"), (6, "Wrong")]
    assert "length: “ten feet” needs a number and a unit: 10 ft or 3 m." in page.text
    assert count(program, Item) == 0
    refused = post(program, "/exchange/import", fields(page.text))
    assert refused.status_code == 422
    assert "Nothing was brought in" in refused.text
    assert count(program, Item) == count(program, Receipt) == 0
    asked = fields(page.text) | {"bad": "good"}
    done = post(program, "/exchange/import", asked)
    assert done.status_code == 200
    assert "<b>Brought in.</b>" in done.text
    assert (count(program, Item), count(program, TagPrint), count(program, Note)) == (4, 4, 2)
    assert post(program, "/exchange/import", asked).text == done.text  # its receipt
    assert count(program, Item) == 4
    left = post(program, "/exchange/left", fields(done.text))
    assert read_csv(left.text)[1][:2] == ["x", "ten feet"]
    assert fates(tried(program, BAD)) == [(2, "Same"), (3, "Same"), (4, "Same"), (6, "Wrong")]
    more = tried(program, GEAR.replace(";2\n", ";5\n"))  # the rest of a higher number
    assert "2 of them are here already" in more.text
    assert verify(program.store, program.clock.now) == []


def test_what_goes_out_comes_in_the_same_and_changes_what_is_changed(program: Running) -> None:
    brought_in(program, GEAR)
    out = program.lead.get("/exchange/gear.csv").text
    assert {fate for _, fate in fates(tried(program, out))} == {"Same"}
    code = read_csv(out)[1][0]
    sheet = f"Code,Length,Location,Status,Label,Notes\n{code},9 ft,Case 7,broken,=low,new plug\n"
    page = tried(program, sheet)
    assert fates(page) == [(2, "Changed")]
    assert "10 ft becomes 9 ft" in page.text
    brought_in(program, sheet)
    with program.store.reading() as db:
        item = db.scalars(select(Item).join(Tag, Tag.item_id == Item.id).where(Tag.code == code)).one()
        assert (item.length_mm, item.state, item.label) == (2743, "quarantined", "=low")
        assert db.scalars(select(StateChange.reason).order_by(StateChange.id.desc())).first() == (
            "brought in from a sheet"
        )
    assert fates(tried(program, sheet)) == [(2, "Same")]
    assert ",'=low," in program.lead.get("/exchange/gear.csv").text
    back = tried(program, f"Code,Type\n{code},hub\n")
    assert "is a cable here, and a hub in the sheet" in back.text


def test_codes_are_kept_where_they_are_valid_and_free(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Code,Length\n7K3M9U,10 ft\n,5 ft\n")
        with program.store.reading() as db:
            assert "7K3M9U" in db.scalars(select(Tag.code)).all()
            assert "7K3M9U" not in db.scalars(select(TagPrint.code)).all()  # it is on paper already
        page = tried(program, "Code,Length\n7K3M9U,10 ft\n7K3M9V,10 ft\n7K3M9U,9 ft\n")
        assert fates(page) == [(2, "Same"), (3, "Wrong"), (4, "Wrong")]
        assert "7K3M9V is no code" in page.text
        assert "is on line 2 already" in page.text


def test_what_may_be_read_in_two_ways_is_asked(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        sheet = "Name,Length,Bought\na,10,10/6/2024\nb,3 m,10/7/2024\n"
        page = tried(program, sheet)
        assert page.status_code == 422
        assert "may be read in two ways" in page.text
        assert "numbers without a unit" in page.text.lower()
        assert fates(tried(program, sheet, unit="meters", order="day_first")) == [(2, "New"), (3, "New")]
        twice = tried(program, sheet, column0="length")
        assert twice.status_code == 422
        assert "chosen for two columns" in twice.text


def spans(program: Running) -> list[tuple[str, str]]:
    """The places of end A and of end B of every item."""
    with program.store.reading() as db:
        return [(item.place, item.place_b) for item in queries.items(db).values()]


def test_a_new_place_of_end_a_leaves_end_b_where_it_is(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Code,Length,Place,Place B\n7K3M9U,10 ft,Marimba 1,Marimba 2\n")
        page = tried(program, "Code,Place\n7K3M9U,Rack 1\n")
        assert "place: Marimba 1 to Marimba 2 becomes Rack 1 to Marimba 2." in page.text
        brought_in(program, "Code,Place\n7K3M9U,Rack 1\n")
        assert spans(program) == [("Rack 1", "Marimba 2")]
        assert fates(tried(program, "Code,Place,Place B\n7K3M9U,rack 1,\n")) == [(2, "Same")]
        brought_in(program, "Code,Place\n7K3M9U,marimba 2\n")  # where end B is already: both ends are there
        assert spans(program) == [("Marimba 2", "")]
        brought_in(program, "Code,Place,Place B\n7K3M9U,Marimba 2,Rack 1\n")
        assert spans(program) == [("Marimba 2", "Rack 1")]
        brought_in(program, "Code,Place,Place B\n7K3M9U,Marimba 2,marimba 2\n")  # the same twice: the whole item
        assert spans(program) == [("Marimba 2", "")]
        brought_in(program, "Name,Length,Place,Place B\nlow end,3 ft,Rack 4,rack 4\n")
        assert sorted(spans(program)) == [("Marimba 2", ""), ("Rack 4", "")]


def test_a_column_without_a_name_is_offered_and_the_rest_comes_in(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        sheet = "Name,Length,,\nlow end,10 ft,from the old case,\nhigh end,ten,,\n"
        page = post(program, "/exchange/sheet", {}, sheet.encode())
        assert page.status_code == 200
        assert "Column 3" in page.text
        assert "Like: from the old case" in page.text
        assert "Column 4" not in page.text
        done = brought_in(program, sheet, column2="note", bad="good")
        assert "<b>Brought in.</b>" in done.text
        assert (count(program, Item), count(program, Note)) == (1, 1)
        left = post(program, "/exchange/left", fields(done.text))
        assert read_csv(left.text)[0] == ["Name", "Length", "", "Why it stayed out"]


TESTS = """Cable,Date,Result,Problem,Fix
low end,2025-09-01,pass,,
low end,2025-10-01,fail,pin 2 open,
low end,2025-10-05,pass,,
high end,2025-10-01,bad,crackles at the plug,new plug
high end,2025-10-02,ok,,
third,2025-10-03,FAIL,,
"""


def test_a_mains_or_speaker_lead_is_never_brought_in_as_a_cable(sqlite_url: str) -> None:
    sheet = "Name,Kind,Length\nlow end,cable,10 ft\nmain left,Speaker cable NL4,50 ft\nExtension cord 1,,25 ft\n"
    with running(sqlite_url) as program:
        page = tried(program, sheet)
        assert page.text.count("is no microphone wiring") == 2
        assert "never tested with a cable tester" in page.text
        assert fates(page) == [(2, "New"), (3, "Not taken"), (4, "Not taken")]
        done = brought_in(program, sheet)
        assert count(program, Item) == 1
        assert "Speaker cable NL4" in post(program, "/exchange/left", fields(done.text)).text


@pytest.mark.parametrize("heading", ["What", "Description", "Stuff"])
def test_nor_where_a_column_of_another_name_says_so(sqlite_url: str, heading: str) -> None:
    sheet = f"Cable #,{heading},Length\n1,XLR cable,10 ft\n2,speaker cable,50 ft\n3,hub,\n"
    with running(sqlite_url) as program:
        page = tried(program, sheet)
        assert page.text.count("is no microphone wiring") == 1
        assert fates(page) == [(2, "New"), (3, "Not taken"), (4, "New")]


def test_tests_come_in_and_everything_follows(program: Running) -> None:
    brought_in(program, "Name,Length\nlow end,10 ft\nhigh end,10 ft\nthird,10 ft\n")
    page = tried(program, TESTS + "nobody,2025-10-03,pass,,\nthird,2031-01-01,pass,,\nthird,soon,maybe,,\n")
    assert [fate for _, fate in fates(page)] == ["New"] * 6 + ["Wrong"] * 3
    for said in (
        "no item has the code or label “nobody”",
        "is in the future",
        "is no verdict",
        "is not a date",
    ):
        assert said in page.text
    brought_in(program, TESTS)
    with program.store.reading() as db:
        states = dict(db.execute(select(Item.label, Item.state)).all())
        faults = db.execute(select(FaultRow.fault_class, FaultRow.conductor)).all()
        assert db.scalars(select(Repair.what)).all() == ["new plug"]
    assert states == {"low end": "quarantined", "high end": "in_service", "third": "quarantined"}
    assert sorted(map(tuple, faults), key=str) == [
        ("damage", None),
        ("intermittent", None),
        ("open", "2"),
    ]
    assert {fate for _, fate in fates(tried(program, TESTS))} == {"Same"}
    before = count(program, Test)
    brought_in(program, TESTS)
    assert count(program, Test) == before == 6
    out = program.lead.get("/exchange/tests.csv").text
    assert {fate for _, fate in fates(tried(program, out))} == {"Same"}
    assert verify(program.store, program.clock.now) == []


def test_a_pass_after_a_fail_may_say_that_it_was_repaired(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Name,Length\nlow end,10 ft\nhigh end,10 ft\nthird,10 ft\n")
        done = brought_in(program, TESTS, between="yes")
        assert done.status_code == 200
        with program.store.reading() as db:
            states = dict(db.execute(select(Item.label, Item.state)).all())
        assert states == {"low end": "in_service", "high end": "in_service", "third": "quarantined"}


@pytest.mark.slow
def test_the_demo_goes_out_and_comes_in_the_same(tmp_path: Path) -> None:
    with world(tmp_path) as demo:
        program: Any = demo
        program.lead = demo.clients["lead"]
        for name, model in (("gear", Item), ("tests", Test)):
            out = demo.clients["lead"].get(f"/exchange/{name}.csv").text
            page = tried(program, out)
            rows = count(program, model) + (count(program, Repair) if model is Test else 0)
            assert f'<span>Same <span class="num">{rows}</span>' in page.text
            assert "Bring it in" not in page.text
        whole = demo.clients["lead"].get("/exchange/program.json", headers={"Accept-Encoding": "identity"})
        assert whole.headers["content-disposition"].startswith("attachment")
        assert int(whole.headers["content-length"]) == len(whole.content)


def test_no_upload_breaks_it(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        pages = (
            "/exchange/sheet",
            "/exchange/columns",
            "/exchange/check",
            "/exchange/import",
            "/exchange/left",
        )
        good = fields(post(program, "/exchange/sheet", {}, GEAR.encode()).text)

        @settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
        @given(
            st.sampled_from(pages),
            st.binary(max_size=80),
            st.sampled_from(sorted(good)),
            st.text(max_size=20),
        )
        def fuzzed(path: str, content: bytes, field: str, value: str) -> None:
            program.clock.ahead(minutes=1)
            data = good | {field: value.encode("utf-8", "replace").decode(), "op": op()}
            sent = program.lead.post(path, data=data, files={"file": ("a.csv", content)})
            assert sent.status_code < 500, sent.text
            raw = program.lead.post(path, content=content, headers={"Content-Type": "multipart/form-data; boundary=x"})
            assert raw.status_code < 500, raw.text

        fuzzed()
        large = program.lead.post("/exchange/sheet", content=b"x" * 6_000_001)
        assert large.status_code == 413


@pytest.mark.parametrize("role", ["crew", "viewer", "stranger"])
def test_only_leads_bring_in(sqlite_url: str, role: str) -> None:
    with running(sqlite_url) as program:
        sent = getattr(program, role).post("/exchange/sheet", files={"file": ("a.csv", GEAR.encode())})
        assert sent.status_code in (401, 403)
        assert program.clock.now == START


def test_the_dry_run_says_where_new_gear_will_be_and_what_like_it_is_here(sqlite_url: str) -> None:
    """Without a label nothing tells one piece from another: a row that was changed since would be one more."""
    sheet = "Kind,Length,Where,State,Notes\ncable,3 ft,Rack,dead,{}\n"
    with running(sqlite_url) as program:
        assert "Wiring xlr3, at Rack, quarantined." in tried(program, sheet.format("")).text
        brought_in(program, sheet.format(""))
        assert "Same" in tried(program, sheet.format("")).text
        with program.store.reading() as db:
            (code,) = db.scalars(select(Tag.code))
        again = tried(program, sheet.format("from the old case")).text
        assert f"1 like it without a label is here already: {code}. Write the code if it is one of those." in again


def test_a_month_or_a_year_of_purchase_is_its_first_day_and_told(sqlite_url: str) -> None:
    sheet = "Name,Length,Purchased\na,3 m,8/2023\nb,3 m,Aug-23\nc,3 m,2023\n"
    with running(sqlite_url) as program:
        page = tried(program, sheet)
        assert fates(page) == [(2, "New"), (3, "New"), (4, "New")]
        for cell, on in (("8/2023", "2023-08-01"), ("Aug-23", "2023-08-01"), ("2023", "2023-01-01")):
            assert f"“{cell}” is taken as bought on {on}." in page.text


def test_how_gear_looks_is_a_note_and_leaves_its_state(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        sheet = "Name,Length,Condition,Notes\na,3 m,Fair,red tape\nb,3 m,Good,\nc,3 m,mangy,\n"
        page = tried(program, sheet)
        assert fates(page) == [(2, "New"), (3, "New"), (4, "Wrong")]
        assert "“Fair” tells how it looks, so it is kept as a note." in page.text
        assert "“mangy” is no state; write one of in service, spare, quarantined, in repair, retired, lost" in page.text
        assert "or how it looks: good, fair, worn, poor" in page.text
        brought_in(program, sheet, bad="good")
        with program.store.reading() as db:
            assert sorted(db.scalars(select(Note.text))) == ["Condition: Fair", "red tape"]
            assert set(db.scalars(select(Item.state))) == {"in_service"}
        assert fates(tried(program, sheet))[:2] == [(2, "Same"), (3, "Same")]


def test_a_spare_that_works_stays_a_spare(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Code,Length,State\n7K3M9U,10 ft,spare\n")
        assert fates(tried(program, "Code,Condition\n7K3M9U,good\n")) == [(2, "Same")]
        assert fates(tried(program, "Code,Condition\n7K3M9U,poor\n")) == [(2, "Changed")]
        brought_in(program, "Code,Condition\n7K3M9U,poor\n")
        with program.store.reading() as db:
            assert db.scalars(select(Item.state)).all() == ["spare"]
        page = tried(program, "Code,Condition\n7K3M9U,in service\n")
        assert "state: spare becomes in service." in page.text


def test_a_column_that_is_left_out_is_told(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, "Name,Length,Color,Empty,Qty\na,3 m,red,,4 pcs\n")
        assert "Left out of every row: <b>Color</b>." in page.text
        assert "4 × a" in page.text
        assert "Left out of every row" not in tried(program, "Name,Length,Color\na,3 m,\n").text


def test_a_row_with_a_single_cell_may_be_a_heading(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, "Name,Length,Where\nMARIMBAS,,\nlow end,10 ft,Marimba 1\nhigh end,,Marimba 1\n")
        assert fates(page) == [(2, "Not taken"), (3, "New"), (4, "Wrong")]
        assert page.text.count("so it is taken for a heading or a note.") == 1
