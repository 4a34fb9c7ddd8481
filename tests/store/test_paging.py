"""Cursors: they come back as they went out, and nothing else passes for one."""

import base64
import json
from datetime import UTC, date, datetime
from uuid import UUID, uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.problems import Invalid
from service.store.paging import LARGEST, cursor, page_size, position

TEXTS = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]))
NUMBERS = st.integers(-LARGEST, LARGEST)


@given(TEXTS, NUMBERS, st.datetimes(timezones=st.just(UTC)), st.dates())
def test_a_cursor_comes_back(name: str, number: int, at: datetime, on: date) -> None:
    key = uuid4()
    told = cursor(name, number, at, on, key)
    assert position(told, str, int, datetime, date, UUID) == [name, number, at, on, key]


def told(values: object) -> str:
    """A cursor that the service never made."""
    return base64.urlsafe_b64encode(json.dumps(values).encode()).decode()


@pytest.mark.parametrize(
    ("after", "reader"),
    [
        (told(["a\0b"]), str),
        (told(["\ud800"]), str),
        (told([5]), str),
        (told([str(LARGEST + 1)]), int),
        (told(["2026-10-06T19:30:00"]), datetime),
        (told(["9999-12-31T23:30:00-14:00"]), datetime),
        (told([5]), UUID),
        (base64.urlsafe_b64encode(b"[" * 20_000).decode(), str),
    ],
)
def test_what_no_database_can_look_up_is_no_cursor(after: str, reader: type) -> None:
    with pytest.raises(Invalid, match="take it from the last page") as refusal:
        position(after, reader)
    assert list(refusal.value.errors) == ["after"]


@given(st.text())
def test_no_other_text_is_a_cursor(text: str) -> None:
    with pytest.raises(Invalid) as refusal:
        position(text, int, UUID)
    assert "after" in refusal.value.errors


@pytest.mark.parametrize("limit", [0, -1, 201])
def test_a_page_has_bounds(limit: int) -> None:
    with pytest.raises(Invalid, match=str(limit)):
        page_size(limit)
