"""Tests that come in while others are logged go together, and each phone hears about its own."""

from collections.abc import Sequence
from contextlib import closing
from typing import Any
from uuid import UUID, uuid4

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Connection, event
from starlette.requests import Request

from service.chores import CHORES
from service.crew.actions import make_token
from service.crew.context import RequestContext
from service.crew.core import Role
from service.gear.core import ItemState
from service.gear.queries import states
from service.kit.problems import Busy, Invalid, NotAllowed, Reused, SignInNeeded
from service.store.engine import sqlite_driver
from service.store.receipts import NotBatchable
from service.testlog.core import NewTest, SubmittedTest
from service.testlog.housekeeping import keep_house, verify
from service.testlog.logging_tests import PendingTest, log_batch, log_tests
from service.testlog.models import WorkSession
from tests.support.program import Running, running
from tests.testlog.support import FLEXED, GOOD, OPEN_2, ZONE, Bench, bench


def cables(program: Running, number: int) -> Bench:
    """As many cables in a season, with house kept, so that what is cached of each can be looked at."""
    at = bench(program, *["xlr3"] * number)
    keep_house(program.store, program.clock.now, CHORES)
    return at


def told(client: TestClient, code: str, joined: Any = GOOD, test_id: UUID | None = None, **more: Any) -> PendingTest:
    """A test as the API hands it on, from the phone of this client."""
    header = client.headers.get("authorization", "").encode()
    scope = {"type": "http", "method": "POST", "path": "/", "app": client.app, "headers": [(b"authorization", header)]}
    new = NewTest(test_id or uuid4(), code, joined=joined, **more)
    context = RequestContext(Request(scope), Role.CREW)
    return PendingTest(context, new, [code, joined], context.now)


def logged(program: Running) -> list[tuple[str, str, str]]:
    """What the log has: ids, verdicts and who logged them."""
    found = program.viewer.get("/api/v1/tests", params={"limit": 200}).json()["items"]
    return sorted((one["id"], one["verdict"], one["by"]) for one in found)


def commits(program: Running, tests: Sequence[PendingTest]) -> tuple[Sequence[Any], int]:
    """The outcomes, and how many transactions they took."""
    seen = []

    def count(connection: Connection) -> None:
        seen.append(connection)

    event.listen(program.store.writer, "commit", count)
    outcomes = log_batch(tests)
    event.remove(program.store.writer, "commit", count)
    return outcomes, len(seen)


def test_tests_of_several_people_share_one_transaction(program: Running) -> None:
    at = cables(program, 5)
    tests = [
        told(phone, code, joined)
        for code, phone, joined in zip(
            at.codes,
            [program.crew, program.lead, program.crew, program.lead, program.crew],
            [GOOD, GOOD, OPEN_2, GOOD, OPEN_2],
            strict=True,
        )
    ]
    outcomes, transactions = commits(program, tests)
    assert transactions == 1
    assert [one["item"] for one in outcomes] == at.codes
    assert [one["state"] for one in outcomes] == [at.state(code) for code in at.codes]
    assert at.state(at.codes[2]) is ItemState.QUARANTINED
    by = {str(one.new.id): "Crew" if at.codes.index(one.new.item) % 2 == 0 else "Lead" for one in tests}
    assert logged(program) == sorted((one["id"], one["verdict"], by[one["id"]]) for one in outcomes)
    with program.store.reading() as db:
        changed = states(db, at.ids[at.codes[2]])[-1]
    assert (changed.person_id, changed.reason) == (tests[2].context.me.id, "Failed: Conductor 2 (hot) is open.")
    assert verify(program.store, program.clock.now) == []


def test_one_helper_may_send_several_of_a_session_at_once(program: Running) -> None:
    at = cables(program, 3)
    now, session = program.clock.now, uuid4()
    with program.store.writing() as db:
        db.add(
            WorkSession(
                id=session,
                title="Thursday",
                kind="test",
                on=now.date(),
                note="",
                created_at=now,
                closing_note="",
            )
        )
    outcomes, transactions = commits(program, [told(program.crew, code, session=session) for code in at.codes])
    assert transactions == 1
    assert [outcome["verdict"] for outcome in outcomes] == ["pass"] * 3


def test_the_same_tests_again_get_the_same_answers(program: Running) -> None:
    at = cables(program, 3)
    tests = [told(program.crew, code) for code in at.codes]
    first = log_batch(tests)
    again = [told(program.crew, one.new.item, test_id=one.new.id) for one in reversed(tests)]
    assert log_batch(again) == list(reversed(first))
    assert len(logged(program)) == 3


def test_somebody_whose_access_has_ended_holds_up_nobody_else(program: Running) -> None:
    at = cables(program, 3)
    phones = [program.crew, program.stranger, program.lead]
    outcomes, transactions = commits(program, [told(phone, code) for phone, code in zip(phones, at.codes, strict=True)])
    assert transactions == 1
    assert [type(one) for one in outcomes] == [dict, SignInNeeded, dict]
    nobody = log_batch([told(program.stranger, code) for code in at.codes])
    assert [type(one) for one in nobody] == [SignInNeeded] * 3
    assert len(logged(program)) == 2


def test_what_is_wrong_with_one_is_told_to_that_one(program: Running) -> None:
    at = cables(program, 6)
    before = told(program.crew, at.codes[5])
    log_batch([before])
    with program.store.writing() as db:
        ended = TestClient(program.crew.app, headers={"Authorization": "Bearer " + "A" * 28})  # never made
        token = make_token(db, "Second phone", Role.CREW, program.clock.now)
    second = TestClient(program.crew.app, headers={"Authorization": f"Bearer {token}"})
    outcomes = log_batch(
        [
            told(second, at.codes[0]),
            told(program.crew, at.codes[1], [["A1", "B7"]]),
            told(ended, at.codes[2]),
            told(program.viewer, at.codes[3]),
            told(program.crew, at.codes[4], test_id=before.new.id),
            told(program.crew, "222222"),
            told(program.crew, at.codes[4]),
        ]
    )
    kinds = [type(one) for one in outcomes]
    assert kinds == [dict, Invalid, SignInNeeded, NotAllowed, Reused, Invalid, dict]
    assert "B7" in outcomes[1].errors["joined"]
    assert "222222" in outcomes[5].errors["item"]
    assert {one for one, _, _ in logged(program)} == {
        str(before.new.id),
        outcomes[0]["id"],
        outcomes[6]["id"],
    }
    assert verify(program.store, program.clock.now) == []


@pytest.mark.parametrize("second", [GOOD, OPEN_2])
@pytest.mark.parametrize("first", [GOOD, OPEN_2])
def test_what_failed_together_comes_to_the_same_at_once_and_one_after_the_other(
    program: Running, first: Any, second: Any
) -> None:
    """A fail through two makes both suspect, and what each does by itself says which of them is."""
    found = []
    for at_once in (True, False):
        at = cables(program, 2)
        one, two = at.codes
        log_batch([told(program.crew, one, OPEN_2, through=(two,))])
        assert [len(at.flags(code)) for code in at.codes] == [1, 1]
        flex: dict[str, Any] = {"evidence": FLEXED}
        tests = [told(program.crew, one, first, **flex), told(program.lead, two, second, **flex)]
        for outcomes in [log_batch(tests)] if at_once else [log_batch([test]) for test in tests]:
            assert all(isinstance(outcome, dict) for outcome in outcomes)
        found.append([(at.state(code), len(at.flags(code))) for code in at.codes])
        assert verify(program.store, program.clock.now) == []
    assert found[0] == found[1]


@pytest.mark.parametrize("codes", [(0, 0), (0, 2)])
def test_what_touches_others_is_logged_by_itself(program: Running, codes: tuple[int, int]) -> None:
    """Two of one item; and one of an item that failed together with another, which none of them is of."""
    at = cables(program, 3)
    at.test(at.codes[0], OPEN_2, through=(at.codes[1],))
    said = [SubmittedTest(NewTest(uuid4(), at.codes[each], joined=GOOD), at.lead, program.clock.now) for each in codes]
    with pytest.raises(NotBatchable), program.store.writing() as db:
        log_tests(db, said, ZONE)
    assert len(logged(program)) == 1
    outcomes, transactions = commits(program, [told(program.crew, at.codes[each]) for each in codes])
    assert transactions == 2
    assert [outcome["verdict"] for outcome in outcomes] == ["pass", "pass"]


def test_a_database_that_is_held_elsewhere_is_waited_for_once(sqlite_url: str) -> None:
    """Another process takes it just when each of the tests is to go by itself."""
    path = sqlite_url.removeprefix("sqlite:///")
    with (
        running(sqlite_url) as program,
        closing(sqlite_driver().connect(path, isolation_level=None)) as other,
    ):
        at = cables(program, 4)
        connections = []

        def take_it(connection: object, *_about: object) -> None:
            connections.append(connection)
            if len(connections) == 2:
                other.execute("BEGIN IMMEDIATE")

        event.listen(program.store.writer, "checkout", take_it)
        outcomes = log_batch([told(program.crew, code) for code in [*at.codes, "222222"]])
        assert [type(one) for one in outcomes] == [Busy] * 5
        assert len(connections) == 2
        other.execute("ROLLBACK")
        assert logged(program) == []


def test_what_breaks_on_one_is_told_to_that_one_alone(program: Running) -> None:
    """A text that no database can keep: no refusal of ours, so it breaks in the driver."""
    at = cables(program, 3)
    outcomes = log_batch(
        [
            told(program.crew, at.codes[0]),
            told(program.lead, at.codes[1], note="\ud800"),
            told(program.crew, at.codes[2]),
        ]
    )
    assert [type(one) for one in outcomes] == [dict, UnicodeEncodeError, dict]
    assert [one["item"] for one in (outcomes[0], outcomes[2])] == [at.codes[0], at.codes[2]]
    assert len(logged(program)) == 2


def test_sessions_are_held_in_the_same_order_by_everybody(program: Running) -> None:
    """Two workers that note helpers in the same sessions never wait for each other crosswise."""
    at = cables(program, 6)
    now, sessions = program.clock.now, [uuid4() for _ in at.codes]
    with program.store.writing() as db:
        db.add_all(
            WorkSession(
                id=session,
                title="Thursday",
                kind="test",
                on=now.date(),
                note="",
                created_at=now,
                closing_note="",
            )
            for session in sessions
        )
    held = []

    def keep(_connection: object, _cursor: object, statement: str, parameters: Any, *_about: object) -> None:
        if "FOR UPDATE" in statement and "FROM work_session" in statement:
            held.extend(parameters.values())

    event.listen(program.store.writer, "before_cursor_execute", keep)
    outcomes = log_batch(
        [told(program.crew, code, session=session) for code, session in zip(at.codes, sessions, strict=True)]
    )
    event.remove(program.store.writer, "before_cursor_execute", keep)
    assert [outcome["verdict"] for outcome in outcomes] == ["pass"] * 6
    assert held == sorted(held)
    assert len(held) == (6 if program.store.writer.dialect.name == "postgresql" else 0)
