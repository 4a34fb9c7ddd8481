"""Gear without codes: of the item that it must be, new where there is none, and asked where more than one could be."""

from uuid import UUID, uuid5

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.exchange.sheets.core.matching import RowMatch, UnmatchedRow, match_rows
from service.gear.models import Item
from tests.exchange.test_sheets import brought_in, count, fates, fields, post, tried
from tests.support.csv_text import read_csv
from tests.support.program import Running, running

HERE = [uuid5(UUID(int=0), str(number)) for number in range(6)]


@given(
    st.lists(st.tuples(st.integers(0, 3), st.sampled_from("abc"), st.booleans()), min_size=1, max_size=5),
    st.integers(0, 6),
    st.sets(st.sampled_from(HERE)),
    st.sets(st.tuples(st.sampled_from("abc"), st.sampled_from(HERE))),
    st.booleans(),
)
def test_no_item_is_two_rows_and_none_is_guessed(
    said: list[tuple[int, str, bool]], free: int, gone: set[UUID], same: set[tuple[str, UUID]], more: bool
) -> None:
    rows = [UnmatchedRow(at, pieces, f"{alike}{is_gone}", is_gone) for at, (pieces, alike, is_gone) in enumerate(said)]

    def is_same(row: UnmatchedRow, item: UUID) -> bool:
        return (row.common_key[0], item) in same

    found = match_rows(rows, HERE[:free], gone, is_same, more=more)
    given_away = [item for what in found for item in what.items]
    assert len(given_away) == len(set(given_away))
    for row, what in zip(rows, found, strict=True):
        assert len(what.items) <= row.count
        assert not (what.items and what.unclear)
        assert row.gone or not gone & {*what.items, *what.unclear}
    unclear = [what for what in found if what.unclear]
    guessed = [
        (row, item) for row, what in zip(rows, found, strict=True) for item in what.items if not is_same(row, item)
    ]
    if guessed:
        assert not unclear
        assert not more
        assert len({row.common_key for row, _ in guessed}) == 1


def test_one_row_and_one_item_are_the_same() -> None:
    [row, alike, other] = [UnmatchedRow(1, 1, "a"), UnmatchedRow(2, 1, "a"), UnmatchedRow(3, 1, "b")]
    one, two = HERE[:2]

    def never(_row: UnmatchedRow, _item: UUID) -> bool:
        return False

    assert match_rows([row], [one], (), never) == [RowMatch((one,))]
    assert match_rows([row], [], (), never) == [RowMatch()]
    assert match_rows([row], [one, two], (), never) == [RowMatch((), (one, two))]
    assert match_rows([row, alike], [one], (), never) == [RowMatch((one,)), RowMatch()]
    assert match_rows([row, other], [one], (), never) == [RowMatch((), (one,)), RowMatch((), (one,))]
    assert match_rows([row, other], [one], (), lambda row, _: row.common_key == "b") == [RowMatch(), RowMatch((one,))]
    assert match_rows([row], [one], [one], never) == [RowMatch()]
    assert match_rows([row], [one], (), never, more=True) == [RowMatch((), (one,))]
    assert match_rows([UnmatchedRow(1, 2, "a")], [one, two], (), never) == [RowMatch((one, two))]


FIRST = "Name,Length,Place,Note\nlow end,10 ft,Rack 1,from the old case\nhigh end,10 ft,Rack 1,\n"


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (FIRST.replace("from the old case", "new plug"), "note: “new plug” is added."),
        (FIRST.replace("low end,10 ft,Rack 1", "Low  end,10 ft,Rack 2"), "place: Rack 1 becomes Rack 2."),
        (FIRST.replace("low end,10 ft", "low end,9 ft"), "length: 10 ft becomes 9 ft."),
    ],
)
def test_a_corrected_cell_makes_no_second_item(sqlite_url: str, changed: str, said: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, FIRST)
        page = tried(program, changed)
        assert fates(page) == [(2, "Changed"), (3, "Same")]
        assert "by its label" in page.text
        assert said in page.text
        brought_in(program, changed)
        assert count(program, Item) == 2
        assert fates(tried(program, changed)) == [(2, "Same"), (3, "Same")]
        back = tried(program, FIRST)
        assert fates(back) == [(2, "Same"), (3, "Same")]
        assert ("What was changed here since stays" in back.text) == ("note:" not in said)


def test_rows_alike_are_items_of_their_own_and_asked_for_their_code_later(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        twice = "Name,Length,Place\nlow end,10 ft,Rack 1\nlow end,10 ft,Rack 1\nlow end,25 ft,Rack 1\n"
        assert fates(tried(program, twice)) == [(2, "New"), (3, "New"), (4, "New")]
        brought_in(program, twice)
        assert fates(tried(program, twice)) == [(2, "Same"), (3, "Same"), (4, "Same")]
        one = twice.replace("25 ft,Rack 1", "25 ft,Rack 2")
        assert fates(tried(program, one)) == [
            (2, "Same"),
            (3, "Same"),
            (4, "Changed"),
        ]  # the others are spoken for
        page = tried(program, "Name,Length,Place\nlow end,10 ft,Rack 3\n")
        assert fates(page) == [(2, "Wrong")]
        assert "3 items here are called “low end”" in page.text
        assert "Write the code of the one that is meant" in page.text
        out = read_csv(program.lead.get("/exchange/gear.csv").text)
        codes = [row[0] for row in out[1:]]
        coded = f"Code,Name,Length,Place\n{codes[0]},low end,,Rack 3\n{codes[1]},,,\n{codes[2]},,,\n,low end,7 ft,\n"
        assert fates(tried(program, coded, above="none")) == [
            (2, "Changed"),
            (3, "Same"),
            (4, "Same"),
            (5, "New"),
        ]
        assert count(program, Item) == 3


def test_two_rows_for_one_item_are_asked_unless_they_are_alike(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Name,Length\nlow end,10 ft\n")
        page = tried(program, "Name,Length\nlow end,9 ft\nlow end,25 ft\n")
        assert fates(page) == [(2, "Wrong"), (3, "Wrong")]
        assert "several rows are called “low end”, and here only" in page.text
        wrong = tried(program, "Name,Length\nlow end,ten\nlow end,25 ft\n")
        assert fates(wrong) == [(2, "Wrong"), (3, "Wrong")]
        assert "and so may line 2, which is wrong" in wrong.text
        alike = "Name,Length,Note\nlow end,10 ft,x\nlow end,10 ft,x\n"
        assert fates(tried(program, alike)) == [(2, "Changed"), (3, "New")]
        brought_in(program, alike)
        assert count(program, Item) == 2
        assert fates(tried(program, alike)) == [(2, "Same"), (3, "Same")]
        pair = "Name,Length,Note,Qty\nlow end,10 ft,y,2\n"
        assert fates(tried(program, pair)) == [(2, "Changed")]
        brought_in(program, pair)
        assert fates(tried(program, pair)) == [(2, "Same")]
        assert count(program, Item) == 2


def test_what_is_retired_lends_its_label_to_the_next(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Name,Length,State\nlow end,10 ft,retired\n")
        page = tried(program, "Name,Length\nlow end,9 ft\n")
        assert fates(page) == [(2, "New")]
        assert "of this label is gone, so this is new; write the code if it is that one." in page.text
        assert fates(tried(program, "Name,Length,State\nlow end,9 ft,retired\n")) == [(2, "Changed")]


def test_another_wiring_under_the_same_label_is_told(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Name,Length,Connector\nlow end,10 ft,XLR\n")
        page = tried(program, "Name,Length,Connector\nlow end,9 ft,trs\n")
        assert fates(page) == [(2, "Wrong")]
        assert "give other gear a label or a code of its own" in page.text
        near = tried(program, "Name,Length,Connector\nlow end,9 ft,XLR to TRS plug\n")
        assert fates(near) == [(2, "Changed")]
        assert "The wiring stays xlr3." in near.text


def test_rows_that_would_become_something_else_than_was_shown_are_shown_again(program: Running) -> None:
    page = tried(program, "Name,Length\nlow end,9 ft\n")
    assert fates(page) == [(2, "New")]
    brought_in(program, "Name,Length\nlow end,10 ft\n")  # somebody else, in the meantime
    refused = post(program, "/exchange/import", fields(page.text))
    assert refused.status_code == 422
    assert "the book has changed after you looked" in refused.text
    assert fates(refused) == [(2, "Changed")]
    assert count(program, Item) == 1
    done = post(program, "/exchange/import", fields(refused.text))
    assert "<b>Brought in.</b>" in done.text
    assert post(program, "/exchange/import", fields(refused.text)).text == done.text  # its receipt
    assert count(program, Item) == 1


def test_rows_of_one_label_are_pointed_out_at_each(sqlite_url: str) -> None:
    sheet = "Name,Length\nlow end,10 ft\nhigh end,10 ft\nLow  End,15 ft\nlow end,10 ft\n"
    with running(sqlite_url) as program:
        page = tried(program, sheet)
        assert fates(page) == [(2, "New"), (3, "New"), (4, "New"), (5, "New")]
        for others in ("Lines 4 and 5 have", "Lines 2 and 5 have", "Lines 2 and 4 have"):
            assert f"{others} this label too: if a piece was typed twice, take one row out." in page.text
        two = tried(program, "Name,Length\nlow end,10 ft\nlow end,15 ft\n")
        assert "Line 3 has this label too" in two.text
        assert "Line 2 has this label too" in two.text
        brought_in(program, sheet)
        assert "this label too" not in tried(program, sheet).text  # they are here, so that was said
        many = tried(program, "Name,Length\n" + "mic cable,10 ft\n" * 6)
        assert many.text.count("6 rows here have this label, so it tells none of them from another.") == 6
        for none in ("Name,Length\n,10 ft\n,10 ft\n", "Name,Length,Qty\nlow beam,10 ft,2\n"):
            assert "label too" not in tried(program, none).text
