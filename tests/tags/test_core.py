"""The geometry of tags: nothing lies where it would be cut, folded or missed by the printer."""

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.kit.codes import ALPHABET
from service.tags.core import (
    EDGE,
    LEAST_MODULE,
    PAGE_EDGE,
    SHEETS,
    TAG_HEIGHT,
    Box,
    CannotPrint,
    Sheet,
    faces,
    fold,
    module,
    tag_url,
)

sheets = pytest.mark.parametrize("sheet", SHEETS.values(), ids=SHEETS)


def apart(one: Box, other: Box) -> bool:
    """Whether two boxes share no more than an edge."""
    return (
        one.right <= other.x + 1e-3
        or other.right <= one.x + 1e-3
        or one.bottom <= other.y + 1e-3
        or other.bottom <= one.y + 1e-3
    )


@sheets
def test_tags_lie_on_the_printable_part_of_the_page_and_apart(sheet: Sheet) -> None:
    page = Box(PAGE_EDGE, PAGE_EDGE, sheet.width - 2 * PAGE_EDGE, sheet.height - 2 * PAGE_EDGE)
    tags = [sheet.box(row, column) for row in range(sheet.rows) for column in range(2)]
    assert all(page.holds(tag) for tag in tags)
    assert all(apart(one, other) for one, other in combinations(tags, 2))


@sheets
def test_what_a_tag_shows_keeps_off_its_cuts_its_fold_and_itself(sheet: Sheet) -> None:
    tag = sheet.box(1, 1)
    safe = Box(tag.x + EDGE, tag.y + EDGE, tag.width - 2 * EDGE, tag.height - 2 * EDGE)
    for face in faces(tag):
        parts = [face.symbol, *face.code, face.end, face.name]
        assert all(safe.holds(part) and apart(part, fold(tag)) for part in parts)
        assert all(apart(one, other) for one, other in combinations(parts, 2))


def test_a_tag_that_does_not_fit_is_no_sheet() -> None:
    with pytest.raises(ValueError, match="do not fit"):
        Sheet("too many", 210, 297, 10, 18.5, 98, 20, 14)


def test_the_fold_goes_round_a_microphone_cable() -> None:
    # pi x diameter for the 5.5 to 6.3 mm of common microphone cable (common practice, no source)
    assert 17.3 <= fold(SHEETS["a4"].box(0, 0)).width <= 22


@given(st.integers(21, 37).filter(lambda modules: modules % 4 == 1))
def test_squares_of_a_symbol_up_to_version_5_are_large_enough(modules: int) -> None:
    # Least 4 dots of a 300 dpi printer and an eighth (from memory: printers' guides say 4 dots, 0.34 mm)
    symbol = faces(SHEETS["letter"].box(0, 0))[0].symbol
    assert module(symbol, modules) >= LEAST_MODULE
    assert module(symbol, modules) * (modules + 8) == pytest.approx(TAG_HEIGHT - 2 * EDGE)


def test_a_symbol_that_would_be_too_fine_is_refused() -> None:
    with pytest.raises(CannotPrint, match="too long"):
        module(faces(SHEETS["letter"].box(0, 0))[0].symbol, 41)


@given(st.text(ALPHABET, min_size=6, max_size=6))
def test_a_tag_carries_capitals_only(code: str) -> None:
    assert tag_url("https://cables.example.org:8443", code) == f"HTTPS://CABLES.EXAMPLE.ORG:8443/T/{code}"


@pytest.mark.parametrize(
    ("base", "says"), [(None, "COILBOOK_BASE_URL"), ("https://example.org/cables", "without a path")]
)
def test_an_address_that_a_tag_cannot_carry_is_refused(base: str | None, says: str) -> None:
    with pytest.raises(CannotPrint, match=says):
        tag_url(base, "7K3M9U")
