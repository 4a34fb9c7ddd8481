"""What people type, made plain."""

from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid, NotFound
from service.kit.text import _plain, alike, can_be_shown, id_in_address, parse_count, plain


@given(st.text(st.characters(max_codepoint=0x7F)) | st.text())
def test_a_text_is_made_plain_character_by_character(text: str) -> None:
    assert plain(text) == "".join(map(_plain, text)).strip()


@pytest.mark.parametrize(("typed", "read"), [("1", 1), (" 12 ", 12), ("１２", 12), ("90 %", 90), ("0012", 12)])
def test_a_whole_number_is_read(typed: str, read: int) -> None:
    assert parse_count(typed, "days", 1, 90) == read


@pytest.mark.parametrize("typed", ["", "0", "91", "-3", "1.5", "ten", "²", "1" * 30])
def test_what_is_no_whole_number_is_refused(typed: str) -> None:
    with pytest.raises(Invalid) as refusal:
        parse_count(typed, "days", 1, 90)
    assert "from 1 to 90" in refusal.value.errors["days"]


@pytest.mark.parametrize(
    "text", ["👩\u200d🎤 sings", "🏴\U000e0067\U000e007f", "\U0001fae9", "a\u00a0b", "två\nrader", "ひも"]
)
def test_what_phones_type_may_be_kept(text: str) -> None:
    assert can_be_shown(text)


@pytest.mark.parametrize(
    "mark", ["\0", "\x1b", "\x85", "\u200b", "\u2028", "\u202e", "\u2066", "\ufeff", "\uffff", "\udc80"]
)
def test_what_nobody_types_is_refused(mark: str) -> None:
    assert not can_be_shown(f"a{mark}b")


def test_a_name_with_a_mark_that_nobody_sees_is_the_same_name() -> None:
    assert alike("Jo\u200d", "jo")


@pytest.mark.parametrize("text", ["", "7K3M9U", "12345678-1234", "new"])
def test_an_address_without_an_id_leads_nowhere(text: str) -> None:
    with pytest.raises(NotFound, match="There is no such pass"):
        id_in_address(text, "There is no such pass.")
    assert id_in_address("12345678123456781234567812345678", "") == UUID("12345678-1234-5678-1234-567812345678")
