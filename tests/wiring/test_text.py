import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.wiring.builtin import BUILTIN
from service.wiring.own import parse_wiring
from service.wiring.text import in_text, patterns_in_text, reach_in_text, wiring_in_text

XLR3 = BUILTIN["xlr3"]
INNER = ["A1", "A2", "A3", "B1", "B2", "B3"]
LINE = "1 A1 B1 shield"


@pytest.mark.parametrize("key", BUILTIN)
def test_every_built_in_wiring_can_be_typed(key: str) -> None:
    wiring = BUILTIN[key]
    bonds = " ".join(f"{bond.earlier}-{bond.later}" for bond in wiring.bonds)
    spec = wiring_in_text(key, "\n".join(in_text(wiring)), " ".join(wiring.loose_contacts), bonds)
    made = parse_wiring(spec, key)
    assert (made.conductors, made.bonds) == (wiring.conductors, wiring.bonds)
    if not key.startswith("trs") and not key.endswith("trs"):  # T, R, S come as they are typed, hot before cold
        assert made == wiring


@given(st.permutations(in_text(BUILTIN["d25-to-xlr8"])))
def test_lines_may_come_in_any_order(lines: list[str]) -> None:
    spec = wiring_in_text("it", "\n\n".join(lines), " ".join(BUILTIN["d25-to-xlr8"].loose_contacts))
    assert parse_wiring(spec) == BUILTIN["d25-to-xlr8"]


@pytest.mark.parametrize(
    ("conductors", "others", "bonds", "field", "says"),
    [
        ("", "", "", "conductors", "no conductor"),
        ("1 A1 B1", "", "", "conductors", "Line 1, “1 A1 B1”, needs a name"),
        (f"{LINE}\n\n2 A2 B2 hot pair", "", "", "conductors", "Line 3"),
        ("1 B1 A1 shield", "", "", "conductors", "“B1” is no contact of end A"),
        ("1 A1 C1 shield", "", "", "conductors", "“C1” is no contact of end B"),
        (
            "1 A1 B1 earth",
            "",
            "",
            "conductors",
            "“earth” is no role; a conductor is shield, hot, cold or single",
        ),
        ("1 A1 B1 hot twist 1", "", "", "conductors", "not “twist”"),
        ("1 A1 B1 hot pair 1 pair 2", "", "", "conductors", "each once"),
        ("1 A1 B1 hot pair 1", "", "", "conductors", "a pair holds two"),
        (f"{LINE}\n{LINE}", "", "", "conductors", "'1' 2 times"),
        (f"{'x' * 13} A1 B1 shield", "", "", "conductors", "up to 12"),
        ("\n".join(f"{n} A{n} B{n} single" for n in range(1, 99)), "", "", "conductors", "160 is the most"),
        ("\n".join([LINE] * 201), "", "", "conductors", "201 lines; 200"),
        (LINE, "shell", "", "others", "“shell” is no contact"),
        (LINE, "As", "A1As", "bonds", "“A1As” is no bond"),
        (LINE, "As", "A1-A2", "bonds", "'A2', which is not listed"),
        (LINE, "As", "A1-B1", "bonds", "joins the two ends"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field(
    conductors: str, others: str, bonds: str, field: str, says: str
) -> None:
    with pytest.raises(Invalid) as refusal:
        wiring_in_text("it", conductors, others, bonds)
    assert list(refusal.value.errors) == [field]
    assert says in refusal.value.errors[field]


def test_patterns_keep_every_reading_that_they_may_mean() -> None:
    typed = "1 2 3 = good\n1 - 3 = A3-B3, B1-A1\n\n1 - 3=A1-A2-B1-B2 A3-B3\nall = dark = nothing"
    assert patterns_in_text(XLR3, typed, INNER) == {
        "1 2 3": [[["A1", "B1"], ["A2", "B2"], ["A3", "B3"]]],
        "1 - 3": [[["A1", "B1"], ["A3", "B3"]], [["A1", "A2", "B1", "B2"], ["A3", "B3"]]],
        "all = dark": [[]],
    }


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("green", "Line 1, “green”, needs what the lamps show"),
        ("green =", "needs what the lamps show"),
        ("= good", "needs what the lamps show"),
        ("green = good\nred = fine", "Line 2: “fine” is no reading"),
        ("green = A1", "“A1” is no reading"),
        ("green = A1-B9", "Line 1: This wiring has no contact 'B9'"),
        ("green = A1-As", "Line 1: Contact As is joined but not probed"),
        ("green = good\ngreen = A1-B1 A2-B2 A3-B3", "Line 2 says again"),
    ],
)
def test_a_pattern_that_makes_no_sense_names_its_line(typed: str, says: str) -> None:
    with pytest.raises(Invalid) as refusal:
        patterns_in_text(XLR3, typed, INNER)
    assert says in refusal.value.errors["patterns"]


def test_what_a_tester_reaches() -> None:
    assert reach_in_text(XLR3, "") == INNER
    assert reach_in_text(XLR3, " All ") == "all"
    assert reach_in_text(XLR3, "B2, A2 A1") == ["A1", "A2", "B2"]
    for wrong in ("A1 A9", "tip"):
        with pytest.raises(Invalid) as refusal:
            reach_in_text(XLR3, wrong)
        assert list(refusal.value.errors) == ["reaches"]
