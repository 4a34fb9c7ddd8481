"""One's own devices: My page lists where one is signed in, and signs out there."""

import re
from datetime import timedelta

from fastapi.testclient import TestClient

from service.crew import actions, queries
from service.crew.core import LEAD_LONGEST, Role
from service.crew.models import Person
from tests.support.program import BASE, Running, op


def device(program: Running) -> TestClient:
    """A browser with nothing in it."""
    return TestClient(program.stranger.app, BASE, headers={"Origin": BASE}, follow_redirects=False)


def signed_in(program: Running, role: Role, *names: str) -> list[TestClient]:
    """A device for each name, an hour apart; the same name is the same person."""
    known: dict[str, Person] = {}
    came = []
    for name in names:
        with program.store.writing() as db:
            if name in known:
                link = actions.make_sign_in_link(db, known[name], program.clock.now)
            else:
                link = actions.make_pass(db, role, name, None, program.clock.now)
        browser = device(program)
        assert browser.post("/join", data={"pass": link.secret, "name": name}).status_code == 303
        with program.store.reading() as db:
            found = queries.people_named(db, name)[0]
        assert found is not None
        known[name] = found
        came.append(browser)
        program.clock.ahead(hours=1)
    return came


def shown(browser: TestClient) -> list[tuple[str, str]]:
    """The devices that one's own page lists, and since when each is signed in."""
    return re.findall(
        r'<b>(This one|Another one)</b><br><span class="soft">since ([^,]+, [^,<]+)', browser.get("/me").text
    )


def buttons(browser: TestClient) -> list[str]:
    """Where the buttons beside the devices lead, in order."""
    return re.findall(r'action="(/me/[a-z-]*devices/[^"]*)"', browser.get("/me").text)


def test_my_page_lists_them_the_newest_first(program: Running) -> None:
    first, second, third = signed_in(program, Role.LEAD, "Kim", "Kim", "Kim")
    signed_in(program, Role.LEAD, "Robin")
    hours = ["Mon Sep 21, 8:00 pm", "Mon Sep 21, 7:00 pm", "Mon Sep 21, 6:00 pm"]
    for browser, place in ((first, 2), (second, 1), (third, 0)):
        listed = shown(browser)
        assert [since for _, since in listed] == hours
        assert [word for word, _ in listed].index("This one") == place
        assert len(buttons(browser)) == 3


def test_one_is_signed_out_from_its_next_request_on(program: Running) -> None:
    first, second, third = signed_in(program, Role.LEAD, "Kim", "Kim", "Kim")
    newest = buttons(first)[0]
    answer = first.post(newest)
    assert answer.status_code == 303
    assert "Signed out there." in first.get(answer.headers["location"]).text
    assert third.get("/gear").status_code == 401
    assert second.get("/gear").status_code == 200
    assert [since for _, since in shown(first)] == ["Mon Sep 21, 7:00 pm", "Mon Sep 21, 6:00 pm"]
    again = first.post(newest)
    assert again.status_code == 404
    assert "My page lists those that are" in again.text


def test_all_others_are_signed_out_at_once(program: Running) -> None:
    first, second, third = signed_in(program, Role.VIEWER, "Kim", "Kim", "Kim")
    [robin] = signed_in(program, Role.VIEWER, "Robin")
    for _ in range(2):
        assert second.post("/me/other-devices/end").status_code == 303
    assert [browser.get("/gear").status_code for browser in (first, second, third)] == [401, 200, 401]
    assert robin.get("/gear").status_code == 200
    assert [word for word, _ in shown(second)] == ["This one"]
    assert buttons(second) == []
    trail = program.lead.get("/crew/trail").text
    assert trail.count("<b>Devices signed out</b>: Kim</p>") == 1
    assert "devices: 2" in trail


def test_nobody_signs_out_anothers_device(program: Running) -> None:
    kim, other = signed_in(program, Role.LEAD, "Kim", "Kim")
    [robin] = signed_in(program, Role.LEAD, "Robin")
    [address] = buttons(kim)
    for somebody in (robin, program.lead, program.crew):
        assert somebody.post(address).status_code == 404
    assert program.stranger.post(address).status_code == 401
    assert other.get("/me").status_code == 200
    for nonsense in (op(), "0", "-1", "9" * 40, "1.5", "٣"):
        assert kim.post(f"/me/devices/{nonsense}/end").status_code == 404


def test_what_has_run_out_and_tokens_are_no_devices(program: Running) -> None:
    [kim] = signed_in(program, Role.LEAD, "Kim")
    program.clock.now += LEAD_LONGEST - timedelta(hours=2)
    with program.store.writing() as db:
        known = queries.people_named(db, "Kim")[0]
        assert known is not None
        link = actions.make_sign_in_link(db, known, program.clock.now)
        token = actions.start_sign_in(db, known, program.clock.now, None, "a tool")
    late = device(program)
    assert late.post("/join", data={"pass": link.secret}).status_code == 303
    assert len(shown(late)) == 2
    program.clock.ahead(hours=2)
    assert len(shown(late)) == 1
    assert kim.get("/me").status_code == 401
    assert late.post("/me/other-devices/end").status_code == 303
    assert late.get("/gear", headers={"Authorization": f"Bearer {token}"}).status_code == 200
    assert "<h2>Devices</h2>" not in program.lead.get("/me").text
