"""Cursors: they come back as they went out, and nothing else passes for one."""

from datetime import UTC, datetime
from uuid import UUID, uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.store.paging import cursor, page_size, position


@given(st.text(), st.integers(), st.datetimes(timezones=st.just(UTC)))
def test_a_cursor_comes_back(name: str, number: int, at: datetime) -> None:
    key = uuid4()
    assert position(cursor(name, number, at, key), str, int, datetime, UUID) == [name, number, at, key]


@given(st.text())
def test_no_other_text_is_a_cursor(text: str) -> None:
    with pytest.raises(Invalid) as refusal:
        position(text, int, UUID)
    assert "after" in refusal.value.errors


@pytest.mark.parametrize("limit", [0, -1, 201])
def test_a_page_has_bounds(limit: int) -> None:
    with pytest.raises(Invalid, match=str(limit)):
        page_size(limit)
