"""What people type, made plain."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.kit.typed import _plain, parse_count, plain


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
