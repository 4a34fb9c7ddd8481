"""A sheet of tests that comes again: each test once, however much was filled in since, and a repair of its own once."""

from datetime import UTC, datetime, timedelta
from functools import partial
from uuid import UUID, uuid4, uuid5

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from service.exchange.sheets.core.duplicates import LoggedRow, LoggedTest, ids_of
from service.exchange.sheets.core.test_row import _repair
from service.gear.models import Item
from service.testlog.housekeeping import verify
from service.testlog.models import Repair, Test
from tests.exchange.test_sheets import brought_in, count, fates, tried
from tests.support.program import Running, running

DAY = datetime(2025, 10, 1, 16, tzinfo=UTC)
ROWS = st.lists(
    st.tuples(
        st.integers(0, 1),
        st.sampled_from(["pass", "fail"]),
        st.sampled_from(["", "pin 2 open", "crackles"]),
        st.sampled_from(["", "x", "y"]),
    ),
    max_size=6,
)


def said(row: tuple[int, str, str, str]) -> LoggedRow:
    """A row as the sheet's reader makes it."""
    day, verdict, fault, note = row

    def id_of(key: object, turn: int) -> UUID:
        return uuid5(UUID(int=0), repr((key, turn)))

    return LoggedRow(DAY + timedelta(days=day), verdict, fault, note, partial(id_of, row[:3]))


def log(rows: list[tuple[int, str, str, str]], there: list[LoggedTest]) -> list[LoggedTest]:
    """The log after a sheet came in."""
    told = [said(row) for row in rows]
    ids = ids_of(told, there)
    known = {one.id for one in there}
    return there + [
        LoggedTest(test_id, row.at, row.verdict, "\n".join(filter(None, dict.fromkeys((row.fault, row.note)))))
        for test_id, row in zip(ids, told, strict=True)
        if test_id not in known
    ]


@given(ROWS, st.randoms(use_true_random=False))
def test_each_row_is_a_test_once_in_any_order(rows: list[tuple[int, str, str, str]], turned: object) -> None:
    once = log(rows, [])
    assert len(once) == len(rows)
    turned.shuffle(rows)  # type: ignore[attr-defined]
    assert log(rows, once) == once


@given(ROWS, st.lists(st.sampled_from(["", "z", "a note"]), min_size=6, max_size=6))
def test_a_note_that_is_filled_in_makes_no_test(rows: list[tuple[int, str, str, str]], notes: list[str]) -> None:
    once = log(rows, [])
    filled = [(*row[:3], row[3] or note) for row, note in zip(rows, notes, strict=False)]
    assert log(filled, once) == once


@given(ROWS, ROWS, st.integers(0, 6))
def test_rows_that_are_added_are_all_new_wherever_they_stand(
    rows: list[tuple[int, str, str, str]], more: list[tuple[int, str, str, str]], at: int
) -> None:
    once = log(rows, [])
    together = rows[:at] + more + rows[at:]
    assert len(log(together, once)) == len(together)


def test_a_test_that_came_in_under_another_id_is_known() -> None:
    [new] = [said((0, "fail", "pin 2 open", "torn boot"))]
    before = LoggedTest(uuid4(), DAY, "fail", "Pin 2  open")
    assert ids_of([new], [before]) == [before.id]
    assert ids_of([new], [before], {before.id}) == [new.id_of(0)]
    assert ids_of([new], [LoggedTest(before.id, DAY, "fail", "crackles")]) == [new.id_of(0)]
    assert ids_of([new], [LoggedTest(before.id, DAY, "pass", "pin 2 open")]) == [new.id_of(0)]


GEAR = "Name,Length\nlow end,10 ft\n"
FIRST = """Cable,Date,Result,Problem,Fix,Notes
low end,2025-10-01,fail,pin 2 open,,
low end,2025-10-01,fail,pin 2 open,,
low end,2025-10-01,fail,crackles,,
low end,2025-10-02,pass,,,
"""
FILLED = FIRST.replace("crackles,,", "crackles,new plug,seen by the crew", 1)


def repairs(program: Running) -> list[str]:
    """What was repaired, the oldest first."""
    with program.store.reading() as db:
        return list(db.scalars(select(Repair.what).order_by(Repair.at)))


def test_a_repair_that_is_filled_in_comes_in_once(program: Running) -> None:
    brought_in(program, GEAR)
    brought_in(program, FIRST)
    assert (count(program, Test), repairs(program)) == (4, [])
    page = tried(program, FILLED)
    assert fates(page) == [(2, "Same"), (3, "Same"), (4, "Changed"), (5, "Same")]
    assert "And a repair: new plug" in page.text
    assert "“seen by the crew” is not added, since a logged test is never changed" in page.text
    brought_in(program, FILLED)
    assert (count(program, Test), repairs(program)) == (4, ["new plug"])
    with program.store.reading() as db:
        assert db.scalars(select(Item.state)).all() == ["in_service"]  # repaired, and it passed the day after
        fails = db.execute(select(Test.id, Test.tested_at).where(Test.note == "crackles")).all()
        [(repaired_at,)] = db.execute(select(Repair.at)).all()
        assert repaired_at == fails[0][1]  # at once after it (`in_time_order`)
    assert {fate for _, fate in fates(tried(program, FILLED))} == {"Same"}
    other = tried(program, FILLED.replace("new plug", "new boot"))
    assert {fate for _, fate in fates(other)} == {"Same"}
    assert "Its repair stays “new plug”, as it was logged; log “new boot” on the item" in other.text
    assert verify(program.store, program.clock.now) == []


def test_a_repair_that_was_only_concluded_gives_way_to_one_that_is_told(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        brought_in(program, FIRST, between="yes")
        concluded = "Repaired before this pass; the sheet does not say how."
        assert repairs(program) == [concluded]
        told = FIRST.replace("pass,,,", "pass,,new plug,")
        for _ in range(2):
            brought_in(program, told, between="yes")
            assert sorted(repairs(program)) == [concluded, "new plug"]
        assert count(program, Test) == 4


@pytest.mark.parametrize(("cells", "fate"), [("new plug,", "Changed"), (",torn boot", "Same")])
def test_what_came_in_under_other_ids_is_known(sqlite_url: str, cells: str, fate: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        brought_in(program, f"Test id,Cable,Date,Result\n{uuid4()},low end,2025-10-01,fail\n")
        sheet = f"Cable,Date,Result,Fix,Notes\nlow end,2025-10-01,fail,{cells}\n"
        assert fates(tried(program, sheet)) == [(2, fate)]
        brought_in(program, sheet)
        assert fates(tried(program, sheet)) == [(2, "Same")]
        assert count(program, Test) == 1


def test_words_that_are_too_many_together_are_told(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        page = tried(program, f"Cable,Date,Result,Problem,Notes\nlow end,2025-10-01,fail,{'x ' * 300},{'y ' * 300}\n")
        assert fates(page) == [(2, "Wrong")]
        assert "both together may have 1000" in page.text


TWINS = "Item,Date,Result,Fault,Repair\n" + "".join(
    f"low end,2025-09-{day:02},fail,dead,\nlow end,2025-10-{day:02},pass,,new plug\nlow end,2025-10-{day:02},pass,,\n"
    for day in range(1, 13)
)


def test_a_repair_stays_with_its_own_row_among_rows_that_say_the_same(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, "Name,Kind,Length\nlow end,cable,10 ft\n")
        for sheet in (TWINS, TWINS, _turned(TWINS)):
            brought_in(program, sheet)
            assert (count(program, Test), count(program, Repair)) == (36, 12)
        assert verify(program.store, program.clock.now) == []


def _turned(sheet: str) -> str:
    head, *rows = sheet.splitlines()
    return "\n".join([head, *reversed(rows)])


@pytest.mark.parametrize(
    "words",
    [
        "no",
        "N/A",
        "not fixed",
        "Not yet",
        "—",
        "?",
        "to do",
        "None needed",
        "needs new plug",
        "pending",
        "couldn't fix it",
        "unrepaired",
    ],
)
def test_words_that_tell_of_no_repair_are_none(words: str) -> None:
    assert _repair(words)[:2] == ("", words if " " in words else "")


@pytest.mark.parametrize("words", ["new plug", "opened, joint soldered", "noise gone", "unsoldered and made anew"])
def test_words_that_tell_of_a_repair_are_one(words: str) -> None:
    assert _repair(words) == (words, "", False)


def test_a_fault_that_was_not_fixed_stays_open(sqlite_url: str) -> None:
    sheet = "Item,Date,Result,Fault,Fixed\nlow end,2025-09-01,fail,dead,not fixed\nlow end,2025-09-08,pass,,\n"
    with running(sqlite_url) as program:
        brought_in(program, "Name,Kind,Length\nlow end,cable,10 ft\n")
        for _ in range(2):
            assert brought_in(program, sheet).status_code == 200
            assert (count(program, Test), count(program, Repair)) == (2, 0)
        with program.store.reading() as db:
            assert "not fixed" in {line for test in db.scalars(select(Test)) for line in test.note.splitlines()}
            assert db.scalars(select(Item.state)).one() == "quarantined"
