"""The tests API as phones and programs know it."""

import json
from datetime import timedelta
from typing import Any

import pytest

from service.kit.codes import ALPHABET
from service.tags.actions import issue
from service.tags.models import Tag
from tests.support.program import Running, op
from tests.testlog.support import GOOD, OPEN_2, Bench, bench

URL = "/api/v1/tests"


def body(at: Bench, **more: Any) -> dict[str, Any]:
    now = at.program.clock.now.isoformat()
    return {
        "id": op(),
        "item": at.codes[0],
        "session": None,
        "tested_at": now,
        "method": "two_ended",
        "joined": GOOD,
        "probed": "all",
        "evidence": [],
        "note": "",
    } | more


def test_a_test_is_answered_with_its_receipt(program: Running) -> None:
    at = bench(program, "xlr3")
    sent = body(at, joined=[["A1", "B1"], ["A2", "B3"], ["A3", "B2"]])
    answer = program.crew.post(URL, json=sent)
    assert answer.status_code == 201, answer.text
    assert answer.json() == {
        "id": sent["id"],
        "item": at.codes[0],
        "verdict": "fail",
        "faults": [{"class": "reversed_pair", "conductors": ["2", "3"], "end": None}],
        "received_at": program.clock.now.isoformat(),
        "state": "quarantined",
    }


def test_the_same_again_changes_nothing_and_other_content_is_refused(program: Running) -> None:
    at = bench(program, "xlr3")
    sent = body(at)
    first = program.crew.post(URL, json=sent)
    program.clock.ahead(hours=1)
    again = program.crew.post(URL, json=sent)
    assert (again.status_code, again.json()) == (201, first.json())
    other = program.crew.post(URL, json=sent | {"note": "again"})
    assert other.status_code == 422
    assert sent["id"] in other.json()["detail"]
    assert len(program.viewer.get(URL).json()["items"]) == 1


@pytest.mark.parametrize(
    ("wrong", "field", "says"),
    [
        ({"item": "222222"}, "item", "222222"),
        ({"item": "7K3M9U"}, "item", "7K3M9U is not a tag of this program"),
        ({"through": ["7K3M9U"]}, "through", "7K3M9U"),
        ({"joined": [["A1", "B7"]]}, "joined", "'B7'"),
        ({"joined": [["A1", "B1"]], "probed": ["A1"]}, "joined", "Contact B1 is joined but not probed"),
        ({"probed": ["A9"]}, "probed", "'A9'"),
        ({"wiring": "yarn"}, "wiring", "yarn"),
        ({"session": "00000000-0000-4000-8000-000000000000"}, "session", "no session 00000000"),
        ({"tested_at": "2031-01-01T00:00:00Z"}, "tested_at", "in the future"),
        ({"tested_at": "2026-09-21T18:00:00"}, "tested_at", "offset"),
        ({"tested_at": 1790000000}, "tested_at", "tested_at"),
        ({"method": "guess"}, "method", "method"),
        (
            {"evidence": [{"class": "rust"}]},
            "evidence.0.class",
            "“rust” is no class of evidence; it is one",
        ),
        ({"evidence": [{"class": "open"}]}, "evidence.0.class", "“open” is no class of evidence"),
        ({"note": "a\u0000b"}, "note", "cannot be shown"),
        ({"wiring": "\ud800"}, "wiring", "half a character"),
        ({"colour": "red"}, "colour", "colour"),
    ],
)
def test_bad_input_is_refused_by_name(program: Running, wrong: dict[str, Any], field: str, says: str) -> None:
    at = bench(program, "xlr3")
    if says == "222222":
        assert set(wrong["item"]) <= set(ALPHABET)
    sent = json.dumps(body(at, **wrong))  # escapes what the client's own encoder could not write
    answer = program.crew.post(URL, content=sent, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422, answer.text
    problem = answer.json()
    assert answer.headers["content-type"] == "application/problem+json"
    assert [error["field"] for error in problem["errors"]] == [field]
    assert says in problem["detail"]
    assert program.viewer.get(URL).json() == {"items": [], "next": None}


def test_a_code_that_a_retag_ended_is_filed_under_its_item(program: Running) -> None:
    at = bench(program, "xlr3")
    (old,) = at.codes
    with program.store.writing() as db:
        db.get_one(Tag, old).until = program.clock.now
        db.flush()
        (new,) = issue(db, [at.ids[old]], program.clock.now)
    assert program.crew.post(URL, json=body(at)).json()["item"] == new
    assert program.viewer.get(URL, params={"item": old}).json()["items"][0]["items"] == [new]


def test_roles(program: Running) -> None:
    at = bench(program, "xlr3")
    assert program.stranger.post(URL, json=body(at)).status_code == 401
    assert program.viewer.post(URL, json=body(at)).status_code == 403
    assert program.stranger.get(URL).status_code == 401
    assert program.viewer.get(URL).status_code == 200


def test_the_log_is_read_page_by_page_and_narrowed_down(program: Running) -> None:
    at = bench(program, "xlr3", "xlr3")
    one, other = at.codes
    ids = []
    for index in range(7):
        program.clock.ahead(days=1)
        joined = OPEN_2 if index % 3 == 0 else GOOD
        ids.append(program.crew.post(URL, json=body(at, item=at.codes[index % 2], joined=joined)).json()["id"])
    at.void(ids[6])

    def read(**asked: Any) -> list[str]:
        seen: list[str] = []
        asked["limit"] = 2
        while True:
            page = program.viewer.get(URL, params=asked).json()
            seen += [each["id"] for each in page["items"]]
            if page["next"] is None:
                return seen
            asked["after"] = page["next"]

    assert read() == ids[::-1]
    assert read(item=other) == [ids[5], ids[3], ids[1]]
    assert read(fault="open") == [ids[6], ids[3], ids[0]]
    assert read(fault="open", conductor="3") == []
    assert read(since="2026-09-26") == [ids[6], ids[5], ids[4]]
    assert read(since=(program.clock.now - timedelta(days=1)).isoformat()) == [ids[6], ids[5]]
    newest = program.viewer.get(URL, params={"item": one}).json()["items"][0]
    assert newest["voided"]["reason"] == "wrong cable"
    for wrong in ({"fault": "rust"}, {"since": "soon"}, {"item": "nope"}, {"limit": 0}, {"after": "x"}):
        assert program.viewer.get(URL, params=wrong).status_code == 422
