import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.kit.quantities import MOST_CENTS, format_money, parse_money


@pytest.mark.parametrize(
    ("typed", "cents"),
    [
        ("18.50", 1850),
        ("$18.50", 1850),
        ("$ 18.50", 1850),
        (" 18 ", 1800),
        ("0", 0),
        ("0.05", 5),
        ("1,234.50", 123450),
        ("1234.50", 123450),
        ("＄１８．５０", 1850),
        ("100,000", MOST_CENTS),
    ],
)
def test_it_reads_what_people_type(typed: str, cents: int) -> None:
    assert parse_money(typed) == cents


@pytest.mark.parametrize("typed", ["", "free", "-5", "18.5", "18,50", "12,34.00", "1.234,50", "€18", "18.505", "1e3"])
def test_it_refuses_what_is_no_amount(typed: str) -> None:
    with pytest.raises(Invalid, match=r"write dollars and cents like 18\.50") as refusal:
        parse_money(typed, "spent")
    assert list(refusal.value.errors) == ["spent"]


def test_it_refuses_a_lost_decimal_point() -> None:
    with pytest.raises(Invalid, match=r"\$100,000\.01 is too much"):
        parse_money("100000.01")


def test_a_refund_shows_its_minus_first() -> None:
    assert format_money(-1850) == "-$18.50"


@given(st.integers(0, MOST_CENTS))
def test_what_is_shown_reads_back_as_the_same_amount(cents: int) -> None:
    assert parse_money(format_money(cents)) == cents
