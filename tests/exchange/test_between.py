"""A pass after a fail with no repair told in between: page and command ask the same, and say before anything is written
how many items end in which state.
"""

import html
from pathlib import Path

import pytest
from sqlalchemy import select

from service.exchange.files import import_file
from service.exchange.sheets.actions import Answers
from service.gear.models import Item
from service.kit.problems import Problem
from service.testlog.models import Repair, Test
from tests.exchange.test_sheets import brought_in, count, tried
from tests.support.program import Running, running

GEAR = "Name,Length\nlow end,10 ft\nhigh end,10 ft\nthird,10 ft\nfourth,10 ft\n"
TESTS = """Cable,Date,Result,Problem,Fix
low end,2025-10-01,fail,pin 2 open,
low end,2025-10-05,pass,,
high end,2025-10-01,bad,crackles at the plug,new plug
high end,2025-10-02,ok,,
third,2025-10-03,FAIL,,
fourth,2025-10-01,fail,,couldn't fix it
fourth,2025-10-02,pass,,
"""
ASKED = (
    "1 pass follows a fail with no repair told in between: line 3 ({code}, low end: pass on 2025-10-05). "
    "Was there a repair in between? If so, the items of this sheet end as 2 in service, 2 quarantined; if not, as 1 in "
    "service, 3 quarantined."
)


def states(program: Running) -> dict[str, str]:
    """The state of each item, by its label."""
    with program.store.reading() as db:
        return dict(db.execute(select(Item.label, Item.state)).all())


def said(program: Running, sheet: Path, answers: Answers, *, dry: bool = False) -> list[str]:
    """What the command says."""
    return [*import_file(program.store, program.clock.now, str(sheet), answers, dry=dry)]


@pytest.mark.parametrize(
    ("between", "low_end", "ends"),
    [
        (True, "in_service", "2 in service, 2 quarantined"),
        (False, "quarantined", "1 in service, 3 quarantined"),
    ],
)
def test_page_and_command_ask_the_same(sqlite_url: str, tmp_path: Path, between: bool, low_end: str, ends: str) -> None:
    sheet = tmp_path / "tests.csv"
    sheet.write_text(TESTS)
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        page = tried(program, TESTS, between="")
        assert page.status_code == 422
        told = html.unescape(page.text)
        code = told.split("line 3 (")[1][:6]
        assert ASKED.format(code=code) in told
        with pytest.raises(Problem) as refusal:
            said(program, sheet, Answers())
        assert refusal.value.detail == (
            ASKED.format(code=code) + " Answer with --repaired-between or --no-repaired-between."
        )
        assert count(program, Test) == 0
        make_request = tried(program, TESTS, between="yes" if between else "no")
        assert f"Then the items of this sheet are: {ends}." in make_request.text
        dry = said(program, sheet, Answers(between=between), dry=True)
        assert f"Then the items of this sheet would be: {ends}." in dry
        assert count(program, Test) == 0
        assert f"The items of this sheet become: {ends}." in said(program, sheet, Answers(between=between))
        assert states(program) == {
            "low end": low_end,
            "high end": "in_service",
            "third": "quarantined",
            "fourth": "quarantined",
        }
        again = tried(program, TESTS, between="")  # it was said once, so nobody is asked again
        assert again.status_code == 200


def test_a_fail_that_the_log_has_is_asked_for_too(program: Running) -> None:
    brought_in(program, GEAR)
    head, fail, passed, *_ = TESTS.splitlines()
    brought_in(program, f"{head}\n{fail}\n")
    assert tried(program, f"{head}\n{passed}\n", between="").status_code == 422
    brought_in(program, f"{head}\n{passed}\n", between="yes")
    assert states(program)["low end"] == "in_service"


@pytest.mark.parametrize("rows", ["low end,{day},repaired,,new plug", "low end,{day},fixed,new plug,"])
def test_a_repair_may_be_a_row_of_its_own(sqlite_url: str, rows: str) -> None:
    """Of one day, the fail is taken as before the repair, and the pass as after it."""
    day = "2025-10-01"
    sheet = f"Cable,Date,Result,Problem,Fix\nlow end,{day},fail,pin 2 open,\n{rows}\nlow end,{day},pass,,\n"
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        for _ in range(2):
            page = brought_in(program, sheet.format(day=day), between="")
            assert page.status_code == 200
            assert (count(program, Test), count(program, Repair)) == (2, 1)
        with program.store.reading() as db:
            assert db.scalars(select(Repair.what)).one() == "new plug"
        assert states(program)["low end"] == "in_service"


def test_a_day_has_its_fail_repair_and_pass(sqlite_url: str) -> None:
    on = "2025-10-01"
    rows = [
        f"low end,{on},fail,new plug",
        f"low end,{on},pass,",
        f"high end,{on},fail,",
        f"high end,{on},pass,",
    ]
    sheet = "\n".join(["Cable,Date,Result,Fix", *rows])
    with running(sqlite_url) as program:
        brought_in(program, GEAR)
        brought_in(program, sheet, between="yes")
        assert states(program)["low end"] == states(program)["high end"] == "in_service"
