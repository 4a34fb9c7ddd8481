"""What tags are printed with: options of the form, sheets of the program's own, its printer, tags of places."""

from typing import Any

import pytest

from service.gear.queries import places
from service.tags import printing, queries
from service.tags.core.printer import Printer
from service.tags.core.sheets import SHEETS
from tests.support.program import BASE, Running, op
from tests.tags.test_printing import item_codes, read, rendered

OWN = {
    "width": "210",
    "height": "297",
    "left": "10",
    "top": "10",
    "label_width": "60",
    "label_height": "30",
    "pitch_x": "65",
    "pitch_y": "30",
    "columns": "2",
    "rows": "9",
    "radius": "1.5",
}


def test_the_page_says_what_the_symbols_will_be_like(program: Running) -> None:
    item_codes(program, 1)
    page = program.lead.get("/tags", params={"sheet": "66.7x25.4"}).text
    assert BASE in page
    assert '<span class="num">15.4 mm</span>' in page
    assert '<span class="num">0.47 mm</span>' in page
    assert "version 2" in page


def test_a_sheet_is_seen_before_it_is_printed(program: Running) -> None:
    codes = item_codes(program, 12)
    ways: dict[str, Any] = {"code": codes, "sheet": "63.5x38.1", "start": "20"}
    page = program.lead.get("/tags/preview", params=ways)
    assert page.status_code == 200
    assert "Page 1 of 3" in page.text
    assert page.text.count("<symbol") == 1
    assert page.text.count('name="code"') >= 12
    assert "Page 3 of 3" in program.lead.get("/tags/preview", params=ways | {"page": 99}).text
    pdf = program.lead.get("/tags/sheet.pdf", params=ways).content
    assert [len(read(image)) for image in rendered(pdf)] == [4, 42, 2]


@pytest.mark.parametrize(
    ("ways", "field", "says"),
    [
        ({"start": "25"}, "start", "labels 1 to 24"),
        ({"start": "x"}, "start", "no whole number"),
        ({"around": "far"}, "around", "no size"),
        ({"around": "500"}, "around", "Measure across"),
        ({"style": "poster"}, "style", "kinds of tags"),
        ({"sheet": "a7"}, "sheet", "no sheet here"),
        ({"style": "wrap"}, "sheet", "Choose labels that are wider along the cable"),
        ({"style": "plate", "around": "6.5"}, "sheet", "Use a flag"),
    ],
)
def test_what_cannot_be_printed_is_told_with_what_was_chosen(
    program: Running, ways: dict[str, str], field: str, says: str
) -> None:
    codes = item_codes(program, 2)
    answer = program.lead.get("/tags/preview", params={"code": codes[:1], **ways})
    assert answer.status_code in (409, 422)
    assert says in answer.text
    assert f'href="#f-{field}"' in answer.text
    assert answer.text.count(" checked") == 1
    assert program.lead.get("/tags/sheet.pdf", params={"code": codes, **ways}).status_code in (409, 422)


def test_one_tag_can_be_printed_again(program: Running) -> None:
    code = item_codes(program, 2)[0]
    program.lead.post("/tags/printed", data={"op": op(), "code": [code]})
    page = program.lead.get("/tags", params={"code": code}).text
    assert page.count('name="code"') == 1
    assert f'value="{code}"' in page


def test_without_an_address_nothing_is_printed_but_all_is_said(program: Running) -> None:
    codes = item_codes(program, 1)
    program.lead.app.state.settings = type(program.lead.app.state.settings)()  # type: ignore[attr-defined]
    assert "COILBOOK_BASE_URL" in program.lead.get("/tags").text
    for way in ("/tags/preview", "/tags/sheet.pdf"):
        answer = program.lead.get(way, params={"code": codes})
        assert answer.status_code == 409
        assert "COILBOOK_BASE_URL" in answer.text


def test_a_sheet_of_ones_own_is_kept_offered_and_removed(program: Running) -> None:
    codes = item_codes(program, 1)
    request = {"op": op()} | OWN
    for _ in range(2):
        assert program.lead.post("/tags/sheets", data=request).status_code == 303
    with program.store.reading() as db:
        [key] = printing.sheets(db).keys() - SHEETS.keys()
        assert printing.sheets(db)[key].name == "60 x 30 mm, 2 x 9"
    assert "60 x 30 mm, 2 x 9" in program.lead.get("/tags/sheets").text
    pdf = program.lead.get("/tags/sheet.pdf", params={"code": codes, "sheet": key}).content
    assert len(read(next(rendered(pdf)))) == 4
    assert program.lead.post(f"/tags/sheets/{key}/end", data={"op": op()}).status_code == 303
    assert "60 x 30" not in program.lead.get("/tags").text
    assert program.lead.post(f"/tags/sheets/{op()}/end", data={"op": op()}).status_code == 404


@pytest.mark.parametrize(
    ("wrong", "field", "says"),
    [
        ({"rows": "10"}, "rows", "labels end 310 mm from the edge, and the paper is 297 mm"),
        ({"pitch_x": "59"}, "pitch_x", "would overlap"),
        ({"label_width": "wide"}, "label_width", "no size"),
        ({"columns": "two"}, "columns", "no whole number"),
        ({"height": ""}, "height", "no size"),
        ({"radius": "16"}, "radius", "half of the label"),
    ],
)
def test_a_sheet_that_cannot_be_is_told_at_its_field(
    program: Running, wrong: dict[str, str], field: str, says: str
) -> None:
    answer = program.lead.post("/tags/sheets", data={"op": op()} | OWN | wrong)
    assert answer.status_code == 422
    assert says in answer.text
    assert f'id="f-{field}-error"' in answer.text
    with program.store.reading() as db:
        assert printing.sheets(db) == SHEETS


def test_the_printer_is_measured_and_every_sheet_corrected(program: Running) -> None:
    codes = item_codes(program, 1)
    before = program.lead.get("/tags/sheet.pdf", params={"code": codes}).content
    assert program.lead.get("/tags/printer.pdf").content.startswith(b"%PDF")
    measured = {"op": op(), "measured_x": "97", "measured_y": "98,5", "right": "1", "down": "-0.5"}
    assert program.lead.post("/tags/printer", data=measured).headers["location"] == "/tags/printer?kept=1"
    with program.store.reading() as db:
        assert printing.printer(db) == Printer(97_000, 98_500, 1_000, -500)
    after = program.lead.get("/tags/sheet.pdf", params={"code": codes}).content
    assert next(rendered(before)).getbbox() == next(rendered(after)).getbbox()
    assert next(rendered(before)).tobytes() != next(rendered(after)).tobytes()
    plain, again = (
        program.lead.get("/tags/printer.pdf", params={"corrected": corrected}).content for corrected in (0, 1)
    )
    assert next(rendered(plain)).tobytes() != next(rendered(again)).tobytes()


def test_a_printer_too_far_off_is_told(program: Running) -> None:
    wrong = {"op": op(), "measured_x": "94", "measured_y": "100", "right": "6"}
    answer = program.lead.post("/tags/printer", data=wrong)
    assert answer.status_code == 422
    for field in ("measured_x", "right"):
        assert f'id="f-{field}-error"' in answer.text
    assert 'value="94"' in answer.text
    with program.store.reading() as db:
        assert printing.printer(db) == Printer()


def test_places_get_tags_that_are_printed_as_plates(program: Running) -> None:
    body = {"id": op(), "kind": "cable", "length": "10 ft", "count": 1, "place": "Frame 1"}
    program.lead.post("/api/v1/items", json=body)
    with program.store.reading() as db:
        [place] = places(db)
    assert str(place.id) in program.lead.get("/tags/places").text
    request = {"op": op(), "place": [str(place.id)]}
    for _ in range(2):
        assert program.lead.post("/tags/places", data=request).status_code == 303
    program.lead.post("/tags/places", data={"op": op(), "place": [str(place.id)]})
    with program.store.reading() as db:
        [(_, code)] = queries.places_with_tags(db)
        assert [tag.code for tag in queries.waiting(db, 9) if not tag.kind] == [code]
    assert f'href="/tags?code={code}"' in program.lead.get("/tags/places").text
    assert "(place)" in program.lead.get("/tags").text
    pdf = program.lead.get("/tags/sheet.pdf", params={"code": code, "style": "flag"}).content
    assert len(read(next(rendered(pdf)))) == 1
    assert program.lead.post("/tags/places", data={"op": op()}).status_code == 422
    assert program.lead.post("/tags/places", data={"op": op(), "place": op()}).status_code == 404


def test_who_may_set_printing_up(program: Running) -> None:
    for path in ("/tags/sheets", "/tags/printer", "/tags/places"):
        assert program.lead.get(path).status_code == 200
        assert program.crew.get(path).status_code == 403
        assert program.crew.post(path, data={"op": op()}).status_code == 403
    for path in ("/tags/preview", "/tags/printer.pdf"):
        assert program.crew.get(path).status_code == 403
