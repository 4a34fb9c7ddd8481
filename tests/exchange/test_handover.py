"""Handing over: the next lead comes in, the old one goes, and one page says what there is."""

import re
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from service.crew import actions as crew
from service.crew.core import Actor, Role, Who
from service.crew.models import AuditEntry, CrewPass, Person
from service.demo.scenario import HELPERS
from service.exchange.handover import actions
from tests.support.program import START, Running, running
from tests.testlog.support import ZONE
from tests.web.world import world


def made_link(program: Running, client: TestClient | None = None) -> str:
    """The secret of a new link of the lead's."""
    page = (client or program.lead).post("/handover/links")
    secret = re.search(r"/take-over#([A-Z0-9]+)", page.text)
    assert page.status_code == 200
    assert secret
    return secret[1]


def test_the_next_lead_takes_over_and_the_old_one_is_out(program: Running) -> None:
    secret = made_link(program)
    shown = program.stranger.post("/take-over", data={"pass": secret.lower()})
    assert shown.status_code == 200
    assert "Lead</b> hands <b>Fernhollow Band Program" in shown.text
    assert program.lead.get("/handover").status_code == 200  # nothing has happened yet
    with program.store.writing() as db:
        other = crew.make_pass(db, Role.LEAD, "Kept for later", None, program.clock.now)
    taken = program.stranger.post("/take-over", data={"pass": secret, "name": "Robin", "sure": "yes"})
    assert taken.status_code == 303
    assert taken.headers["location"] == "/handover?new=1"
    assert "You are the lead now" in program.stranger.get("/handover?new=1").text
    for path in ("/", "/handover"):
        refused = program.lead.get(path)
        assert refused.status_code == 401
        assert "You handed the program over to Robin" in refused.text
    assert "not valid" in program.viewer.post("/take-over", data={"pass": secret}).text
    with program.store.reading() as db:
        assert db.get_one(CrewPass, other.id).ended_at is not None
        old = db.scalars(select(Person).where(Person.display_name == "Lead")).one()
        assert old.ended_at == program.clock.now
        entry = db.scalars(select(AuditEntry).where(AuditEntry.action == "hand_over.taken")).one()
        assert entry.detail == {"from": str(old.id)}
        assert secret not in str(db.execute(select(AuditEntry.subject, AuditEntry.detail)).all())


def test_a_name_that_is_taken_is_refused_and_nothing_happens(program: Running) -> None:
    secret = made_link(program)
    answer = program.stranger.post("/take-over", data={"pass": secret, "name": "viewer", "sure": "yes"})
    assert answer.status_code == 422
    assert 'id="f-name-error"' in answer.text
    assert program.lead.get("/handover").status_code == 200


def test_links_end(program: Running) -> None:
    first = made_link(program)
    second = made_link(program)  # a new one ends those before
    assert program.stranger.post("/take-over", data={"pass": first}).status_code == 410
    page = program.lead.get("/handover").text
    action = re.search(r'action="(/handover/links/[\w-]+/end)"', page)
    assert action
    assert program.lead.post(action[1]).status_code == 303
    assert program.stranger.post("/take-over", data={"pass": second}).status_code == 410
    third = made_link(program)
    program.clock.ahead(days=3)
    assert program.stranger.post("/take-over", data={"pass": third}).status_code == 410
    assert program.stranger.post("/take-over", data={"pass": "NEVERMADE"}).status_code == 410
    assert program.stranger.post("/join", data={"pass": third, "name": "Robin"}).status_code == 410


def test_a_link_of_somebody_who_is_gone_hands_over_nothing(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        with program.store.writing() as db:
            person = crew.add_person(db, "Gone", Role.LEAD, START)
            link = actions.make_link(db, Actor(Who(person.id, "Gone", Role.LEAD), START, ZONE))
            person.ended_at = START
        answer = program.stranger.post("/take-over", data={"pass": link.secret, "name": "Robin", "sure": "y"})
    assert answer.status_code == 410


@pytest.mark.slow
def test_the_page_says_what_there_is_and_names_no_student(tmp_path: Path) -> None:
    with world(tmp_path) as demo:
        page = demo.clients["lead"].get("/handover")
    assert page.status_code == 200
    for said in ("Make a backup", "Repair and test", "quarantined", "Open faults", "pull list", "Overdue"):
        assert said in page.text
    text = re.sub(r"<[^>]+>", " ", page.text)
    assert [name for name in HELPERS if re.search(rf"\b{re.escape(name)}\b", text)] == []
