"""Lengths as people type them. A foot is 304.8 mm exactly (international yard and pound agreement, 1959)."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.kit.quantities import LONGEST_MM, Unit, format_length, parse_length

TYPED = [
    ("10 ft", 3048),
    ("10ft", 3048),
    ("10'", 3048),
    ("10 Feet", 3048),
    ("10.5 ft", 3200),
    (".5 ft", 152),
    ("7'6\"", 2286),
    ("7' 6''", 2286),
    ("7'6", 2286),
    ("7 ft 6 in", 2286),
    ("7 ft. 6 in.", 2286),
    ("7′6″", 2286),
    ("7’6”", 2286),
    ("７’６”", 2286),
    ("7'0\"", 2134),
    ("7½ ft", 2286),
    ("7 1/2 ft", 2286),
    ("½ m", 500),
    ("7' 6 1/2\"", 2299),
    ('5⅜"', 137),
    ("30 in", 762),
    ('30"', 762),
    ("1 inch", 25),
    ("3 m", 3000),
    ("3,5 m", 3500),
    ("0,305 m", 305),
    ("3.048 m", 3048),
    ("3 metres", 3000),
    ("450 cm", 4500),
    ("900 mm", 900),
    ("１０ ｆｔ", 3048),
    ("١٠ ft", 3048),
    ("\u00a010\u202fft\u200b", 3048),
    ("820 ft", 249936),
    ("250 m", 250000),
]


@pytest.mark.parametrize(("typed", "mm"), TYPED)
def test_it_reads_what_people_type(typed: str, mm: int) -> None:
    assert parse_length(typed) == mm


REFUSED = [
    ("10", "10 ft or 10 m"),
    ("", "like 10 ft"),
    ("ten feet", "ten feet"),
    ("10 yd", "10 yd"),
    ("-3 m", "-3 m"),
    ("10²ft", "10²ft"),
    ("7 0/2 ft", "with a fraction"),
    ("7 3/2 ft", "with a fraction"),
    ("7 1/0 ft", "with a fraction"),
    ("7'13\"", "below 12"),
    ("1,000 ft", "1000 or 1.000"),
    ("1.000,5 m", "not a length"),
    ("1e3 m", "not a length"),
    ("0 ft", "more than nothing"),
    ("0.4 mm", "more than nothing"),
    ("900 ft", "274 m, longer than any run on a field"),
    ("250.001 m", "check the number and its unit"),
    ("9" * 5000 + " m", "too long"),
]


@pytest.mark.parametrize(("typed", "says"), REFUSED)
def test_it_refuses_with_the_way_out(typed: str, says: str) -> None:
    with pytest.raises(Invalid) as refusal:
        parse_length(typed)
    assert says in refusal.value.errors["length"]


SHOWN = [
    (3048, "10 ft", "3.048 m"),
    (2286, "7'6\"", "2.286 m"),
    (762, "2'6\"", "0.762 m"),
    (152, "6 in", "0.152 m"),
    (3000, "9'10.1\"", "3 m"),
    (4500, "14'9.17\"", "4.5 m"),
    (15240, "50 ft", "15.24 m"),
    (100_000, "328'1\"", "100 m"),
]


@pytest.mark.parametrize(("mm", "feet", "meters"), SHOWN)
def test_it_shows_lengths_in_the_unit_of_the_program(mm: int, feet: str, meters: str) -> None:
    assert format_length(mm, Unit.FEET) == feet
    assert format_length(mm, Unit.METERS) == meters


@given(st.integers(1, LONGEST_MM), st.sampled_from(Unit))
def test_what_is_shown_reads_back_as_the_same_length(mm: int, unit: Unit) -> None:
    assert parse_length(format_length(mm, unit)) == mm


@given(st.integers(1, 820 * 12))
def test_whole_inches_show_without_decimals(inches: int) -> None:
    assert "." not in format_length(parse_length(f"{inches} in"), Unit.FEET)


@given(st.text(max_size=60) | st.from_regex(r"[0-9.,]{1,6} ?(ft|'|m|in)( ?[0-9.,]{1,4} ?(in|\")?)?", fullmatch=True))
def test_any_text_is_read_or_refused(text: str) -> None:
    with suppress(Invalid):
        assert 1 <= parse_length(text) <= LONGEST_MM
