"""Whole numbers as people type them: read, or refused with a sentence."""

import pytest

from service.kit.counts import parse_count
from service.kit.problems import Invalid


@pytest.mark.parametrize(("typed", "read"), [("1", 1), (" 12 ", 12), ("１２", 12), ("90 %", 90), ("0012", 12)])
def test_read(typed: str, read: int) -> None:
    assert parse_count(typed, "days", 1, 90) == read


@pytest.mark.parametrize("typed", ["", "0", "91", "-3", "1.5", "ten", "²", "1" * 30])
def test_refused(typed: str) -> None:
    with pytest.raises(Invalid) as refusal:
        parse_count(typed, "days", 1, 90)
    assert "from 1 to 90" in refusal.value.errors["days"]
