"""Headings of somebody's sheet: guessed where their meaning is plain, left out where it is not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.exchange.sheets.core.columns import guess, is_tests, unit_in
from service.exchange.sheets.core.fields import GEAR, KNOWN, TESTS
from service.exchange.sheets.core.import_options import preview_sheet
from service.exchange.sheets.core.sheet import read_sheet
from service.kit.quantities import Unit


@pytest.mark.parametrize(
    ("header", "fields"),
    [
        (("Name", "Label", "Length"), ("", "label", "length")),
        (
            ("Name", "Cable length (ft)", "Connector", "Location", "Bought", "Price", "Notes", "Qty"),
            ("label", "length", "wiring", "place", "bought_on", "price", "note", "count"),
        ),
        (
            ("#", "Cable Type", "Where is it?", "Purchase Date", "Unit cost", "Condition"),
            ("label", "kind", "place", "bought_on", "price", "state"),
        ),
        (("", "Fjord"), ("", "")),
    ],
)
def test_columns_are_guessed_from_common_words(header: tuple[str, ...], fields: tuple[str, ...]) -> None:
    if header == ("Name", "Label", "Length"):
        assert sorted(guess(GEAR, header)) == ["", "label", "length"]
    else:
        assert guess(GEAR, header) == fields


def test_a_sheet_of_tests_is_told_from_one_of_gear() -> None:
    assert is_tests(("Cable", "Date", "Result", "Problem"))
    assert not is_tests(("Cable", "Length", "Date", "Status"))
    assert guess(TESTS, ("Cable", "Tested on", "Pass/Fail", "Problem", "Fix")) == (
        "code",
        "tested_at",
        "verdict",
        "fault",
        "repair",
    )
    assert unit_in("Length [m]") is Unit.METERS


GEAR_HEADINGS = {
    "label": ("Cable #", "Cable No.", "Item number", "Desc.", "Serial #", "Which cable", "Inv. No.", "Inventory #"),
    "kind": ("Cable type", "Type of cable", "Category"),
    "wiring": ("Conn.", "Connector(s)", "Plug type", "Item connectors"),
    "length": ("Len", "Len.", "Len (ft)", "Length in feet", "Cable len"),
    "gauge_awg": ("Wire size", "Ga.", "AWG #"),
    "place": ("Lives in", "Lives at:", "Loc.", "Location", "Kept in", "Bin #", "Stored where", "Item location"),
    "place_b": ("Goes to", "Runs to", "End B"),
    "batch": ("Mfr.", "Make / Model", "PO #", "Bought from", "Invoice no."),
    "bought_on": ("Purchased", "Date purchased", "Purchase yr.", "Year", "Date of purchase", "When bought"),
    "price": ("Cost", "Cost ea.", "Price paid ($)", "Purchase price", "Item cost"),
    "state": ("Cond.", "Cond", "Status", "Works?", "Good?", "Cable condition"),
    "count": ("Qty", "Qty.", "# of", "No. of cables", "How many?", "Quantity on hand"),
    "note": ("Comments", "Notes / Comments", "Misc.", "Item notes"),
    "": (
        "Tested by",
        "Date tested",
        "Last test date",
        "Repair date",
        "Total cost",
        "Due date",
        "No. of tests",
        "Total length",
        "Color",
        "Cable color",
        "Test status",
        "Needs repair?",
    ),
}
TESTS_HEADINGS = {
    "code": ("Cable #", "Cable No.", "Item", "Which cable?", "Tag #"),
    "tested_at": ("Tested on", "Date", "Date tested", "Test date", "Last tested", "Last test", "Checked on"),
    "verdict": ("P/F", "Pass / Fail?", "Pass or fail", "Result", "Works?", "Cable status", "OK?"),
    "fault": (
        "Problem",
        "What’s wrong",
        "What's wrong?",
        "Whats wrong",
        "What is wrong",
        "Symptoms",
        "Issue",
        "Problem description",
    ),
    "end": ("End", "Bad end", "Which end?"),
    "repair": ("Fix", "Repair", "Repair done", "What was done"),
    "note": ("Comments", "Notes", "Remarks"),
    "": (
        "Tested by",
        "Checked by",
        "Tester",
        "Due date",
        "Next test due",
        "Purchase date",
        "Date repaired",
        "Cable type",
        "Cable length",
        "Needs repair?",
        "Repaired by",
        "How many?",
        "How often",
    ),
}


@pytest.mark.parametrize(("key", "name"), [(key, name) for key, names in GEAR_HEADINGS.items() for name in names])
def test_a_heading_of_gear(key: str, name: str) -> None:
    assert guess(GEAR, (name,)) == (key,)
    assert guess(GEAR, (f"{name.upper()} :",)) == (key,)


@pytest.mark.parametrize(("key", "name"), [(key, name) for key, names in TESTS_HEADINGS.items() for name in names])
def test_a_heading_of_tests(key: str, name: str) -> None:
    assert guess(TESTS, (name,)) == (key,)
    assert guess(TESTS, (f"{name.lower()}.",)) == (key,)


@given(st.lists(st.sampled_from(sorted({name for names in GEAR_HEADINGS.values() for name in names})), unique=True))
def test_each_field_is_guessed_once_at_most(header: list[str]) -> None:
    for fields in (GEAR, TESTS):
        found = [key for key in guess(fields, header) if key]
        assert len(found) == len(set(found))


@given(st.text(max_size=30))
def test_any_heading_is_a_field_or_none(name: str) -> None:
    assert guess(GEAR, (name,))[0] in {"", *(field.key for field in GEAR)}


def test_a_description_is_the_label_where_nothing_else_is() -> None:
    assert guess(GEAR, ("Name", "Description", "Length")) == ("label", "description", "length")
    assert guess(GEAR, ("Desc", "Length")) == ("label", "length")
    assert guess(GEAR, ("Description", "Notes", "Length")) == ("label", "note", "length")


def test_a_tag_that_is_no_code_of_here_is_a_label() -> None:
    def keys(text: str) -> list[str]:
        return [column.key for column in preview_sheet(text).columns]

    assert keys("Tag #,Len\n101,10 ft\n102,10 ft\n") == ["label", "length"]
    assert keys("Tag,Name,Len\n101,low end,10 ft\n") == ["label", "description", "length"]
    assert keys("Code,Name,Len\nXLR-07,low end,10 ft\n") == ["label", "description", "length"]
    assert keys("Code,Len\n1,10 ft\n234679,10 ft\n") == ["label", "length"]
    assert keys("Tag,Len\n101,10 ft\n7K3M9U,10 ft\n") == ["code", "length"]
    assert keys("Code,Len\n7K3M9V,10 ft\n") == [
        "code",
        "length",
    ]  # a wrong character is told, not passed over


def test_a_column_whose_cells_say_what_each_piece_is_tells_its_kind() -> None:
    def keys(text: str) -> list[str]:
        return [column.key for column in preview_sheet(text).columns]

    assert keys("Cable #,What,Len\n1,XLR cable,10 ft\n2,stage box,\n3,speaker cable,25 ft\n") == [
        "label",
        "kind",
        "length",
    ]
    assert keys("Cable #,What,Len\n1,red tape,10 ft\n2,XLR cable,5 ft\n3,blue,5 ft\n") == [
        "label",
        "",
        "length",
    ]
    assert keys("Cable #,Type,What\n1,XLR cable,cable\n") == ["label", "kind", ""]


def test_a_header_is_found_by_headings_in_any_notation() -> None:
    text = "Fernhollow cables 2026,,,\n,,,\nCable #:,Len (ft),Lives in,Cond.\n1,10,rack,good\n"
    assert read_sheet(text, KNOWN).header == ("Cable #:", "Len (ft)", "Lives in", "Cond.")


def test_a_heading_over_two_rows_names_its_column() -> None:
    text = "Cable,,Purchase,,Notes\nNo.,Length,Date,Cost,\n1,10 ft,2024-08-01,18,red tape\n"
    sheet = read_sheet(text, KNOWN)
    assert sheet.header == ("No.", "Length", "Date", "Cost", "Notes")
    assert len(sheet.lines) == 1
    title = "Fernhollow cables,,\n,Name,Length\n1,low end,10 ft\n"
    assert read_sheet(title, KNOWN).header == ("", "Name", "Length")
