"""One's own name: everybody may change it, under the rules that a new name has."""

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select, update

from service.crew import actions
from service.crew.core import Role
from service.crew.models import AuditEntry, CrewPass, Person
from service.kit.problems import Invalid
from tests.crew.test_privacy import joined
from tests.support.program import BASE, Running, op


def renamed(client: TestClient, name: str, **more: str) -> int:
    return client.post("/me/name", data={"name": name, **more}).status_code


def lead(program: Running, name: str) -> TestClient:
    """Another lead, in by a link."""
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.LEAD, name, None, program.clock.now)
    client = TestClient(program.stranger.app, BASE, headers={"Origin": BASE}, follow_redirects=False)
    assert client.post("/join", data={"pass": made.secret, "name": name}).status_code == 303
    return client


def noted(program: Running) -> list[tuple[object, object]]:
    with program.store.reading() as db:
        asked = select(AuditEntry).where(AuditEntry.action == "name.changed").order_by(AuditEntry.id)
        return [(entry.subject, entry.detail) for entry in db.scalars(asked)]


def person(program: Running, name: str) -> Person:
    with program.store.reading() as db:
        return db.scalars(select(Person).where(Person.display_name == name)).one()


@pytest.mark.parametrize("role", ["viewer", "crew", "lead"])
def test_everybody_changes_their_own_and_the_trail_keeps_it(program: Running, role: str) -> None:
    client: TestClient = getattr(program, role)
    assert 'action="/me/name"' in client.get("/me").text
    answer = client.post("/me/name", data={"name": "  Juniper  "})
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "You are called Juniper now." in page
    assert "<h1>Juniper</h1>" in page
    assert noted(program) == [(str(person(program, "Juniper").id), {"name": [role.title(), "Juniper"]})]
    assert "Juniper" in program.lead.get("/crew/trail").text


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("", "Enter a name"),
        ("J" * 25, "24 are the most"),
        ("Jo\u200b", "cannot be shown"),
        ("lead", "Somebody is called"),
        ("Ｌｅａｄ", "Somebody is called"),
        ("viewer", "Somebody is called"),
        ("Robin Fernhollow", "looks like a full name"),
    ],
)
def test_a_wrong_name_is_told_beside_its_field(program: Running, name: str, says: str) -> None:
    phone = joined(program, "Jo")
    answer = phone.post("/me/name", data={"name": name})
    assert answer.status_code == 422
    assert 'id="f-name-error"' in answer.text
    assert says in answer.text
    assert "<h1>Jo</h1>" in phone.get("/me").text
    assert noted(program) == []


def test_a_full_name_is_kept_when_it_is_sent_again(program: Running) -> None:
    phone = joined(program, "Jo")
    asked = phone.post("/me/name", data={"name": "Robin Fernhollow"})
    assert 'name="sure" value="Robin Fernhollow"' in asked.text
    assert renamed(phone, "Robin Fernhollow", sure="Robin Fernhollow") == 303
    assert renamed(lead(program, "Kim"), "Robin of the pit") == 303  # a lead is asked nothing


def test_crew_may_share_a_name_but_none_takes_a_leads(program: Running) -> None:
    one, two, other = joined(program, "Jo"), joined(program, "Kim"), lead(program, "Ash")
    assert renamed(one, "kim") == 303
    assert renamed(two, "Ash") == 422
    assert renamed(other, "KIM") == 422
    assert renamed(other, "ash") == 303  # her own, in other letters


def test_the_same_name_again_is_no_change(program: Running) -> None:
    assert renamed(program.crew, "Crew") == 303
    assert noted(program) == []


def test_a_lead_signs_in_by_the_new_name(program: Running) -> None:
    kim = lead(program, "Kim")
    kim.post("/me/passphrase", data={"passphrase": "copper river lantern"})
    assert renamed(kim, "Ash") == 303
    for name, status in (("Kim", 401), ("Ash", 303)):
        sent = {"name": name, "passphrase": "copper river lantern"}
        assert program.stranger.post("/sign-in", data=sent).status_code == status


def test_erasing_lets_go_of_every_name_that_one_had(program: Running) -> None:
    phone = joined(program, "Zephyrine")
    with program.store.writing() as db:
        zephyrine = db.scalars(select(Person).where(Person.display_name == "Zephyrine")).one()
        actions.make_sign_in_link(db, zephyrine, program.clock.now)
    assert renamed(phone, "Orla") == 303
    assert renamed(phone, "Isolde") == 303
    erased = program.lead.post(f"/crew/people/{person(program, 'Isolde').id}/erase", data={"op": op()})
    assert erased.status_code == 303
    with program.store.reading() as db:
        said = [str(value) for row in db.scalars(select(AuditEntry)) for value in (row.subject, row.detail)]
        said += db.scalars(select(CrewPass.label)).all()
    assert not [text for text in said for name in ("Zephyrine", "Orla", "Isolde") if name in text]


def test_nobody_takes_a_name_that_says_that_one_was_let_go(program: Running) -> None:
    phone = joined(program, "Zephyrine")
    assert renamed(phone, "Tester 3") == 422
    with program.store.writing() as db, pytest.raises(Invalid, match="names it let go"):
        actions.add_person(db, "Tester 3", Role.CREW, program.clock.now)
    assert renamed(phone, "Tester") == 303


def test_erasing_somebody_who_had_taken_such_a_name_lets_go_of_what_they_were_called(
    program: Running,
) -> None:
    phone = joined(program, "Zephyrine")
    assert renamed(phone, "Orla") == 303
    with program.store.writing() as db:  # before such names were refused
        db.execute(update(Person).where(Person.display_name == "Orla").values(display_name="Tester 3"))
    erased = program.lead.post(f"/crew/people/{person(program, 'Tester 3').id}/erase", data={"op": op()})
    assert erased.status_code == 303
    assert phone.get("/me").status_code == 401
    assert [detail for _, detail in noted(program)] == [None]
