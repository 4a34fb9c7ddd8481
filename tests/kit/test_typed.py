"""What people type, made plain."""

from hypothesis import given
from hypothesis import strategies as st

from service.kit.typed import _plain, plain


@given(st.text(st.characters(max_codepoint=0x7F)) | st.text())
def test_a_text_is_made_plain_character_by_character(text: str) -> None:
    assert plain(text) == "".join(map(_plain, text)).strip()
