"""Coming in: passes, links, passphrases; and staying out."""

import re
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from service.crew import actions, hashing, queries
from service.crew.core import Role
from service.crew.models import Person
from service.kit.problems import Invalid
from tests.support.program import BASE, Running


def test_a_crew_pass_lets_a_helper_in_by_name(program: Running) -> None:
    page = program.lead.post("/crew/passes", data={"role": "crew", "label": "Thursdays"})
    secret = re.search(r"/join#([A-Z0-9]+)", page.text)
    assert page.status_code == 200
    assert secret
    answer = program.stranger.post("/join", data={"pass": secret[1].lower(), "name": " Jo ", "next": "/gear"})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/gear"
    assert "Jo" in program.stranger.get("/me").text


def test_an_ended_pass_lets_nobody_in(program: Running) -> None:
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
    program.lead.post(f"/crew/passes/{made.id}/end")
    answer = program.stranger.post("/join", data={"pass": made.secret, "name": "Jo"})
    assert answer.status_code == 410
    assert "not valid" in answer.text


def test_ending_a_pass_signs_out_who_came_in_by_it(program: Running) -> None:
    with program.store.writing() as db:
        ended, other = (actions.make_pass(db, Role.CREW, day, None, program.clock.now) for day in ("Tue", "Thu"))
    one, two = device(program), device(program)
    one.post("/join", data={"pass": ended.secret, "name": "Jo"})
    two.post("/join", data={"pass": other.secret, "name": "Kim"})
    assert (one.get("/me").status_code, two.get("/me").status_code) == (200, 200)
    program.lead.post(f"/crew/passes/{ended.id}/end")
    assert (one.get("/me").status_code, two.get("/me").status_code) == (401, 200)


@pytest.mark.parametrize("typed", ["Élodie", "élodie", "ÉLODIE"])
def test_a_lead_signs_in_by_name_in_whatever_letters(program: Running, typed: str) -> None:
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.LEAD, "Next year", None, program.clock.now)
    lead = device(program)
    lead.post("/join", data={"pass": made.secret, "name": "Élodie"})
    lead.post("/me/passphrase", data={"passphrase": "copper river lantern"})
    came_in(program, typed, "copper river lantern")
    with program.store.writing() as db:
        for role in (Role.CREW, Role.VIEWER):
            another = actions.make_pass(db, role, "More", None, program.clock.now)
            with pytest.raises(Invalid, match="is called"):
                actions.join(db, another.secret, "éLODIE", program.clock.now)


def test_who_has_a_passphrase_is_found_among_those_of_a_name(program: Running) -> None:
    """A student who came in before a lead of that name, when that was not refused yet."""
    with program.store.writing() as db:
        student = actions.add_person(db, "Quill", Role.CREW, program.clock.now)
        lead = actions.add_person(db, "Robin", Role.LEAD, program.clock.now)
        student.display_name = "ROBIN"
        lead.passphrase_hash = hashing.hash_passphrase("copper river lantern")
        student.created_at = program.clock.now.replace(year=2020)
    came_in(program, "robin", "copper river lantern")


def test_each_of_two_that_were_let_in_by_one_name_signs_in_by_her_own_passphrase(program: Running) -> None:
    with program.store.writing() as db:
        one, other = (actions.add_person(db, name, Role.LEAD, program.clock.now) for name in ("Zoë", "Zo"))
        other.display_name = "ZOË"
        one.passphrase_hash = hashing.hash_passphrase("copper river lantern")
        other.passphrase_hash = hashing.hash_passphrase("lantern river copper")
    came_in(program, "zoe\u0308", "copper river lantern")
    came_in(program, "zoë", "lantern river copper")
    wrong = device(program).post("/sign-in", data={"name": "Zoë", "passphrase": "neither of the two"})
    assert wrong.status_code == 401


def test_a_pass_is_ended_only_after_a_question(program: Running) -> None:
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.CREW, "Thursdays", None, program.clock.now)
    device(program).post("/join", data={"pass": made.secret, "name": "Jo"})
    assert f'href="/crew/passes/{made.id}/end"' in program.lead.get("/crew").text
    asked = program.lead.get(f"/crew/passes/{made.id}/end")
    assert "signed out at once, 1 now" in asked.text
    assert program.lead.get(f"/crew/passes/{uuid4()}/end").status_code == 404


def test_a_link_works_once(program: Running) -> None:
    with program.store.writing() as db:
        made = actions.make_pass(db, Role.LEAD, "First lead", None, program.clock.now)
    assert program.stranger.post("/join", data={"pass": made.secret, "name": "Kit"}).status_code == 303
    program.stranger.cookies.clear()
    assert program.stranger.post("/join", data={"pass": made.secret, "name": "Kim"}).status_code == 410


def test_a_lead_signs_in_with_a_passphrase_and_out_again(program: Running) -> None:
    program.lead.post("/me/passphrase", data={"passphrase": "copper river lantern"})
    wrong = program.stranger.post("/sign-in", data={"name": "Lead", "passphrase": "copper river"})
    assert wrong.status_code == 401
    assert "do not belong together" in wrong.text
    right = program.stranger.post("/sign-in", data={"name": "lead", "passphrase": "copper river lantern"})
    assert right.status_code == 303
    assert program.stranger.get("/crew").status_code == 200
    token = dict(program.stranger.cookies)
    program.stranger.post("/sign-out")
    program.stranger.cookies.update(token)
    assert program.stranger.get("/crew").status_code == 401


def test_a_short_passphrase_is_refused_beside_its_field(program: Running) -> None:
    answer = program.lead.post("/me/passphrase", data={"passphrase": "short"})
    assert answer.status_code == 422
    assert 'id="f-passphrase-error"' in answer.text


def device(program: Running) -> TestClient:
    """A device that nobody is signed in on yet."""
    return TestClient(program.stranger.app, BASE, headers={"Origin": BASE}, follow_redirects=False)


def came_in(program: Running, name: str, passphrase: str) -> TestClient:
    """A device of its own, signed in by passphrase."""
    came = device(program)
    assert came.post("/sign-in", data={"name": name, "passphrase": passphrase}).status_code == 303
    return came


def test_a_new_passphrase_asks_for_the_old_one_and_signs_out_elsewhere(program: Running) -> None:
    first, second = "copper river lantern", "lantern river copper"
    program.lead.post("/me/passphrase", data={"passphrase": first})
    here, there = came_in(program, "Lead", first), came_in(program, "Lead", first)
    program.clock.ahead(minutes=16)
    wrong = here.post("/me/passphrase", data={"passphrase": second, "current": "copper"})
    assert wrong.status_code == 422
    assert 'id="f-current-error"' in wrong.text
    assert here.post("/me/passphrase", data={"passphrase": second, "current": first}).status_code == 200
    assert here.get("/me").status_code == 200
    assert there.get("/me").status_code == 401
    assert program.lead.get("/me").status_code == 200  # a token is no device
    came_in(program, "Lead", second)


def test_whoever_has_just_come_in_may_set_it_anew(program: Running) -> None:
    program.lead.post("/me/passphrase", data={"passphrase": "copper river lantern"})
    with program.store.writing() as db:
        lead = queries.first_lead(db)
        assert lead is not None
        link = actions.make_sign_in_link(db, lead, program.clock.now)
    assert program.stranger.post("/join", data={"pass": link.secret}).status_code == 303
    assert program.stranger.post("/me/passphrase", data={"passphrase": "lantern river copper"}).status_code == 200


def test_signing_in_ends_what_the_browser_was_signed_in_as(program: Running) -> None:
    program.lead.post("/me/passphrase", data={"passphrase": "copper river lantern"})
    device = came_in(program, "Lead", "copper river lantern")
    before = dict(device.cookies)
    assert device.post("/sign-in", data={"name": "Lead", "passphrase": "copper river lantern"}).status_code == 303
    assert dict(device.cookies) != before
    device.cookies.clear()
    device.cookies.update(before)
    assert device.get("/me").status_code == 401


def test_any_characters_and_any_length_make_a_passphrase(program: Running) -> None:
    # OWASP ASVS 5.0, 6.2.5, 6.2.8 and 6.2.9: no rule on characters, taken as typed, 64 and more
    for passphrase in (
        "ÄÖ ü ж 漢字 🔌 ok",
        "rivercopperlamp",
        " leading and trailing ",
        "x1" + "long words " * 20,
    ):
        program.lead.post("/me/passphrase", data={"passphrase": passphrase, "current": ""})
        with program.store.reading() as db:
            lead = queries.first_lead(db)
        assert lead is not None
        assert lead.passphrase_hash is not None
        assert lead.passphrase_hash.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
        assert hashing.passphrase_matches(lead.passphrase_hash, passphrase)
        assert not hashing.passphrase_matches(lead.passphrase_hash, passphrase.strip().upper())
        with program.store.writing() as db:
            db.get_one(Person, lead.id).passphrase_hash = None


def test_names_are_no_passphrases(program: Running) -> None:
    for easy in ("Fernhollow Band Program", "aaaaaaaaaaaaaaaa", "abababababababab"):
        assert program.lead.post("/me/passphrase", data={"passphrase": easy}).status_code == 422


@pytest.mark.parametrize(
    "common",
    [
        "123456789012",
        "qwertyuiop[]",
        "1q2w3e4r5t6y",
        "password1234",
        "passwordpassword",
        "abcdefghijklm",
        "PaSsWoRd1234",
        "iloveyouforever",
        "correcthorsebatterystaple",
        "12345678901234567890",
    ],
)
def test_what_many_people_use_is_refused(program: Running, common: str) -> None:
    answer = program.lead.post("/me/passphrase", data={"passphrase": common})
    assert answer.status_code == 422
    assert "Many people use this passphrase" in answer.text
    assert 'id="f-passphrase-error"' in answer.text
    assert common not in answer.text
    assert program.stranger.post("/sign-in", data={"name": "Lead", "passphrase": common}).status_code == 401


@given(st.sampled_from(["password1234", "iloveyouforever", "correcthorsebatterystaple"]), st.data())
def test_what_is_common_is_refused_in_any_case(common: str, data: st.DataObject) -> None:
    capital = data.draw(st.lists(st.booleans(), min_size=len(common), max_size=len(common)))
    mixed = "".join(letter.upper() if up else letter for letter, up in zip(common, capital, strict=True))
    with pytest.raises(Invalid, match="Many people use this passphrase"):
        actions.refuse_common(mixed)


def test_a_role_that_does_not_reach_is_told(program: Running) -> None:
    assert program.crew.get("/crew").status_code == 403
    assert program.stranger.get("/crew").status_code == 401


def test_what_comes_from_another_site_is_refused(program: Running) -> None:
    answer = program.stranger.post("/join", data={"pass": "X"}, headers={"Origin": "https://elsewhere.example"})
    assert answer.status_code == 403
    assert "another site" in answer.text


def test_the_only_lead_stays(program: Running) -> None:
    with program.store.reading() as db:
        lead = queries.first_lead(db)
    assert lead is not None
    answer = program.lead.post(f"/crew/people/{lead.id}/end")
    assert answer.status_code == 409
    assert "only lead" in answer.text


def test_the_ways_in_are_open_to_strangers(program: Running) -> None:
    assert "Passphrase" in program.stranger.get("/sign-in?next=/gear").text
    assert "Join the crew" in program.stranger.get("/join").text


def test_a_link_lets_in_nobody_whose_access_has_ended_since(program: Running) -> None:
    with program.store.writing() as db:
        kim = actions.add_person(db, "Kim", Role.VIEWER, program.clock.now)
        link = actions.make_sign_in_link(db, kim, program.clock.now)
    assert program.lead.post(f"/crew/people/{kim.id}/end").status_code == 303
    answer = program.stranger.post("/join", data={"pass": link.secret, "name": ""})
    assert answer.status_code == 410
    assert "not valid" in answer.text


def test_nobody_is_led_elsewhere(program: Running) -> None:
    for elsewhere in (
        "//evil.example",
        "https://evil.example",
        "/\\evil.example",
        "javascript:alert(1)",
        "/a\n//b",
    ):
        page = program.stranger.get("/join", params={"next": elsewhere}).text
        assert 'name="next" value="/"' in page


def test_who_was_invited_by_name_may_leave_it_empty(program: Running) -> None:
    """By the page and by the command; a name that is typed counts, and a link for nobody by name asks for one."""
    made = program.lead.post("/crew/passes", data={"role": "lead", "label": "Juniper"}).text
    (secret,) = re.findall(r"/join#(\w+)", made)[:1]
    assert "Enter a name" not in program.stranger.post("/join", data={"pass": secret, "name": " "}).text
    assert "<h1>Juniper</h1>" in program.stranger.get("/me").text
    with program.store.writing() as db:
        links = [
            actions.make_pass_on_command(db, role, name, program.clock.now)
            for role, name in (
                (Role.VIEWER, "Wren"),
                (Role.VIEWER, "Sparrow"),
                (Role.LEAD, ""),
                (Role.CREW, "Thursdays"),
            )
        ]
    wren, sparrow, nobody, crew = (link.secret for link in links)
    for secret, typed, called in ((wren, "", "Wren"), (sparrow, "Robin", "Robin")):
        program.stranger.post("/join", data={"pass": secret, "name": typed})
        assert f"<h1>{called}</h1>" in program.stranger.get("/me").text
    for secret in (nobody, crew):
        refused = program.stranger.post("/join", data={"pass": secret, "name": ""})
        assert refused.status_code == 422
        assert "Enter a name that the others know you by." in refused.text
