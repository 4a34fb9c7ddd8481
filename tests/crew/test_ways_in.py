"""Coming in: passes, links, passphrases; and staying out."""

import re

from service.crew import actions
from service.crew.core import Role
from tests.support.program import Running


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


def test_a_role_that_does_not_reach_is_told(program: Running) -> None:
    assert program.crew.get("/crew").status_code == 403
    assert program.stranger.get("/crew").status_code == 401


def test_what_comes_from_another_site_is_refused(program: Running) -> None:
    answer = program.stranger.post(
        "/join", data={"pass": "X"}, headers={"Origin": "https://elsewhere.example"}
    )
    assert answer.status_code == 403
    assert "another site" in answer.text


def test_the_only_lead_stays(program: Running) -> None:
    with program.store.reading() as db:
        lead = actions.queries.first_lead(db)
    assert lead is not None
    answer = program.lead.post(f"/crew/people/{lead.id}/end")
    assert answer.status_code == 409
    assert "only lead" in answer.text


def test_the_ways_in_are_open_to_strangers(program: Running) -> None:
    assert "Passphrase" in program.stranger.get("/sign-in?next=/gear").text
    assert "crew" in program.stranger.get("/join").text


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
