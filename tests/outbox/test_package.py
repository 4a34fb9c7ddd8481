"""What a phone takes along: the worklist in walking order and the forms of its wirings, and nobody's name."""

import json
from uuid import UUID, uuid4

from service.sessions.actions import NewSession, Why, open_session
from tests.support.program import Running, op
from tests.testlog.support import OPEN_2, Bench, bench


def session_of(at: Bench) -> UUID:
    """A session with all of the bench on its worklist."""
    with at.program.store.writing() as db:
        new = NewSession(uuid4(), "Tuesday at the truck", at.program.clock.now.date(), tuple(Why))
        return open_session(db, new, at.lead, at.program.clock.now).id


def test_it_holds_the_worklist_and_the_forms(program: Running) -> None:
    at = bench(program, "xlr3", "xlr3", "d25x8")
    key = session_of(at)
    at.test(at.codes[0], OPEN_2)
    package = program.crew.get(f"/api/v1/sessions/{key}/package").json()
    assert package["session"] == {"id": str(key), "title": "Tuesday at the truck", "on": "2026-09-21", "closed": False}
    lines = {line["code"]: line for line in package["lines"]}
    assert set(lines) == set(at.codes)
    bad = lines[at.codes[0]]
    assert (bad["state"], bad["last"], bad["done"], bad["wiring"]) == ("quarantined", "fail", None, "xlr3")
    assert lines[at.codes[1]]["last"] is None
    assert {key: each["table"] for key, each in package["wirings"].items()} == {
        "d25x8": "/api/v1/wirings/d25x8",
        "xlr3": "/api/v1/wirings/xlr3",
    }
    assert len(package["wirings"]["d25x8"]["facts"]["rows"]) == 25  # of which the phone makes the lanes with trouble
    assert 'name="c2"' in package["wirings"]["xlr3"]["form"]


def test_it_names_nobody_but_its_helper(program: Running) -> None:
    at = bench(program, "xlr3")
    key = session_of(at)
    at.test(at.codes[0], OPEN_2)
    answer = program.crew.get(f"/api/v1/sessions/{key}/package")
    assert answer.json()["who"]["name"] == "Crew"
    assert "Lead" not in json.dumps(answer.json())


def test_roles_and_sessions_that_are_not_there(program: Running) -> None:
    at = bench(program, "xlr3")
    url = f"/api/v1/sessions/{session_of(at)}/package"
    assert [who.get(url).status_code for who in (program.stranger, program.viewer, program.crew)] == [
        401,
        403,
        200,
    ]
    assert program.crew.get(f"/api/v1/sessions/{op()}/package").status_code == 404
    assert program.crew.get("/api/v1/sessions/soon/package").status_code == 404


def test_the_way_on_without_a_claim(program: Running) -> None:
    at = bench(program, "xlr3", "xlr3")
    key = session_of(at)
    walk = [line["code"] for line in program.crew.get(f"/api/v1/sessions/{key}/package").json()["lines"]]
    answer = program.crew.get(f"/sessions/{key}/next", params={"after": walk[0]})
    assert answer.headers["location"] == f"/t/{walk[1]}/test?session={key}"
    answer = program.crew.get(f"/sessions/{key}/next")
    assert answer.headers["location"] == f"/t/{walk[0]}/test?session={key}"
    at.test(walk[1], session=key)
    answer = program.crew.get(f"/sessions/{key}/next", params={"after": walk[0]})
    assert answer.headers["location"] == f"/sessions/{key}"  # its own test is on its way, and nothing else is left
