"""Who tests what: nobody is sent where somebody else is, and whoever wants to may take it all the same."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date
from typing import Any
from uuid import UUID, uuid4

from fastapi.testclient import TestClient

from service.crew.actions import add_person
from service.crew.core import Actor, Role, Who
from service.gear.actions import place
from service.kit.problems import Busy
from service.sessions import queries
from service.sessions.actions import NewSession, Why, open_session
from service.sessions.claims import claim_next
from service.sessions.core import CLAIM_LASTS
from tests.support.program import Running, form_of_a_test, op
from tests.testlog.support import ZONE, Bench, bench


def opened(program: Running, count: int, *places: str) -> tuple[Bench, UUID]:
    """A session over `count` cables, in places where some are named."""
    at = bench(program, *["xlr3"] * count)
    with program.store.writing() as db:
        for code, name in zip(at.codes, places, strict=False):
            place(db, at.ids[code], name, "", None, program.clock.now)
        on = date(2026, 9, 21)
        session = open_session(db, NewSession(uuid4(), "Monday", on, (Why.UNTESTED,)), at.lead, program.clock.now)
    return at, session.id


def sent_to(client: TestClient, session: UUID, after: str = "") -> str:
    """Where the next button leads somebody: a code, or nothing."""
    answer = client.post(f"/sessions/{session}/next", data={"op": op(), "after": after})
    assert answer.status_code == 303, answer.text
    where = str(answer.headers["location"])
    return where.split("/")[2] if where.startswith("/t/") else ""


def test_eight_helpers_share_sixty_items_and_nobody_meets(program: Running) -> None:
    _, session = opened(program, 60)
    with program.store.writing() as db:
        people = [add_person(db, f"Helper {number}", Role.CREW, program.clock.now) for number in range(8)]
        helpers = [Who(person.id, person.display_name, Role.CREW) for person in people]

    def work(who: Who) -> list[UUID]:
        """Be sent on and on; each test is still on its way, as from a phone without a signal."""
        given: list[UUID] = []
        while True:
            try:
                with program.store.writing() as db:
                    last = given[-1] if given else None
                    item = claim_next(db, session, Actor(who, program.clock.now, ZONE), last)
            except Busy:
                continue
            if item is None or item in given:
                return given
            given.append(item)

    with ThreadPoolExecutor(8) as pool:
        given = list(pool.map(work, helpers))
    everything = [item for each in given for item in each]
    assert len(everything) == len(set(everything)) == 60


def test_the_next_is_the_nearest_on_the_walk(program: Running) -> None:
    at, session = opened(program, 4, "Rack", "Frame 1", "Frame 2", "Frame 3")
    rack, one, two, three = at.codes
    at.test(two, session=session)
    program.clock.ahead(minutes=1)
    assert sent_to(program.lead, session) == three  # the bench tests as the lead: one ahead of where it was
    assert sent_to(program.crew, session) == rack
    assert sent_to(program.crew, session, after=rack) == one


def test_asking_twice_leads_to_the_same_line_and_a_test_ends_the_claim(program: Running) -> None:
    at, session = opened(program, 2, "Rack", "Frame 1")
    first, second = at.codes
    assert sent_to(program.crew, session) == sent_to(program.crew, session) == first
    again = op()
    answers = [program.crew.post(f"/sessions/{session}/next", data={"op": again}).headers["location"] for _ in "ab"]
    assert answers[0] == answers[1]
    data = form_of_a_test() | {"session": str(session), "verdict": "pass"}
    result = program.crew.post(f"/t/{first}/test", data=data).headers["location"]
    page = program.crew.get(result).text
    assert f'name="after" value="{first}"' in page
    assert f"Next: 10 ft cable {second}" in page
    assert sent_to(program.crew, session, after=first) == second
    assert sent_to(program.lead, session) == ""  # the crew member is at the only one left


def test_a_claim_lapses(program: Running) -> None:
    at, session = opened(program, 1)
    assert sent_to(program.crew, session) == at.codes[0]
    assert sent_to(program.lead, session) == ""
    assert "others are at" in program.lead.get(f"/sessions/{session}?none=1").text
    program.clock.ahead(seconds=CLAIM_LASTS.total_seconds())
    assert sent_to(program.lead, session) == at.codes[0]


def test_a_claimed_line_says_who_has_it_and_may_be_taken_anyway(program: Running) -> None:
    at, session = opened(program, 1)
    (code,) = at.codes
    address = f"/sessions/{session}/take/{code}"
    assert "Nobody else is at it" in program.lead.get(address).text
    sent_to(program.crew, session)
    page = program.lead.get(f"/sessions/{session}").text
    assert f'href="{address}"' in page
    assert "Crew is at it" in page
    assert "You are at it" in program.crew.get(f"/sessions/{session}").text
    assert "<b>Crew is at it</b>" in program.lead.get(address).text
    taken = program.lead.post(address, data={"op": op()})
    assert taken.headers["location"] == f"/t/{code}/test?session={session}"
    assert "Lead is at it" in program.crew.get(f"/sessions/{session}").text
    with program.store.reading() as db:
        (line,) = queries.worklist(db, session)
        assert line.claim is not None
        assert line.claim.until.astimezone(UTC) == program.clock.now + CLAIM_LASTS


def test_who_may_claim_what(program: Running) -> None:
    at, session = opened(program, 1)
    other = bench_item_beside(program)
    asked: dict[str, Any] = {"data": {"op": op()}}
    assert program.viewer.post(f"/sessions/{session}/next", **asked).status_code == 403
    assert program.crew.get(f"/sessions/{session}/take/{other}").status_code == 404
    assert program.crew.post(f"/sessions/{session}/take/{other}", data={"op": op()}).status_code == 404
    assert program.crew.post(f"/sessions/{uuid4()}/next", data={"op": op()}).status_code == 404
    program.lead.post(f"/sessions/{session}/close", data={"op": op()})
    assert program.crew.post(f"/sessions/{session}/next", data={"op": op()}).status_code == 409
    assert program.crew.post(f"/sessions/{session}/take/{at.codes[0]}", data={"op": op()}).status_code == 409


def bench_item_beside(program: Running) -> str:
    """The code of an item on no list."""
    body = {"id": op(), "kind": "cable", "wiring": "xlr3", "length": "10 ft"}
    answer = program.lead.post("/api/v1/items", json=body)
    assert answer.status_code == 201, answer.text
    return str(answer.json()[0]["code"])
