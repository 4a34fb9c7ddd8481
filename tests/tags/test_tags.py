"""Tags that wait to be printed, that are worn, that are replaced."""

import re
from uuid import UUID

from service.tags import queries
from tests.support.program import Running, op, running


def cable(program: Running) -> str:
    """The code of a new cable."""
    body = {"id": op(), "kind": "cable", "length": "10 ft"}
    code: str = program.lead.post("/api/v1/items", json=body).json()[0]["code"]
    return code


def waiting(program: Running) -> list[tuple[str, str]]:
    """The codes that wait to be printed, and why."""
    with program.store.reading() as db:
        return [(row.code, row.why) for row in queries.waiting(db, 100)]


def test_a_new_item_waits_for_its_tag_until_it_is_printed(program: Running) -> None:
    first, second = cable(program), cable(program)
    assert waiting(program) == [(first, "new"), (second, "new")]
    page = program.lead.get("/tags").text
    assert f'value="{first}"' in page
    done = {"op": op(), "code": [first]}
    answer = program.lead.post("/tags/printed", data=done)
    assert answer.headers["location"] == "/tags?printed=1"
    assert program.lead.post("/tags/printed", data=done).headers["location"] == "/tags?printed=1"
    assert waiting(program) == [(second, "new")]


def test_nothing_ticked_is_told(program: Running) -> None:
    cable(program)
    answer = program.lead.post("/tags/printed", data={"op": op()})
    assert answer.status_code == 422
    assert "Tick the tags" in answer.text


def test_what_was_ticked_is_still_ticked_where_it_is_refused(program: Running) -> None:
    first, second, printed = cable(program), cable(program), cable(program)
    program.lead.post("/tags/printed", data={"op": op(), "code": [printed]})
    answer = program.lead.post("/tags/printed", data={"code": [second, printed, "no code"]})
    assert answer.status_code == 422
    assert "out of date" in answer.text
    assert f'name="code" value="{second}" checked' in answer.text
    assert f'name="code" value="{printed}" checked' in answer.text
    assert re.findall(f'name="code" value="{first}"[^>]*>', answer.text) == [
        f'name="code" value="{first}" id="f-code">'
    ]


def test_a_worn_tag_waits_once_whoever_taps(program: Running) -> None:
    code = cable(program)
    program.lead.post("/tags/printed", data={"op": op(), "code": [code]})
    for who in (program.crew, program.lead):
        answer = who.post(f"/t/{code.lower()}/worn", data={"op": op()})
        assert (answer.status_code, answer.headers["location"]) == (303, f"/t/{code}?worn=1")
    assert waiting(program) == [(code, "worn")]


def test_a_new_code_ends_the_old_one_for_good(program: Running) -> None:
    old = cable(program)
    before = program.viewer.get(f"/api/v1/items/{old}").json()
    assert "ends for good" in program.lead.get(f"/t/{old}/retag").text
    request = {"op": op()}
    answer = program.lead.post(f"/t/{old}/retag", data=request)
    new = answer.headers["location"].removeprefix("/gear/").partition("?")[0]
    assert program.lead.post(f"/t/{old}/retag", data=request).headers["location"] == answer.headers["location"]
    gone = program.viewer.get(f"/gear/{old}")
    assert gone.status_code == 410
    assert "replaced by a new one" in gone.text
    after = program.viewer.get(f"/api/v1/items/{new}").json()
    assert after == before | {"code": new}
    assert waiting(program) == [(new, "new")]
    assert [item["code"] for item in program.viewer.get("/api/v1/items", params={"q": old}).json()["items"]] == [new]
    assert program.lead.post(f"/t/{old}/retag", data={"op": op()}).status_code == 410
    assert program.crew.post(f"/t/{old}/worn", data={"op": op()}).status_code == 410
    with program.store.reading() as db:
        assert queries.codes_of(db, [UUID(before["id"])]) == {UUID(before["id"]): new}


def test_who_may_do_what_with_tags(program: Running) -> None:
    code = cable(program)
    for path in ("/tags", f"/t/{code}/retag"):
        assert program.lead.get(path).status_code == 200
        assert program.crew.get(path).status_code == 403
    for path in ("/tags/printed", f"/t/{code}/retag"):
        assert program.crew.post(path, data={"op": op(), "code": [code]}).status_code == 403
    assert program.viewer.post(f"/t/{code}/worn", data={"op": op()}).status_code == 403
    assert waiting(program) == [(code, "new")]


def test_without_an_address_the_page_says_what_to_set(sqlite_url: str) -> None:
    with running(sqlite_url, base_url="") as program:
        program.lead.headers["Origin"] = "http://cables.test"
        assert "COILBOOK_BASE_URL" in program.lead.get("/tags").text
