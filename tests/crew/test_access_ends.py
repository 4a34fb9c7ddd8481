"""Whose access has ended stays out: by links that they made, by passes that they know, and under another name."""

import re
from collections.abc import Callable
from uuid import UUID, uuid4

import pytest
from fastapi.testclient import TestClient

from service.crew import actions, queries
from service.crew.core import Role, Who
from service.crew.links import NewLink
from service.crew.models import Person
from tests.support.program import BASE, Running, op, running


def device(program: Running) -> TestClient:
    """A device that nobody is signed in on yet."""
    return TestClient(program.stranger.app, BASE, headers={"Origin": BASE}, follow_redirects=False)


def made(program: Running, role: Role, label: str, maker: Who | None = None) -> NewLink:
    """A pass or link by this maker; None: by the command."""
    with program.store.writing() as db:
        return actions.make_pass(db, role, label, maker, program.clock.now)


def second_lead(program: Running, name: str = "Kit", maker: Who | None = None) -> tuple[TestClient, Who]:
    """Another lead, signed in on a device of their own by a link of `maker`; None: of the command."""
    link, phone = made(program, Role.LEAD, name, maker), device(program)
    assert phone.post("/join", data={"pass": link.secret, "name": name}).status_code == 303
    with program.store.reading() as db:
        (person,) = queries.people_named(db, name)
        return phone, Who(person.id, name, Role.LEAD)


def comes_in(program: Running, link: NewLink, name: str) -> int:
    """How a new device is answered that tries a pass or link."""
    return device(program).post("/join", data={"pass": link.secret, "name": name}).status_code


def end(program: Running, person_id: UUID) -> None:
    assert program.lead.post(f"/crew/people/{person_id}/end").status_code == 303


def erase(program: Running, person_id: UUID) -> None:
    assert program.lead.post(f"/crew/people/{person_id}/erase", data={"op": op()}).status_code == 303


def hand_over(program: Running, person_id: UUID) -> None:
    """They hand over what they lead; `person_id` is who is signed in on the only second device."""
    with program.store.writing() as db:
        person = db.get_one(Person, person_id)
        token = actions.start_sign_in(db, person, program.clock.now, None)
    page = device(program).post("/handover/links", headers={"Authorization": f"Bearer {token}"})
    (secret,) = re.findall(r"/take-over#(\w+)", page.text)[:1]
    taken = device(program).post("/take-over", data={"pass": secret, "name": "Next", "sure": "yes"})
    assert taken.status_code == 303


@pytest.mark.parametrize("leave", [end, erase, hand_over])
def test_no_link_of_theirs_lets_a_lead_in_again(program: Running, leave: Callable[[Running, UUID], None]) -> None:
    phone, kit = second_lead(program)
    theirs = [made(program, role, "Somebody", kit) for role in (Role.LEAD, Role.VIEWER)]
    on_the_computer = made(program, Role.LEAD, "First lead")
    thursdays = made(program, Role.CREW, "Thursdays", kit)
    with program.store.reading() as db:
        (lead,) = [each for each in queries.people(db) if each.display_name == "Lead"]
    of_another = made(program, Role.VIEWER, "A parent", Who(lead.id, "Lead", Role.LEAD))
    over = re.search(r"/take-over#(\w+)", phone.post("/handover/links").text)
    assert over
    leave(program, kit.id)
    assert phone.get("/me").status_code == 401
    assert [comes_in(program, link, f"Alias {number}") for number, link in enumerate(theirs)] == [410, 410]
    assert comes_in(program, on_the_computer, "Alias") == 410
    assert device(program).post("/take-over", data={"pass": over[1], "name": "Alias", "sure": "y"}).status_code == 410
    assert comes_in(program, thursdays, "Jo") == 303  # the crew goes on
    assert comes_in(program, of_another, "Parent") == 303
    with program.store.reading() as db:
        assert db.get_one(Person, kit.id).passphrase_hash is None
    second_lead(program)  # let back in later, they are somebody new, and what ended stays ended
    assert [comes_in(program, link, "Alias") for link in theirs] == [410, 410]


def test_the_page_says_what_ends_and_who_came_in_by_their_links(program: Running) -> None:
    _, kit = second_lead(program)
    used, unused = (made(program, Role.LEAD, label, kit) for label in ("Used", "Unused"))
    assert comes_in(program, used, "Alias") == 303
    asked = program.lead.get(f"/crew/people/{kit.id}/end").text
    assert "One open link, so that nobody comes in again by it" in asked
    assert "<li>“Unused”, a link for a lead</li>" in asked
    assert "“Used”" not in asked
    assert re.search(r"Who came in by their links.*<b>Alias</b>.*End the access of Alias", asked, re.DOTALL)
    assert "Whoever has a token of the API still gets in by it: Viewer, Crew, Lead." in asked
    told = program.lead.post(f"/crew/people/{kit.id}/end")
    page = program.lead.get(told.headers["location"]).text
    assert "The access of Kit has ended." in page
    assert "With it ended one link: “Unused”, a link for a lead." in page
    assert comes_in(program, unused, "Kit") == 410


def test_the_crew_pass_by_which_a_helper_came_is_offered(program: Running) -> None:
    came_by, other = (made(program, Role.CREW, day) for day in ("Tuesdays", "Thursdays"))
    jo, kim = device(program), device(program)
    jo.post("/join", data={"pass": came_by.secret, "name": "Jo"})
    kim.post("/join", data={"pass": came_by.secret, "name": "Kim"})
    with program.store.reading() as db:
        (person,) = queries.people_named(db, "Jo")
    asked = re.sub(r"\s+", " ", program.lead.get(f"/crew/people/{person.id}/end").text)
    assert re.search(
        f'value="{came_by.id}"><span>“Tuesdays”, a crew pass<br><span class="soft">Jo came in by it</span>'
        '<br><span class="soft">signs out 2 phones at once</span>',
        asked,
    )
    assert f'value="{other.id}"><span>“Thursdays”, a crew pass</span>' in asked
    program.lead.post(f"/crew/people/{person.id}/end", data={"also": str(came_by.id)})
    assert comes_in(program, came_by, "Jo") == 410
    assert comes_in(program, other, "Robin") == 303
    assert (jo.get("/me").status_code, kim.get("/me").status_code) == (401, 401)


def test_a_link_that_another_lead_made_for_them_is_offered(program: Running) -> None:
    _, kit = second_lead(program)
    with program.store.reading() as db:
        (lead,) = [each for each in queries.people(db) if each.display_name == "Lead"]
    again = made(program, Role.VIEWER, "kit", Who(lead.id, "Lead", Role.LEAD))
    assert f'name="also" value="{again.id}"' in program.lead.get(f"/crew/people/{kit.id}/end").text
    program.lead.post(f"/crew/people/{kit.id}/end", data={"also": [str(again.id), "no id of a link"]})
    assert comes_in(program, again, "Kit") == 410


def test_a_link_whose_maker_went_meanwhile_is_over(program: Running) -> None:
    """Made while another lead ended them, or brought back by a backup: it is open, and its maker is gone."""
    _, kit = second_lead(program)
    link = made(program, Role.LEAD, "Late", kit)
    with program.store.writing() as db:
        db.get_one(Person, kit.id).ended_at = program.clock.now
    assert comes_in(program, link, "Alias") == 410


def test_a_link_made_after_a_lead_went_stays_when_their_name_goes(program: Running) -> None:
    _, kit = second_lead(program)
    end(program, kit.id)
    link = made(program, Role.LEAD, "Robin")
    assert "What ends with it" not in program.lead.get(f"/crew/people/{kit.id}/erase").text
    erase(program, kit.id)
    assert comes_in(program, link, "Robin") == 303


def test_who_was_let_in_by_one_another_is_asked_about_with_the_links_that_they_made(program: Running) -> None:
    _, kit = second_lead(program)
    _, ada = second_lead(program, "Ada", kit)
    _, bo = second_lead(program, "Bo", ada)
    _, kit_again = second_lead(program, "Kit again", bo)
    _, other = second_lead(program, "Robin")
    end(program, ada.id)  # a link of the chain that is gone already
    of_kit, of_bo, of_alias = (made(program, Role.LEAD, f"By {who.display_name}", who) for who in (kit, bo, kit_again))
    of_other = made(program, Role.VIEWER, "By Robin", other)
    asked = program.lead.get(f"/crew/people/{kit.id}/end").text
    assert re.findall(r"<b>([^<]+)</b><br><span class=\"soft\">lead, since", asked) == ["Bo", "Kit again"]
    assert set(re.findall(r'name="also" value="([^"]+)"', asked)) == {str(of_bo.id), str(of_alias.id)}
    assert "<li>“By Kit”, a link for a lead</li>" in asked
    chosen = [str(each.id) for each in (of_alias, of_other)]  # the last was not offered
    told = program.lead.post(f"/crew/people/{kit.id}/end", data={"also": chosen})
    page = program.lead.get(told.headers["location"]).text
    [ended] = re.findall("With it ended 2 links and passes: (.*)\\.</p>", page)
    assert set(ended.split("; ")) == {"“By Kit”, a link for a lead", "“By Kit again”, a link for a lead"}
    assert [comes_in(program, each, "Alias") for each in (of_kit, of_alias)] == [410, 410]
    assert [comes_in(program, of_bo, "Cleo"), comes_in(program, of_other, "Dana")] == [303, 303]


def test_what_ended_is_told_to_whoever_ended_it_and_only_just_then(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        _, kit = second_lead(program)
        of_kit = made(program, Role.LEAD, "Unused", kit)
        other_phone, other = second_lead(program, "Robin")
        assert comes_in(program, of_kit, "Unused") == 303
        told = program.lead.post(f"/crew/people/{kit.id}/end").headers["location"]
        plain = program.lead.get("/crew").text
        assert "The access of Kit has ended." in program.lead.get(told).text
        assert "The access of" not in other_phone.get(told).text
        for forged in (other.id, uuid4(), "no id", "' OR 1=1 --", "<script>alert(1)</script>"):
            assert program.lead.get("/crew", params={"ended": str(forged)}).text == plain
        for client, status in ((program.crew, 403), (program.viewer, 403), (program.stranger, 401)):
            assert client.get(told).status_code == status
        program.clock.ahead(minutes=5, seconds=1)
        assert "The access of" not in program.lead.get(told).text
