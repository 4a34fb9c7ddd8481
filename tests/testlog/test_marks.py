"""A test that its tester says was wrong: it proves nothing until a lead decides, and frees nothing that failed."""

from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import select

from service.chores import CHORES
from service.crew.models import AuditEntry
from service.gear.core import ItemState
from service.kit.dates import local_date
from service.season.core import DueState
from service.season.models import ItemDue, SeasonRow
from service.testlog.housekeeping import keep_house, verify
from service.testlog.models import MarkStands, WrongMark
from service.testlog.queries import events, histories
from service.testlog.rounds import open_round, progress
from tests.support.program import Running, op
from tests.testlog.support import FLEXED, GOOD, OPEN_2, ZONE, Bench, bench

URL = "/api/v1/tests"
MARKS = "/api/v1/marks"


def made(program: Running, *wirings: str) -> Bench:
    at = bench(program, *wirings)
    keep_house(program.store, program.clock.now, CHORES)
    return at


def log(program: Running, code: str, joined: Any = GOOD, **more: Any) -> str:
    """A test from a helper's phone; its id."""
    program.clock.ahead(minutes=1)
    body = {"id": op(), "item": code, "joined": joined, "tested_at": program.clock.now.isoformat()} | more
    answer = program.crew.post(URL, json=body)
    assert answer.status_code == 201, answer.text
    return str(body["id"])


def mark(program: Running, test: str, note: str = "") -> dict[str, Any]:
    program.clock.ahead(minutes=1)
    answer = program.crew.post(MARKS, json={"id": op(), "test": test, "note": note})
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def decide(program: Running, test: str, stands: bool) -> None:
    program.clock.ahead(minutes=1)
    what = {"stands": "I saw it done"} if stands else {"reason": "another cable"}
    answer = program.lead.post(f"/tests/{test}/{'stands' if stands else 'void'}", data={"op": op()} | what)
    assert answer.status_code == 303, answer.text


def due(at: Bench, code: str) -> DueState:
    with at.program.store.reading() as db:
        return DueState(db.get_one(ItemDue, at.ids[code]).state)


def sound(at: Bench) -> None:
    """What is cached is what the history says, and what is remembered is what it is."""
    assert verify(at.program.store, at.program.clock.now) == []
    with at.program.store.reading() as db:
        assert {key: found for key, found in histories(db).items() if found} == {
            key: found for key, found in events(db, at.ids.values()).items() if found
        }


def passed(program: Running) -> int:
    with program.store.reading() as db:
        season_id, today = db.scalars(select(SeasonRow.id)).one(), local_date(program.clock.now, ZONE)
        rounds = progress(db, season_id, ZONE)
        assert open_round(db, season_id, today, ZONE) == next((each for each in rounds if each.is_open(today)), None)
        return rounds[0].passed


@pytest.mark.parametrize("stands", [False, True])
def test_a_pass_marked_as_wrong_counts_as_no_test_until_a_lead_decides(program: Running, stands: bool) -> None:
    at = made(program, "xlr3")
    (code,) = at.codes
    test = log(program, code)
    assert (due(at, code), passed(program)) == (DueState.CURRENT, 1)
    sound(at)
    assert mark(program, test, "it was the next cable")["marked"] is True
    assert (due(at, code), passed(program)) == (DueState.UNTESTED, 0)
    sound(at)
    decide(program, test, stands)
    assert (due(at, code), passed(program)) == ((DueState.CURRENT, 1) if stands else (DueState.UNTESTED, 0))
    sound(at)


@pytest.mark.parametrize("stands", [False, True])
def test_a_fail_marked_as_wrong_keeps_the_item_from_use(program: Running, stands: bool) -> None:
    at = made(program, "xlr3")
    (code,) = at.codes
    log(program, code)
    test = log(program, code, OPEN_2)
    mark(program, test)
    assert (at.state(code), due(at, code)) == (ItemState.QUARANTINED, DueState.BLOCKED)
    log(program, code)
    assert at.state(code) == ItemState.QUARANTINED  # a pass alone still ends no fail
    sound(at)
    decide(program, test, stands)
    assert at.state(code) == (ItemState.QUARANTINED if stands else ItemState.IN_SERVICE)
    sound(at)


def test_a_pass_after_a_repair_that_is_marked_ends_no_fault(program: Running) -> None:
    at = made(program, "xlr3")
    (code,) = at.codes
    log(program, code, OPEN_2)
    program.clock.ahead(minutes=1)
    at.repair(code)
    test = log(program, code)
    assert at.state(code) == ItemState.IN_SERVICE
    mark(program, test)
    assert (at.state(code), due(at, code)) == (ItemState.IN_REPAIR, DueState.BLOCKED)
    sound(at)
    decide(program, test, stands=True)
    assert at.state(code) == ItemState.IN_SERVICE
    sound(at)


def test_a_fail_that_is_marked_clears_nothing_else_of_suspicion(program: Running) -> None:
    at = made(program, "xlr3", "xlr3")
    first, second = at.codes
    log(program, first, OPEN_2, through=[second])
    found = log(program, second, OPEN_2)
    assert (at.flags(first), due(at, first)) == ([], DueState.UNTESTED)
    mark(program, found)
    assert (len(at.flags(first)), due(at, first)) == (1, DueState.BLOCKED)
    sound(at)
    decide(program, found, stands=True)
    assert (at.flags(first), due(at, first)) == ([], DueState.UNTESTED)
    sound(at)


def test_a_flex_test_that_is_marked_clears_no_suspicion(program: Running) -> None:
    at = made(program, "xlr3")
    (code,) = at.codes
    program.crew.post("/api/v1/suspects", json={"id": op(), "item": code})
    test = log(program, code, evidence=[{"class": FLEXED[0].kind.value}])
    assert at.flags(code) == []
    mark(program, test)
    assert len(at.flags(code)) == 1
    sound(at)


def test_only_its_tester_marks_a_test_and_only_once(program: Running) -> None:
    at = made(program, "xlr3")
    (code,) = at.codes
    theirs = at.test(code)["id"]
    refused = program.crew.post(MARKS, json={"id": op(), "test": theirs})
    assert (refused.status_code, "Tell your lead" in refused.json()["detail"]) == (409, True)
    test = log(program, code)
    assert program.viewer.post(MARKS, json={"id": op(), "test": test}).status_code == 403
    sent = {"id": op(), "test": test, "sent_at": program.clock.now.isoformat()}
    first = program.crew.post(MARKS, json=sent)
    program.clock.ahead(minutes=1)
    again = program.crew.post(MARKS, json=sent | {"sent_at": program.clock.now.isoformat()})
    assert (again.status_code, again.json()) == (201, first.json())
    assert mark(program, test)["marked"] is True  # by another tap
    decide(program, test, stands=True)
    stood = program.crew.post(MARKS, json={"id": op(), "test": test})
    assert (stood.status_code, "stands" in stood.json()["detail"]) == (409, True)
    twice = program.lead.post(f"/tests/{test}/stands", data={"op": op(), "stands": "as said"})
    assert twice.status_code == 409
    with program.store.reading() as db:
        assert [row.test_id for row in db.scalars(select(WrongMark))] == [UUID(test)]
        assert [row.reason for row in db.scalars(select(MarkStands))] == ["I saw it done"]
        said = db.scalars(select(AuditEntry.action).where(AuditEntry.subject == test)).all()
    assert said == ["test.marked_wrong", "test.mark_stands"]


def test_what_never_came_is_taken_back_and_never_comes(program: Running) -> None:
    at = made(program, "xlr3")
    (code,) = at.codes
    body = {"id": op(), "item": code, "joined": GOOD, "tested_at": program.clock.now.isoformat()}
    assert mark(program, str(body["id"]))["marked"] is False
    late = program.crew.post(URL, json=body)  # it was on its way all the time
    assert late.status_code == 422
    assert mark(program, str(body["id"]))["marked"] is False
    assert program.viewer.get(URL).json()["items"] == []
    assert due(at, code) == DueState.UNTESTED


SUMMARY = 'role="alert"'


def test_a_refused_word_is_told_once_above_and_keeps_what_was_typed(program: Running) -> None:
    at = made(program, "xlr3")
    (code,) = at.codes
    test = log(program, code)
    refused = {
        "wrong": program.crew.post(f"/tests/{test}/wrong", data={"note": "the next one"}),
        "void": program.lead.post(f"/tests/{test}/void", data={"reason": "wrong cable"}),
    }
    mark(program, test)
    refused["stands"] = program.lead.post(f"/tests/{test}/stands", data={"stands": "I saw it"})
    for words, answer in zip(("the next one", "wrong cable", "I saw it"), refused.values(), strict=True):
        assert answer.status_code == 422
        assert answer.text.count(SUMMARY) == 1
        assert answer.text.index(SUMMARY) < answer.text.index("<section")
        assert "out of date" in answer.text
        assert f'value="{words}"' in answer.text
        assert "<details open>" in answer.text or "It stands" in answer.text


def test_a_voided_test_says_why_it_is_voided_no_more(program: Running) -> None:
    at = made(program, "xlr3")
    test = log(program, at.codes[0])
    decide(program, test, stands=False)
    answer = program.lead.post(f"/tests/{test}/void", data={"op": op(), "reason": " "})
    assert answer.status_code == 422
    assert "Say why this test does not stand" in answer.text


def test_pages_ask_the_lead_and_tell_everybody(program: Running) -> None:
    at = made(program, "xlr3")
    (code,) = at.codes
    test = log(program, code)
    assert "This was wrong" in program.crew.get(f"/tests/{test}").text
    assert "This was wrong" not in program.lead.get(f"/tests/{test}").text
    assert "Does it stand?" not in program.lead.get("/").text
    long = program.crew.post(f"/tests/{test}/wrong", data={"op": op(), "note": "x" * 501})
    assert (long.status_code, "500 are the most" in long.text) == (422, True)
    answer = program.crew.post(f"/tests/{test}/wrong", data={"op": op(), "note": "the next cable"})
    assert answer.headers["location"] == f"/tests/{test}"
    for page in (
        program.viewer.get(f"/tests/{test}"),
        program.viewer.get("/tests"),
        program.viewer.get(f"/t/{code}"),
    ):
        assert "marked as wrong" in page.text
    assert "the next cable" in program.viewer.get(f"/tests/{test}").text
    assert "This was wrong" not in program.crew.get(f"/tests/{test}").text
    now = program.lead.get("/").text
    assert "Does it stand?" in now
    assert f"/tests/{test}" in now
    assert "Does it stand?" not in program.crew.get("/").text
    shown = program.lead.get(f"/tests/{test}").text
    assert f"/tests/{test}/stands" in shown
    assert f"/tests/{test}/void" in shown
    empty = program.lead.post(f"/tests/{test}/stands", data={"op": op(), "stands": " "})
    assert (empty.status_code, "Say why this test stands" in empty.text) == (422, True)
    (told,) = program.viewer.get(URL).json()["items"]
    assert (told["marked"]["note"], told["marked"]["stands"]) == ("the next cable", False)
    decide(program, test, stands=True)
    assert "I saw it done" in program.viewer.get(f"/tests/{test}").text
    assert "Does it stand?" not in program.lead.get("/").text
