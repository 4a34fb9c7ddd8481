"""Cells and columns of sheets: read where the meaning is plain, asked where it is not, never a crash."""

import re
from collections.abc import Callable
from contextlib import suppress
from datetime import date, time

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from service.exchange.sheets.core import cells
from service.exchange.sheets.core.columns import unit_in
from service.exchange.sheets.core.connectors import kind_in, no_microphone_in, wiring_in
from service.exchange.sheets.core.days import (
    AmbiguousDate,
    Day,
    Order,
    first_ambiguous,
    order_of,
    read_day,
    read_moment,
    read_time,
)
from service.exchange.sheets.core.faults import interpret_words
from service.exchange.sheets.core.import_options import preview_sheet
from service.exchange.sheets.core.sheet import pack, read_bytes, read_sheet, tidy, unpack
from service.exchange.sheets.core.states import StateCell, read_state
from service.gear.core import End, ItemState
from service.kit.csvs import write_csv
from service.kit.problems import Invalid
from service.kit.quantities import LONGEST_MM, Unit, parse_length
from service.kit.text import plain
from service.testlog.core import Evidence
from service.wiring.builtin import BUILTIN
from service.wiring.faults import EVIDENCE_CLASSES, ByEvidence, Fault, FaultClass
from service.wiring.naming import title
from tests.support.examples import examples


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("10ft XLR", (3048, "10ft")),
        ("XLR M-F, 25'", (7620, "25'")),
        ("Cat5 trunk, 30 m", (30000, "30 m")),
        ("mic cable 7'6\" black", (2286, "7'6\"")),
        ("10-ft patch", (3048, "10-ft")),
        ("2.5 m lead", (2500, "2.5 m")),
        ("7 ft 6 in, black", (2286, "7 ft 6 in")),
        ("10 ft 8 channels", (3048, "10 ft")),
        ("10 ft, or 10ft", (3048, "10ft")),
        ("10 ft or 12 ft", None),
        ("XLR 3 M-F", None),
        ("3 m to f", None),
        ("3 M/F", None),
        ("1/4 m", None),
        ("16x4 m", None),
        ("8 channel hub", None),
        ("A-10ft", None),
        ("999 m of it", None),
        ("0 ft", None),
        ("", None),
    ],
)
def test_a_length_within_words(words: str, told: tuple[int, str] | None) -> None:
    assert cells.length_in(words) == told


LENGTHS = (
    st.builds("{} ft".format, st.integers(1, 820))
    | st.builds("{}'{}\"".format, st.integers(1, 800), st.integers(1, 11))
    | st.builds("{}.{} m".format, st.integers(1, 249), st.integers(0, 9))
)


@given(LENGTHS, st.sampled_from(["{} XLR cable", "mic cable, {}", "XLR ({})", "{}", "trunk {}; black"]))
def test_any_length_is_found_within_words(written: str, form: str) -> None:
    assert cells.length_in(form.format(written)) == (parse_length(written), written)


LIKELY = st.text(alphabet="0123456789/-., :'\"apmftinOctday;\t\n$€#" + "é½²\u200b٣", max_size=24)


@given(LIKELY)
def test_any_words_tell_a_length_or_none(words: str) -> None:
    found = cells.length_in(words)
    assert found is None or (0 < found[0] <= LONGEST_MM and found[1] in plain(words).lower())


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("10'", None, 3048),
        ("10 ft", None, 3048),
        ("3 m", None, 3000),
        ("7'6\"", None, 2286),
        ("10-ft", None, 3048),
        ("10", Unit.FEET, 3048),
        ("3,5", Unit.METERS, 3500),
        ("10 ft", Unit.METERS, 3048),
    ],
)
def test_lengths(text: str, unit: Unit | None, mm: int) -> None:
    # an inch is 25.4 mm: the international yard and pound agreement of 1959 (from memory)
    assert cells.read_length(text, unit) == mm


@pytest.mark.parametrize(
    ("text", "said"), [("ten feet", "needs a number and a unit: 10 ft or 3 m"), ("10", "needs a unit")]
)
def test_a_length_that_is_none_is_told(text: str, said: str) -> None:
    with pytest.raises(Invalid, match=said):
        cells.read_length(text, None)


@pytest.mark.parametrize(
    "text",
    [
        "2026-10-06",
        "2026/10/6",
        "Oct 6, 2026",
        "October 6 2026",
        "6 Oct 26",
        "6th October 2026",
        "Tue, Oct 6, 2026",
        "06-OCT-2026",
        "2026-10-06 19:30",
        "2026-10-06T19:30:00",
    ],
)
def test_days_that_are_plain(text: str) -> None:
    assert read_day(text).on == date(2026, 10, 6)


def test_days_that_may_be_two_are_asked() -> None:
    with pytest.raises(AmbiguousDate, match=r"October 6 or June 10"):
        read_day("10/6/2026")
    assert read_day("10/6/26", Order.MONTH_FIRST).on == date(2026, 10, 6)
    assert read_day("10.6.2026", Order.DAY_FIRST).on == date(2026, 6, 10)
    assert read_day("13/6/2026").on == date(2026, 6, 13)
    assert read_day("6/6/2026").on == date(2026, 6, 6)
    assert order_of(["10/6/2026", "1/28/2026"]) is Order.MONTH_FIRST
    assert order_of(["10/6/2026", "28/1/2026"]) is Order.DAY_FIRST
    assert order_of(["28/1/2026", "1/28/2026"]) is None
    assert order_of(["Tue 10/28/2026", "10/6/2026"]) is Order.MONTH_FIRST
    assert order_of(["10/6/2026 7:30 pm", " Wednesday,  28.10.2026 19:30"]) is Order.DAY_FIRST
    assert first_ambiguous(["", "x", "28/1/2026", "3/4/2026"]) == "3/4/2026"


@pytest.mark.parametrize(
    "text",
    [
        "Oct 2024",
        "Oct. 2024",
        "October, 2024",
        "10/2024",
        "10-2024",
        "10.2024",
        "2024-10",
        "2024/10",
        "Oct-24",
        "Oct-2024",
        "Oct/2024",
        "Oct ’24",
        "OCT '24",
    ],
)
def test_a_month_is_its_first_day_and_said_so(text: str) -> None:
    assert read_day(text) == Day(date(2024, 10, 1), exact=False)


def test_a_year_is_its_first_day_and_said_so() -> None:
    assert read_day("2024") == Day(date(2024, 1, 1), exact=False)


@pytest.mark.parametrize("text", ["10/24", "Oct 24", "24-Oct", "13/2024", "2024-13", "0/2024", "2024-25", "10/1924"])
def test_what_may_be_a_day_or_no_month_is_refused(text: str) -> None:
    with pytest.raises(Invalid, match="is not a date"):
        read_day(text)


@given(
    st.dates(date(1970, 1, 1), date(2069, 12, 31)),
    st.sampled_from(["%m/%Y", "%m-%Y", "%Y-%m", "%Y/%m", "%b %Y", "%B %Y", "%b-%y", "%b '%y"]),
    st.sampled_from([None, *Order]),
)
def test_any_month_that_is_written_is_read(on: date, form: str, order: Order | None) -> None:
    written = on.strftime(form)
    assert read_day(written, order) == Day(on.replace(day=1), exact=False)
    assert order_of([written]) is first_ambiguous([written]) is None


@pytest.mark.parametrize(
    ("text", "at"),
    [("7:30 pm", time(19, 30)), ("7 PM", time(19)), ("12:05 am", time(0, 5)), ("19:30:15", time(19, 30, 15))],
)
def test_times(text: str, at: time) -> None:
    assert read_time(text) == at
    assert read_moment(f"2026-10-06 {text}")[1] == at if ":" in text else True


@pytest.mark.parametrize(
    ("text", "cents"),
    [
        ("$18.50", 1850),
        ("18.5", 1850),
        ("USD 18", 1800),
        ("1,234.50", 123450),
        ("18,50", 1850),
        ("18,5", 1850),
        ("1.234,50", 123450),
        ("$ 1234,50", 123450),
        ("1,234", 123400),
    ],
)
def test_money(text: str, cents: int) -> None:
    assert cells.read_money(text) == cents


@given(st.integers(0, 9_999_999), st.sampled_from(["{0:,}.{1:02}", "{0}.{1:02}", "{0},{1:02}", "${0:,}.{1:02}"]))
def test_any_amount_is_read_with_either_decimal_sign(cents: int, form: str) -> None:
    written = form.format(*divmod(cents, 100))
    assert cells.read_money(written) == cents
    assert cells.read_money(written.translate(str.maketrans(",.", ".,"))) == cents


@pytest.mark.parametrize("text", ["1.234", "18,505,0", "18,", "1,23,45", "18.50,00"])
def test_an_amount_that_may_be_two_is_refused(text: str) -> None:
    with pytest.raises(Invalid, match="is not an amount"):
        cells.read_money(text)


def test_states_counts_and_gauges() -> None:
    words = ("OK", "Backup", "broken!", "Missing")
    assert [read_state(word).state for word in words] == [
        ItemState.IN_SERVICE,
        ItemState.SPARE,
        ItemState.QUARANTINED,
        ItemState.LOST,
    ]
    assert [cells.read_count("12"), cells.read_count("12.0"), cells.read_gauge("24 AWG")] == [12, 12, 24]
    assert {cells.read_count(text) for text in ("4", "x4", "4x", "4 pcs.", "4 ea", "4 cables")} == {4}
    for wrong in ("0", "-1", "201", "x", "", "4 ft", "4 or 5"):
        with pytest.raises(Invalid):
            cells.read_count(wrong)


@pytest.mark.parametrize(
    ("cell", "condition"),
    [
        ("Fair", "Fair"),
        (" worn. ", "worn"),
        ("good / fair", "good / fair"),
        ("old but works", "old but works"),
        ("Poor condition", "Poor"),
        ("fair cond.", "fair"),
        ("like-new", "like-new"),
    ],
)
def test_a_cell_that_tells_how_gear_looks_names_no_state(cell: str, condition: str) -> None:
    assert read_state(cell) == StateCell(None, condition)


USABLE_WORDS = st.sampled_from(["good", "OK", "fair", "worn", "Poor", "works"])


@given(st.lists(USABLE_WORDS, min_size=1, max_size=3), st.sampled_from([" / ", "/", ", ", " but ", "-", " and "]))
def test_words_for_what_can_be_used_say_no_other_state_together(words: list[str], joint: str) -> None:
    said = read_state(joint.join(words))
    assert said.state in (ItemState.IN_SERVICE, None)
    assert (said.state is None) == bool(said.condition)
    with pytest.raises(Invalid, match="is no state"):
        read_state(joint.join([*words, "dead"]))


def answer_to(read: Callable[[str], object], text: str) -> object:
    """The value that is read, or the sentence that refuses it, which must be one."""
    try:
        return read(text)
    except Invalid as refusal:
        assert re.fullmatch(r"[A-Z“\d].*\.", refusal.detail, re.DOTALL), refusal.detail  # noqa: PT017
        return refusal.detail


@examples(120)
@given(st.one_of(LIKELY, st.text(max_size=80)))
@example("٣ ft")
@example("10/6/2026 99:99")
@example("1" * 80)
def test_any_text_is_a_value_or_a_sentence(text: str) -> None:
    for read in (
        lambda cell: cells.read_length(cell, Unit.FEET),
        cells.read_money,
        cells.read_count,
        cells.read_gauge,
        read_state,
        lambda cell: cells.read_line(cell, "label"),
        read_day,
        lambda cell: read_day(cell, Order.DAY_FIRST),
        read_time,
        read_moment,
        lambda cell: interpret_words(cell, BUILTIN["xlr3"]),
        lambda cell: wiring_in(cell, "hub"),
        kind_in,
        unit_in,
    ):
        assert answer_to(read, text) == answer_to(read, text)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_any_separator_and_encoding(separator: str, encoding: str) -> None:
    text = separator.join(("Name", "Length", "Place")) + "\r\n" + separator.join(("Café", "10 ft", '"a, b; c"'))
    sheet = read_sheet(read_bytes(f"{text}\r\n\r\n".encode(encoding)))
    assert sheet.header == ("Name", "Length", "Place")
    assert [(line.number, line.cells) for line in sheet.lines] == [(2, ("Café", "10 ft", "a, b; c"))]


def test_a_column_without_a_name_is_one_where_it_holds_something() -> None:
    text = "Name,,Length,Place,,\nlow end,,10 ft,Rack 1,from the old case,\nhigh end,,5 ft\n"
    sheet = read_sheet(text)
    assert sheet.header == ("Name", "Length", "Place", "")
    assert sheet.numbers == (1, 3, 4, 5)
    assert [line.cells for line in sheet.lines] == [
        ("low end", "10 ft", "Rack 1", "from the old case"),
        ("high end", "5 ft", "", ""),
    ]
    assert [(column.name, column.key) for column in preview_sheet(text).columns] == [
        ("Name", "label"),
        ("Length", "length"),
        ("Place", "place"),
        ("Column 5", ""),
    ]
    with pytest.raises(Invalid, match="Line 2 has 4 cells, and there are 3 columns"):
        read_sheet("Name,Length,\nlow end,10 ft,Rack 1,left\n")
    assert read_sheet(f"Name,Length{',' * 900_000}\n" + "a,1 m\n" * 9_000).header == ("Name", "Length")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "nothing in it"),
        (b"Name,Length\n", "none below"),
        (b"PK\x03\x04rest", "Save as"),
        (b"Name\0", "no text"),
        (b'Name,Length\nx,"10\ny,10', "Line 2"),
        (b"a,b\n1,2,3\n", "Line 2 has 3 cells"),
        (b"x" * 2_000_001, "2 MB are the most"),
        (b"a,b\n" + b"1,2\n" * 10_001, "10,000 are the most"),
        (b"a,b\n1," + b"x" * 2_001 + b"\n", "a cell of 2001"),
        (b"a," * 61 + b"b\n1\n", "60 are the most"),
    ],
)
def test_what_is_no_sheet_is_told(content: bytes, said: str) -> None:
    with pytest.raises(Invalid, match=said):
        read_sheet(read_bytes(content))


@examples(80)
@given(st.one_of(st.text(max_size=200), st.text(alphabet="ab,;\"\t\n\r'=", max_size=60)))
def test_any_text_is_a_sheet_or_a_sentence(text: str) -> None:
    with suppress(Invalid):
        assert preview_sheet(tidy(text)).columns


@examples(80)
@given(st.binary(max_size=120))
def test_any_bytes_are_a_sheet_or_a_sentence(content: bytes) -> None:
    with suppress(Invalid):
        assert preview_sheet(read_bytes(content)).columns


@given(st.text(max_size=200))
def test_a_sheet_that_rides_along_arrives(text: str) -> None:
    assert unpack(pack(tidy(text))) == tidy(text)


@given(st.one_of(st.text(max_size=40), st.binary(max_size=40).map(lambda content: content.hex())))
@example(pack("x" * 10_000_000)[:200])
def test_what_never_was_packed_is_refused(text: str) -> None:
    with pytest.raises(Invalid, match="The sheet got lost on the way"):
        unpack(text)


def test_what_is_written_is_read_with_its_lines() -> None:
    sheet = read_sheet(tidy(write_csv(["code", "note"], [["a", "=1\n2"], ["b", "-x"]])))
    assert [(line.number, line.cells) for line in sheet.lines] == [(2, ("a", "=1\n2")), (4, ("b", "-x"))]


@pytest.mark.parametrize("key", ["xlr3", "trs", "xlr3-to-trs"])
def test_what_the_log_says_of_a_fault_is_understood_again(key: str) -> None:
    wiring = BUILTIN[key]
    names = [wire.name for wire in wiring.conductors]
    faults = [Fault(FaultClass.OPEN, (name,)) for name in names if name.isdigit()]
    for fault in faults:
        [again] = interpret_words(title(wiring, fault), wiring).faults
        assert (again.fault_class, again.conductors) == (fault.fault_class, fault.conductors)


@pytest.mark.parametrize("end", [None, *End])
@pytest.mark.parametrize("note", ["", "crackles when bent", "Damage (nested)"])
@pytest.mark.parametrize("kind", [kind for kind in EVIDENCE_CLASSES if kind is not FaultClass.FLEXED])
def test_what_the_log_says_of_evidence_is_that_evidence_again(kind: ByEvidence, note: str, end: End | None) -> None:
    wiring = BUILTIN["xlr3"]
    words = title(wiring, Fault(kind, (), end)) + (f" ({note})" if note else "")
    assert interpret_words(words, wiring).evidence == (Evidence(kind, end, note),)


@pytest.mark.parametrize(
    "words",
    [
        "Speaker cable",
        "speaker cable NL4",
        "banana lead",
        "powerCON cable",
        "Extension cord",
        "Power cable (IEC)",
        "HDMI cable",
        "MIDI cable",
        "DMX cable",
        "RCA cable",
        "AC cord",
        "ext cord 2",
        "Ext. cord",
        "ext lead",
        "drop cord",
    ],
)
def test_a_lead_that_is_no_microphone_wiring_is_told(words: str) -> None:
    assert no_microphone_in(words)


@pytest.mark.parametrize(
    "words", ["mic cable", "XLR, phantom power ok", "snake", "DB25 trunk", "TRS lead", "drop cable"]
)
def test_microphone_wiring_is_not_taken_for_another(words: str) -> None:
    assert no_microphone_in(words) is None
