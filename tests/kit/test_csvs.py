"""Tables as CSV: what is written is read back as it was, and no cell can become a formula."""

import csv
import io

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from service.kit.csvs import escaped_cell, unescaped_cell, write_csv

CELLS = st.text(alphabet=st.one_of(st.sampled_from("'=+-@\t\r\n,\"; a"), st.characters(codec="utf-8")), max_size=12)


FIRST = ["=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\t", "\r", "\n"]


# The characters by which a cell becomes a formula: OWASP, "CSV Injection" (from memory).
@pytest.mark.parametrize("first", FIRST)
def test_a_cell_that_could_become_a_formula_gets_an_apostrophe(first: str) -> None:
    assert escaped_cell(f"{first}1+1") == f"'{first}1+1"


@pytest.mark.parametrize("plain", ["", "Frame 3", "10'", "'tis", "a=b", " =1", "1-2"])
def test_other_cells_stay_as_they_are(plain: str) -> None:
    assert escaped_cell(plain) == plain


@given(CELLS)
@example("'=1")
@example("''=1")
def test_a_guard_is_undone(cell: str) -> None:
    assert unescaped_cell(escaped_cell(cell)) == cell
    assert escaped_cell(cell)[:1] not in FIRST


@given(st.lists(st.lists(CELLS, min_size=2, max_size=2), max_size=5))
def test_what_is_written_is_read_back(rows: list[list[str]]) -> None:
    written = write_csv(["one", "two"], rows)
    # reference: the standard library's reader sees the same rows, and in none of them a formula
    read = list(csv.reader(io.StringIO(written, newline="")))
    assert [[unescaped_cell(cell) for cell in row] for row in read] == [["one", "two"], *rows]
    assert not any(cell[:1] in FIRST for row in read for cell in row if cell)


def test_numbers_and_nothing() -> None:
    assert write_csv(["cents", "note"], [[-5, None]]) == "cents,note\r\n'-5,\r\n"
