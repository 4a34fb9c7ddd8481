"""A row of tests that was put right in its sheet: the dry run names the earlier test, which only a void ends."""

import re
from pathlib import Path
from uuid import uuid4

import pytest
from sqlalchemy import select

from service.exchange.files import import_file
from service.exchange.sheets.actions import Answers
from service.testlog.models import Test
from tests.exchange.test_sheets import brought_in, count, fates, tried
from tests.support.program import Running, op, running

GEAR = "Code,Name,Length\n7K3M9U,low end,10 ft\n,high end,10 ft\n"
SHEET = """Cable,Date,Time,Result,Problem
low end,2025-10-01,,fail,pin 2 open
low end,2025-10-01,,fail,crackles
low end,2025-10-02,7:30 pm,pass,
high end,2025-10-01,,pass,
"""
SAID = "from an earlier sheet. If this row corrects it, void that one after."


def logged(program: Running, note: str, verdict: str = "fail") -> str:
    """The id of the test with this note."""
    with program.store.reading() as db:
        return str(db.scalars(select(Test.id).where(Test.note == note, Test.verdict == verdict)).one())


@pytest.mark.parametrize(
    ("right", "line", "old"),
    [
        ("2025-10-01,,fail,pin 3 open", 2, "a fail of this day that this sheet does not have: “pin 2 open”,"),
        ("2025-10-01,,pass,works fine", 2, "a fail of this day that this sheet does not have: “pin 2 open”,"),
        (
            "2025-10-01,8 pm,fail,pin 2 open",
            2,
            "a fail of this day that this sheet does not have: “pin 2 open”,",
        ),
    ],
)
def test_the_earlier_test_is_named_where_a_row_was_put_right(program: Running, right: str, line: int, old: str) -> None:
    brought_in(program, GEAR)
    brought_in(program, SHEET)
    corrected = SHEET.replace("2025-10-01,,fail,pin 2 open", right)
    page = tried(program, corrected)
    assert fates(page) == [(row, "New" if row == line else "Same") for row in range(2, 6)]
    assert page.text.count(SAID) == 1
    assert f"The log has {old} {SAID}" in page.text
    earlier = f"/tests/{logged(program, 'pin 2 open')}"
    assert f'<a href="{earlier}">The earlier fail</a>' in page.text
    done = brought_in(program, corrected)
    assert f'<a href="{earlier}">The earlier fail</a>' in done.text
    assert SAID not in tried(program, corrected).text  # it is in the log now
    assert program.lead.post(f"{earlier}/void", data={"op": op(), "reason": "typed wrong"}).status_code == 303
    again = corrected.replace(right, "2025-10-01,,fail,pins 2 and 3 short")
    assert tried(program, again).text.count(SAID) == 1  # of the one that was brought in since, not of the voided one


def test_a_moment_that_was_put_right(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        brought_in(program, SHEET)
        page = tried(program, SHEET.replace("7:30 pm", "7:45 pm"))
        assert f"The log has a pass of this day that this sheet does not have: {SAID}" in page.text


def test_several_tests_of_a_day_need_no_words(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        brought_in(program, SHEET)
        more = f"{SHEET}low end,2025-10-01,9 pm,pass,\nhigh end,2025-10-02,,fail,dead\n"
        page = tried(program, more)
        assert fates(page)[-2:] == [(6, "New"), (7, "New")]
        assert SAID not in page.text


def test_a_test_by_phone_needs_no_words(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        sent = {
            "id": str(uuid4()),
            "item": "7K3M9U",
            "session": None,
            "tested_at": "2025-10-01T19:00:00-04:00",
            "method": "two_ended",
            "joined": None,
            "probed": "all",
            "evidence": [{"class": "intermittent", "end": "B", "note": ""}],
            "note": "",
        }
        answer = program.lead.post("/api/v1/tests", json=sent)
        assert answer.status_code == 201, answer.text
        assert count(program, Test) == 1
        page = tried(program, SHEET)
        assert {fate for _, fate in fates(page)} == {"New"}
        assert SAID not in page.text


def test_a_test_that_was_left_out_needs_no_words(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        brought_in(program, SHEET)
        page = tried(program, "Cable,Date,Result,Voided at\nlow end,2025-10-01,pass,2025-10-02\n")
        assert fates(page) == [(2, "Left out")]
        assert SAID not in page.text
        alone = tried(program, "Cable,Date,Result\nlow end,2025-10-01,pass\n")
        assert len(re.findall(r'<a href="/tests/', alone.text)) == 2


def test_the_command_names_the_earlier_test_too(program: Running, tmp_path: Path) -> None:
    brought_in(program, GEAR)
    brought_in(program, SHEET)
    sheet = tmp_path / "tests.csv"
    sheet.write_text(SHEET.replace("pin 2 open", "pin 3 open"))
    said = import_file(program.store, program.clock.now, str(sheet), Answers(between=False), dry=False)
    earlier = logged(program, "pin 2 open")
    assert f"line 2: if this corrected the earlier fail, void that one: /tests/{earlier}" in list(said)
