"""Ids under which something is there without a receipt: the demo's, or what a sheet brought in."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlalchemy import delete, select

from service.crew.actions import make_token
from service.crew.core import Role
from service.store.receipts import Receipt, digest_with_actor
from service.testlog.core import Evidence
from service.testlog.models import Test
from service.wiring.faults import FaultClass
from tests.home.test_seasons import FORM
from tests.support.program import BASE, Running, op
from tests.tags.test_setup import OWN
from tests.testers.test_lamps import LAMPS
from tests.testlog.support import GOOD, OPEN_2, bench

URL = "/api/v1/tests"


def as_sent(logged: dict[str, Any]) -> dict[str, Any]:
    """A test of the log as a phone would have sent it."""
    first, *through = logged["items"]
    kept = ("id", "tested_at", "method", "joined", "probed", "evidence", "note")
    return {name: logged[name] for name in kept} | {"item": first, "through": through}


def log(program: Running) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = program.viewer.get(URL, params={"limit": 200}).json()["items"]
    return found


def test_the_same_test_as_the_log_has_gets_its_answer_and_another_is_refused(program: Running) -> None:
    at = bench(program, "xlr3", "xlr3")
    code, other = at.codes
    found = (Evidence(FaultClass.INTERMITTENT, None, "only at the plug"),)
    logged = at.test(code, OPEN_2, evidence=found, note="by the door")
    (kept,) = log(program)
    sent = as_sent(kept)
    for same in (sent, sent | {"joined": [pair[::-1] for pair in reversed(sent["joined"])]}):
        answer = program.crew.post(URL, json=same)
        assert (answer.status_code, answer.json()) == (201, logged), answer.text
    changes: list[dict[str, Any]] = [
        {"item": other},
        {"through": [other]},
        {"tested_at": "2026-09-21T21:00:00Z"},
        {"tested_at": None},
        {"joined": GOOD},
        {"probed": ["A1", "A3", "B1", "B3"]},
        {"evidence": []},
        {"note": ""},
    ]
    for changed in changes:
        answer = program.crew.post(URL, json=sent | changed)
        assert (answer.status_code, sent["id"] in answer.json()["detail"]) == (422, True), changed
    assert program.viewer.post(URL, json=sent).status_code == 403
    assert log(program) == [kept]


MADE: dict[str, Callable[[Running, list[str]], tuple[TestClient, str, dict[str, Any]]]] = {
    "items": lambda program, _: (
        program.lead,
        "/api/v1/items",
        {"kind": "cable", "wiring": "xlr3", "length": "10 ft", "count": 2},
    ),
    "swap": lambda program, codes: (
        program.crew,
        "/api/v1/swaps",
        {"bad": codes[0], "spare": codes[1], "anyway": True},
    ),
    "repair": lambda program, codes: (program.crew, f"/t/{codes[0]}/repair", {"what": "new plug"}),
    "test": lambda program, codes: (program.crew, f"/t/{codes[0]}/test", {"verdict": "pass", "sure": "yes"}),
    "place": lambda program, _: (program.lead, "/places", {"name": "Frame 9", "kind": "frame"}),
    "session": lambda program, _: (
        program.lead,
        "/sessions",
        {"on": "2026-09-21", "title": "Thursday", "why": ["untested"], "place": ""},
    ),
    "season": lambda program, _: (program.lead, "/season/new", FORM),
    "tester": lambda program, _: (program.lead, "/testers/new", LAMPS),
    "tag sheet": lambda program, _: (program.lead, "/tags/sheets", OWN),
}
"""What is made under a client's id: who sends what, where."""


@pytest.mark.parametrize("what", MADE)
def test_no_id_that_is_taken_breaks_the_service(program: Running, what: str) -> None:
    at = bench(program, "xlr3", "xlr3")
    client, path, body = MADE[what](program, at.codes)
    key = op()

    def send() -> Response:
        if path.startswith("/api/"):
            return client.post(path, json={"id": key} | body)
        return client.post(path, data={"op": key} | body)

    assert send().status_code in (201, 303)
    with program.store.writing() as db:
        db.execute(delete(Receipt).where(Receipt.id == UUID(key)))
    again = send()
    assert again.status_code in (409, 422), again.text
    with program.store.reading() as db:
        assert db.get(Receipt, UUID(key)) is None


def somebody(program: Running, name: str, role: Role = Role.CREW) -> TestClient:
    """A client for one more person."""
    with program.store.writing() as db:
        token = make_token(db, name, role, program.clock.now)
    return TestClient(program.crew.app, BASE, headers={"Authorization": f"Bearer {token}"})


@pytest.mark.parametrize("older", [False, True])
def test_the_same_entry_of_somebody_who_joined_again_is_the_one_that_is_there(program: Running, older: bool) -> None:
    at = bench(program, "xlr3")
    sent: dict[str, Any] = {"id": op(), "item": at.codes[0], "joined": GOOD, "tested_at": program.clock.now.isoformat()}
    mira, mira_again = somebody(program, "Mira"), somebody(program, "Mira (2)")
    first = mira.post(URL, json=sent)
    if older:  # a receipt from before the update said who asked
        with program.store.writing() as db:
            receipt = db.get_one(Receipt, UUID(sent["id"]))
            author = db.scalars(select(Test.person_id)).one()
            assert author is not None
            filled: dict[str, Any] = {
                "session": None,
                "method": "two_ended",
                "probed": "all",
                "evidence": [],
                "note": "",
                "through": [],
                "wiring": None,
            }
            content = {name: value for name, value in sent.items() if name != "id"} | filled
            content["tested_at"] = "2026-09-21T22:00:00Z"
            receipt.digest = digest_with_actor("test.log", author, content)
    for who in (mira, mira_again, program.lead):
        again = who.post(URL, json=sent | {"sent_at": program.clock.now.isoformat()})
        assert (again.status_code, again.json()) == (201, first.json())
    assert mira_again.post(URL, json=sent | {"note": "other"}).status_code == 422
    assert (
        program.viewer.post(URL, json=sent).status_code,
        program.stranger.post(URL, json=sent).status_code,
    ) == (
        403,
        401,
    )
    assert [one["by"] for one in log(program)] == ["Mira"]
