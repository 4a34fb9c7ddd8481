"""What somebody's own spreadsheet has beside its gear: a row comes in as what it says, or it stays out and says why."""

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from service.exchange.sheets.core.header import find_header
from service.exchange.sheets.core.other_gear import other_gear, other_wiring, range_in, unclear_plug
from service.exchange.sheets.core.sheet import read_bytes, read_sheet
from service.exchange.sheets.queries import items
from service.gear.models import Item
from tests.exchange.test_sheets import brought_in, count, fates, fields, post, tried
from tests.support.program import Running, running

HEAD = "Name,Length,Kind,Place,Qty\n"
NOT_GEAR = [
    ("DI box", "box"),
    ("Tool box", "box"),
    ("Drum box", "box"),
    ("Mic stand boom", "boom"),
    ("Cable tester", "tester"),
    ("Mic clip", "clip"),
    ("XLR Y-cable", "a Y-cable"),
    ("TS instrument cable", "two contacts"),
    ("Guitar cable", "two contacts"),
    ("Insert cable", "an insert cable"),
    ("1/4 inch cable", "quarter-inch plug"),
    ("Ethernet cable", "connectors that no cable here has"),
    ("RJ45 patch cable", "connectors that no cable here has"),
    ("XLR 5-pin cable", "four pins or more"),
    ("XLR male to male", "two like ends"),
    ("3.5 mm aux cable", "small plugs"),
    ("Network hub", "hub"),
    ("Ethernet switch", "switch"),
    ("HDMI cable", "no microphone wiring"),
    ("XLR to bare wire", "an open end"),
    ("BNC cable", "other connectors"),
    ("XLR turnaround", "turnaround"),
    ("cable ties", "cable ties"),
    ("Total", "is a total"),
    ("Subtotal:", "is a total"),
    ("GRAND TOTAL", "is a total"),
    ("Cable total", "is a total"),
    ("XLRF-XLRF", "two like ends"),
    ("TRS to XLR male", "to an XLR plug"),
    ("Mic cable #1-8", "may be 8 pieces"),
    ("XLR 1-8", "may be 8 pieces"),
    ("XLR-01 to XLR-04", "may be 4 pieces"),
]


def said_of(page: Any, line: int) -> str:
    """All that the dry run says of a row."""
    found = re.search(rf"Line {line}</span>(.*?)</li>", page.text, re.DOTALL)
    assert found, page.text
    return re.sub(r"<[^>]+>", " ", found[1])


def test_what_is_not_surely_gear_of_here_is_not_taken_and_says_why(sqlite_url: str) -> None:
    """In each column that tells what a piece is, with a length and without one."""
    with running(sqlite_url) as program:
        for form in ("{},10 ft,,Rack 1,\n", "{},,,Rack 1,\n", "7,10 ft,{},Rack 1,\n"):
            rows = [form.format(name) for name, _ in NOT_GEAR]
            rows = [row for row in rows if not (row.startswith("7,") and re.search(r"#|-01|1-8", row))]
            page = tried(program, HEAD + "low end,10 ft,cable,Rack 1,\n" + "".join(rows))
            assert fates(page) == [(2, "New"), *((line, "Not taken") for line in range(3, 3 + len(rows)))], form
            for line, (_, why) in enumerate(NOT_GEAR[: len(rows)], 3):
                assert why in said_of(page, line)
        assert count(program, Item) == 0
        done = brought_in(program, HEAD + "low end,10 ft,cable,Rack 1,\n" + "".join(rows))
        assert count(program, Item) == 1
        left = post(program, "/exchange/left", fields(done.text))
        assert left.text.count("\n") == 1 + len(rows)
        # A row with a code renames what is here; with a free code it is new gear, and as unsure as without one.
        with program.store.reading() as db:
            (item,) = items(db).values()
        code = re.search(r"^(\w{6}),", program.lead.get("/exchange/gear.csv").text.split("\n")[1])
        assert code
        page = tried(program, f"Code,Name,Length\n{code[1]},DI box,\n7K3M9U,Tool box,3 ft\n")
        assert fates(page) == [(2, "Changed"), (3, "Not taken")]
        assert item.label == "low end"


GEAR = [
    ("Snare mic", "10 ft", "cable", "xlr3"),
    ("Rack 2 tie line", "10 ft", "cable", "xlr3"),
    ("Mic cable, spare box", "10 ft", "cable", "xlr3"),
    ("XLR to TRS", "3 m", "cable", "xlr3-to-trs"),
    ("Stage box", "", "hub", "d25-to-xlr8"),
    ("8 channel box", "", "hub", "d25-to-xlr8"),
    ("Marimba 1-2", "10 ft", "cable", "xlr3"),
    ("Hub D25", "", "hub", "d25-to-xlr8"),
    ("Cat 5 snake", "50 ft", "trunk", "8p8c"),
    ("Cable to the DI box", "10 ft", "cable", "xlr3"),
    ("Balanced 1/4 cable", "10 ft", "cable", "trs"),
]


def test_what_is_gear_comes_in_as_that(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        sheet = "Name,Length,Place\n" + "".join(f'"{name}",{length},Rack 1\n' for name, length, _, _ in GEAR)
        brought_in(program, sheet, item_kind="cable")
        with program.store.reading() as db:
            found = {
                label: (kind, wiring) for label, kind, wiring in db.execute(select(Item.label, Item.kind, Item.wiring))
            }
        assert found == {name: (kind, wiring) for name, _, kind, wiring in GEAR}


MESS = """Fernhollow cables,,,,,
Fall season,,,,,

Name,Length (ft),Kind,Place,Qty,Price
TRUCK 2 SHELF B,,,,,
low end,10,cable,Rack 1,4,€ 12.50
mid,5½,cable,,a dozen,"18,50 $"
high,#REF!,cable,Rack 2,1,
,,,,,
Subtotal,16,,,16,
Name,Length (ft),Kind,Place,Qty,Price
chimes,N/A,hub,-,1,?
bells,7 1/2,cable,-,some,
,220,,,16,
Note: the 10 ft XLR cable goes to the truck.,,,,,
Total cables,,,,33,

Event,Date,Bus,,,
Regional,2026-10-10,2,,,
"""


THINGS = ("XLR cable", "fog juice", "drum throne", "rope", "cable tray", "fire wire", "low end", "Snare mic")
SURE = {"XLR cable", "Snare mic"}


@pytest.mark.parametrize("column", ["Item", "Description", "Gear", "Item description", "Type"])
def test_where_things_are_described_only_what_says_that_it_is_a_cable_is_one(sqlite_url: str, column: str) -> None:
    sheet = f"{column},Length,Place\n" + "".join(f"{thing},6 ft,Rack\n" for thing in THINGS)
    with running(sqlite_url) as program:
        page = tried(program, sheet)
        taken = {thing for line, thing in enumerate(THINGS, 2) if (line, "New") in fates(page)}
        assert taken == SURE - ({"Snare mic"} if column == "Type" else set())
        if column != "Type":
            assert "“rope” does not say that it is a cable, a hub or a trunk" in said_of(page, 5)
            assert "with --kind" in said_of(page, 5)
            # The answer to the question about all such rows.
            said = tried(program, sheet, item_kind="cable")
            assert {thing for line, thing in enumerate(THINGS, 2) if (line, "New") in fates(said)} == set(THINGS)


def test_names_are_no_descriptions_until_they_are_more_than_names(sqlite_url: str) -> None:
    rows = "low end,10 ft\nmarimba,10 ft\n"
    with running(sqlite_url) as program:
        assert fates(tried(program, f"Name,Length\n{rows}")) == [(2, "New"), (3, "New")]
        assert fates(tried(program, f"Cable,Length\n{rows}")) == [(2, "New"), (3, "New")]
        more = tried(program, f"Name,Length\n{rows}Mic stand,3 ft\n")
        assert fates(more) == [(line, "Not taken") for line in (2, 3, 4)]
        most = tried(program, "Name,Length\nXLR 1,10 ft\nXLR 2,10 ft\nrope,50 ft\n")
        assert fates(most) == [(2, "New"), (3, "New"), (4, "Not taken")]
        kinds = tried(program, "Name,Kind,Length\na,cable,10 ft\nrope,,10 ft\nXLR 3,,10 ft\n")
        assert fates(kinds) == [(2, "New"), (3, "Not taken"), (4, "New")]
        several = tried(program, "Name,Kind,Length\na,cable/hub,10 ft\nb,not a cable,10 ft\n")
        assert fates(several) == [(2, "Not taken"), (3, "Not taken")]


SECTIONS = """Name,Length,Place
XLR CABLES,,
#1,10 ft,Rack
SPEAKER CABLES,,
#3,25 ft,Rack
DB25 snakes:,,

#4,50 ft,Rack
Stage boxes,,
H1,,Rack
LIGHTING,,
par can,3 ft,Rack
XLR CABLES,,
#5,10 ft,Rack

fog,3 ft,Rack
"""


def test_a_heading_says_what_is_below_it(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, SECTIONS)
        taken = [line for line, fate in fates(page) if fate == "New"]
        assert taken == [3, 8, 10, 14]
        assert "“SPEAKER CABLES” is no microphone wiring" in said_of(page, 5)
        assert "“fog” does not say" in said_of(page, 16)
        brought_in(program, SECTIONS)
        with program.store.reading() as db:
            found = {
                label: (kind, wiring) for label, kind, wiring in db.execute(select(Item.label, Item.kind, Item.wiring))
            }
        assert found == {
            "#1": ("cable", "xlr3"),
            "#4": ("trunk", "d25x8"),
            "H1": ("hub", "d25-to-xlr8"),
            "#5": ("cable", "xlr3"),
        }


def test_several_pieces_never_come_in_as_one(sqlite_url: str) -> None:
    names = (
        "3 x XLR cable",
        "XLR cable x3",
        "(4) XLR cables",
        "XLR cables",
        "two mic cables",
        "6 each mic cables",
        "pair of XLR cables",
        "XLR cable - qty 5",
        "10 ft XLR (x4)",
        "2x50 ft XLR",
    )
    sheet = "Item,Length\n" + "".join(f"{name},10 ft\n" for name in names)
    with running(sqlite_url) as program:
        page = tried(program, sheet)
        assert {fate for _, fate in fates(page)} == {"Not taken"}
        assert "“3 x XLR cable” may be 3 pieces" in said_of(page, 2)
        assert "“XLR cables” is of several pieces" in said_of(page, 5)
        assert "“two mic cables” may be 2 pieces" in said_of(page, 6)
        told = "Item,Length,Qty\n" + "".join(f"{name},10 ft,2\n" for name in names)
        assert {fate for _, fate in fates(tried(program, told))} == {"New"}


def test_marks_for_the_cell_above_and_places_that_are_none_are_refused(sqlite_url: str) -> None:
    rows = 'a,cable,10 ft,Rack\n"""",cable,10 ft,Rack\nb,ditto,10 ft,Rack\nc,cable,10 ft,LOST\nd,cable,10 ft,trash\n'
    with running(sqlite_url) as program:
        page = tried(program, "Name,Kind,Length,Place\n" + rows)
        assert fates(page) == [(2, "New"), *((line, "Wrong") for line in (3, 4, 5, 6))]
        assert "“ditto” stands for the cell above it" in said_of(page, 4)
        assert "“LOST” is where nothing is kept" in said_of(page, 5)


def test_a_volunteers_sheet_row_by_row(program: Running) -> None:
    page = post(program, "/exchange/sheet", {}, MESS.encode())
    asked = post(program, "/exchange/check", fields(page.text))
    assert asked.status_code == 422
    assert "Line 7 has no place, and “Rack 1” stands above it." in asked.text
    page = tried(program, MESS, above="same")
    assert dict(fates(page)) == {
        1: "Left out",
        2: "Left out",
        5: "Not taken",
        6: "Wrong",
        7: "New",
        8: "Wrong",
        10: "Not taken",
        11: "Left out",
        12: "New",
        13: "Wrong",
        14: "Not taken",
        15: "Not taken",
        16: "Not taken",
        18: "Not taken",
        19: "Not taken",
    }
    for line, why in (
        (6, "in another currency"),
        (7, "12 × mid"),
        (7, "at Rack 1"),
        (7, "“Rack 1” is a new place, an"),
        (8, "where a formula has no value"),
        (10, "It is a total"),
        (11, "names the columns once more"),
        (12, "at no place yet"),
        (13, "is no number of pieces"),
        (14, "Only numbers stand"),
        (15, "heading or a note"),
        (18, "It names other columns"),
        (19, "under the names of columns of line 18"),
    ):
        assert why in said_of(page, line)
    assert post(program, "/exchange/import", fields(page.text)).status_code == 422
    assert count(program, Item) == 0
    done = brought_in(program, MESS, above="same", bad="good")
    assert count(program, Item) == 13
    with program.store.reading() as db:
        assert {(item.label, item.length_mm, item.place) for item in items(db).values()} == {
            ("mid", 1676, "Rack 1"),
            ("chimes", 0, ""),
        }
    left = post(program, "/exchange/left", fields(done.text)).text
    assert left.count("\n") == 11
    assert "TRUCK 2 SHELF B" in left
    assert {fate for line, fate in fates(tried(program, MESS, above="same")) if line in (7, 12)} == {"Same"}


def test_a_sheet_of_tests_has_such_rows_too(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Name,Length\nlow end,10 ft\n")
        page = tried(
            program,
            "Tests of the fall,,\nCable,Date,Result\nlow end,2025-09-01,pass\nRound 2,,\nCable,Date,Result\n"
            "low end,2025-10-01,pass\nTotal passed,,2\n",
        )
        assert fates(page) == [
            (1, "Left out"),
            (3, "New"),
            (4, "Not taken"),
            (5, "Left out"),
            (6, "New"),
            (7, "Not taken"),
        ]


def test_a_pass_of_a_fault_is_asked_about(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Name,Length\na,10 ft\n")
        page = tried(
            program,
            "Cable,Date,Result,Problem,Repair\na,2025-09-01,pass,pin 2 open,\na,2025-09-02,pass,crackles,\n"
            "a,2025-09-03,pass,works fine,\na,2025-09-04,pass,none,\na,2025-09-05,pass,pin 2 open,new plug\n"
            "a,#REF!,pass,,\n〃,2025-09-07,pass,,\n",
        )
        assert fates(page) == [
            (2, "Wrong"),
            (3, "Wrong"),
            (4, "New"),
            (5, "New"),
            (6, "New"),
            (7, "Wrong"),
            (8, "Wrong"),
        ]
        assert "“pin 2 open” is a fault, and the verdict is a pass" in said_of(page, 2)
        assert "where a formula has no value" in said_of(page, 7)
        assert "stands for the cell above it" in said_of(page, 8)


DOUBTED = [
    ("mic cable (bad),cable,10 ft,,", "and no cell tells its state"),
    ("mic,cable,10 ft,,sold 2023", "and no cell tells its state"),
    ("XLR 5 DO NOT USE,cable,10 ft,,", "and no cell tells its state"),
    ("a,hub,,trs,", "connectors that no hub here has"),
    ("b,cable,10 ft,d25x8,", "connectors that no cable here has"),
    ("Snake 2,cable,50 ft,,", "a trunk. Write into"),
    ("c,wheel hub,,,", "no kind of gear here"),
    ("fog,,10 ft,,", "does not say"),
    ("XLR?,,10 ft,,", "does not say"),
    ("not XLR,,10 ft,,", "does not say"),
    ("12 way multicore,,25 ft,,", "says 12 channels"),
]


def test_what_contradicts_itself_is_asked_about(sqlite_url: str) -> None:
    sheet = "Name,Kind,Length,Wiring,Note\nlow end,cable,10 ft,,bought second-hand\nd,hub cable,10 ft,,\n"
    with running(sqlite_url) as program:
        page = tried(program, sheet + "".join(f"{row}\n" for row, _ in DOUBTED))
        assert fates(page) == [
            (2, "New"),
            (3, "New"),
            *((line, "Not taken") for line in range(4, 4 + len(DOUBTED))),
        ]
        for line, (_, why) in enumerate(DOUBTED, 4):
            assert why in said_of(page, line)
        assert "d, 10 ft cable" in said_of(page, 3)


def test_tables_below_each_other_are_told_apart(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, "XLR cables,Length,Qty\nblack,10 ft,3\nSNAKES,Length,Qty\n8 ch,50 ft,1\n")
        assert fates(page) == [(2, "New"), (3, "Not taken"), (4, "Not taken")]
        assert "It names other columns than the first row does" in said_of(page, 3)
        assert "a, 10 ft" not in tried(program, "Snakes,Length\na,50 ft\n").text


def test_a_first_row_of_gear_is_no_header(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        for sheet in (
            "low end,10 ft,Rack 1\nhigh end,25 ft,Rack 2\n",
            "low end,cable,10 ft\nhigh end,cable,25 ft\n",
        ):
            page = post(program, "/exchange/sheet", {}, sheet.encode())
            assert "No row seems to name the columns" in page.text
            assert "Like: low end · high end" in page.text
            asked = post(program, "/exchange/check", fields(page.text))
            assert "No column is “Length”. Choose the one that is." in asked.text
            length = "column1" if "Rack" in sheet else "column2"
            page = tried(program, sheet, column0="label", **{length: "length"})
            assert fates(page) == [(1, "New"), (2, "New")]


@pytest.mark.parametrize(
    ("text", "header"),
    [
        ("Bezeichnung;Länge;Ort\nBass;3 m;Regal 1\nHoch;5 m;Regal 1\n", 0),
        ("Inventory;;\nName;Qty;\nx;2;\n", 1),
        ("Hub 1;stage box\nHub 2;stage box\n", None),
        ("10 ft XLR\n25 ft XLR\n", None),
        ("Name;2025;2026\nx;pass;fail\n", 0),
        ("low;10;Rack\nmid;5;Case\n", None),
        ("Cable\nlow end\n", 0),
    ],
)
def test_which_row_names_the_columns(text: str, header: int | None) -> None:
    rows = [tuple(line.split(";")) for line in text.splitlines()]
    assert find_header(rows, {"name", "qty", "cable", "case", "rack", "length", "place"}) == header


def test_cells_that_were_merged_are_asked_for_and_never_passed_over(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        sheet = "Name,Kind,Wiring,Length,Place\na,trunk,DB25,9 m,Rack 1\nb,,,9 m,\nc,cable,XLR,3 m,Rack 2\nd,,,3 m,\n"
        page = tried(program, sheet, above="none")
        assert fates(page) == [(2, "New"), (3, "Not taken"), (4, "New"), (5, "Not taken")]
        page = tried(program, sheet, above="none", item_kind="cable")
        assert fates(page) == [(2, "New"), (3, "Not taken"), (4, "New"), (5, "New")]
        assert "it would be taken for cable; above it stands trunk" in said_of(page, 3)
        assert "at no place yet" in said_of(page, 5)
        assert "at Rack 2" in said_of(tried(program, sheet, above="same", item_kind="cable"), 5)
        wiring = "Name,Kind,Wiring,Length\na,trunk,DB25,50 ft\nb,trunk,,25 ft\n"
        assert fates(tried(program, wiring)) == [(2, "New"), (3, "Not taken")]
        brought_in(program, sheet, above="none", bad="good")
        assert "above" not in fields(tried(program, program.lead.get("/exchange/gear.csv").text).text).get("above", "")


def test_columns_of_one_name_and_smaller_measures(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        page = tried(program, "Name,Length,Length\na,10 ft,3 ft\n")
        assert "Several columns are called “Length” and say different things." in page.text
        twice = "Name,Name,Length\na,b,10 ft\n"
        assert "Several columns are called “Name”" in tried(program, twice).text
        assert fates(tried(program, twice, column0="label")) == [(2, "New")]
        assert fates(tried(program, "Name,Length,Length\na,10 ft,\n")) == [(2, "New")]
        page = tried(program, "Name,Length (in)\na,120\n")
        assert "a, 10 ft cable" in page.text
        shifted = tried(program, "Name,Length (m),Place,Note\na,10,5 ft,Rack\n")
        assert "“5 ft” is a length. Is a comma inside a cell before it?" in shifted.text


def test_numbers_of_days_ticks_and_words_for_counts(sqlite_url: str) -> None:
    rows = "a,3 m,45571,✓,a dozen\nb,3 m,20241006,✗,two\nc,3 m,,x,1\nd,3 m,N/A,n/a,~4\ne,3 m,,,0\n"
    sheet = f"Name,Length,Bought,Works,Qty\n{rows}"
    with running(sqlite_url) as program:
        page = tried(program, sheet)
        assert fates(page) == [(2, "New"), (3, "New"), (4, "Wrong"), (5, "Wrong"), (6, "Not taken")]
        # 45571 days after 1899-12-30, as spreadsheets count (ECMA-376 part 1, 18.17.4.1; from memory)
        assert "“45571” is a spreadsheet's number for the day 2024-10-06." in page.text.replace("&#39;", "'")
        assert "12 × a" in said_of(page, 2)
        assert "quarantined" in said_of(page, 3)
        assert "“x” may mean good or bad" in said_of(page, 4)
        assert "is no number of pieces" in said_of(page, 5)


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "utf-16", "utf-8-sig"])
@pytest.mark.parametrize("separator", ["|", "\t", ";"])
def test_sheets_of_any_encoding_and_separator(encoding: str, separator: str) -> None:
    text = separator.join(("Name", "Length", "Place")) + "\r\n" + separator.join(("low end", "10 ft", "Rack"))
    assert read_sheet(read_bytes(text.encode(encoding)), {"name"}).lines[0].cells == (
        "low end",
        "10 ft",
        "Rack",
    )


@given(st.text(max_size=80))
def test_any_words_are_other_gear_or_not(words: str) -> None:
    for read in (other_gear, other_wiring, unclear_plug, range_in):
        read(words)
