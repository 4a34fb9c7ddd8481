"""A program's own tester: described by a lead, tapped by a helper, logged as far as its lamps prove anything."""

import re
from typing import Any

import pytest

from tests.support.program import Running, form_of_a_test, op
from tests.testlog.support import Bench, bench

LAMPS = {
    "name": "Bench  box",
    "wiring": "xlr3",
    "sees": "cross",
    "reaches": "",
    "patterns": "1 2 3 = good\n1 - 3 = A1-B1 A3-B3\n1 ? ? = A1-B1 A2-B3 A3-B2\n1 ? ? = A1-B1 A2-A3-B2-B3\n"
    "- - - = A2-B2 A3-B3\n- - - = nothing\n1 ! ! = good\n1 ! ! = A1-B1 A2-B3 A3-B2",
}


def describe(program: Running, **changed: str) -> str:
    """Describe a tester; its id."""
    answer = program.lead.post("/testers/new", data={"op": op()} | LAMPS | changed)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"]).removeprefix("/testers/").partition("?")[0]


def tapped(at: Bench, tester: str, pattern: str, **more: str) -> dict[str, Any]:
    """The test that tapping a pattern and logging it makes, as the API tells it."""
    [code] = at.codes
    data = form_of_a_test() | {"tester": tester, "pattern": pattern} | more
    answer = at.program.crew.post(f"/t/{code}/lamps", data=data)
    assert answer.status_code == 303, answer.text
    test_id = answer.headers["location"].removeprefix("/tests/")
    [test] = [test for test in at.program.viewer.get("/api/v1/tests").json()["items"] if test["id"] == test_id]
    return dict(test)


def errors(html: str) -> str:
    """The refusals of a page, from the summary above its form."""
    found = re.search(r'role="alert".*?</ul>', html, re.DOTALL)
    return found[0].replace("&#39;", "'") if found else ""


def test_described_it_is_shown_with_what_it_cannot_see(program: Running) -> None:
    tester = describe(program)
    page = program.viewer.get(f"/testers/{tester}").text
    assert "Conductor 2 (hot) is open" in page
    assert "A cable without a fault" in page
    assert "a reversed pair" in page  # one of its patterns is shown by a sound cable and by that
    assert "Bench box" in program.viewer.get("/testers").text


def test_one_tester_is_asked_for_its_pattern_at_once(program: Running) -> None:
    tester, [code] = describe(program), bench(program, "xlr3").codes
    page = program.crew.get(f"/t/{code}/lamps").text
    assert "What did the lamps show?" in page
    assert re.search(f'lamps.tester={tester}&(amp;)?pattern=1(%20|.)-(%20|.)3"', page)
    page = program.crew.get(f"/t/{code}/lamps", params={"tester": tester, "pattern": "1 - 3"}).text
    assert "Conductor 2 (hot) is open" in page
    assert "Which of them is it?" not in page


def test_the_form_of_a_test_asks_for_the_lamps_first_where_a_tester_is_described(program: Running) -> None:
    bench(program, "xlr3", "trs")
    codes = {item["wiring"]: item["code"] for item in program.viewer.get("/api/v1/items").json()["items"]}
    asked = "What did the lamps show?"
    assert asked not in program.crew.get(f"/t/{codes['xlr3']}/test").text
    tester = describe(program)
    page = program.crew.get(f"/t/{codes['xlr3']}/test").text
    assert page.index(asked) < page.index("Mark what was found")
    assert re.search(f'/t/{codes["xlr3"]}/lamps.tester={tester}&(amp;)?pattern=1(%20|.)-(%20|.)3"', page)
    assert asked not in program.crew.get(f"/t/{codes['trs']}/test").text
    through = {"through": codes["trs"]}  # several in one go look otherwise to the lamps
    assert asked not in program.crew.get(f"/t/{codes['xlr3']}/test", params=through).text
    describe(program, name="Truck box")
    page = program.crew.get(f"/t/{codes['xlr3']}/test").text
    assert f'/t/{codes["xlr3"]}/lamps?tester={tester}"' in page
    assert "Truck box" in page


def test_of_several_one_is_chosen_first(program: Running) -> None:
    describe(program)
    describe(program, name="Truck box")
    [code] = bench(program, "xlr3").codes
    page = program.crew.get(f"/t/{code}/lamps").text
    assert "Bench box" in page
    assert "Truck box" in page
    assert "1 - 3" not in page


def test_a_pattern_of_one_reading_is_that_test(program: Running) -> None:
    tester, at = describe(program), bench(program, "xlr3")
    test = tapped(at, tester, "1 2 3", flexed="yes")
    assert (test["verdict"], test["method"], test["note"]) == (
        "pass",
        "two_ended",
        "Bench box, lamps “1 2 3”.",
    )
    assert [one["class"] for one in test["evidence"]] == ["flexed"]
    failed = tapped(at, tester, "1 - 3")
    assert [(fault["class"], fault["conductors"]) for fault in failed["faults"]] == [("open", ["2"])]
    assert at.state(at.codes[0]) == "quarantined"


def test_what_the_tester_cannot_see_stands_under_its_pass(program: Running) -> None:
    straight, at = describe(program, sees="straight"), bench(program, "xlr3")
    test = tapped(at, straight, "1 2 3")
    told = program.viewer.get(f"/tests/{test['id']}").text
    assert re.search("Not ruled out[^.]*: a short,", told)
    by_contacts = at.test(at.codes[0])
    assert not re.search("Not ruled out[^.]*: a short,", program.viewer.get(f"/tests/{by_contacts['id']}").text)


def test_good_or_swapped_is_partial_and_says_so(program: Running) -> None:
    tester, at = describe(program), bench(program, "xlr3")
    page = program.crew.get(f"/t/{at.codes[0]}/lamps", params={"tester": tester, "pattern": "1 ! !"}).text
    assert "logged as partial: no fault is proven, and neither is conductor 2 (hot) and conductor 3 (cold)" in page
    test = tapped(at, tester, "1 ! !")
    assert (test["verdict"], test["unproven"], test["faults"]) == ("partial", ["2", "3"], [])
    assert "are swapped" in test["note"]


def test_faults_that_cannot_be_told_apart_fail_and_are_all_named(program: Running) -> None:
    tester, at = describe(program), bench(program, "xlr3")
    test = tapped(at, tester, "1 ? ?")
    assert test["verdict"] == "fail"
    assert [fault["class"] for fault in test["faults"]] == ["damage"]
    assert "one of: conductor 2 (hot) and conductor 3 (cold) are swapped; or" in test["faults"][0]["note"]
    assert at.state(at.codes[0]) == "quarantined"


def test_a_fault_that_all_share_is_logged_as_that(program: Running) -> None:
    # Contact 1 open alone, or all three: that 1 is open is sure, and nothing is claimed of the others.
    tester, at = describe(program), bench(program, "xlr3")
    test = tapped(at, tester, "- - -")
    assert [(fault["class"], fault["conductors"]) for fault in test["faults"]] == [("open", ["1"])]
    assert test["unproven"] == ["2", "3"]


def test_whoever_knows_which_it_is_says_so(program: Running) -> None:
    tester, at = describe(program), bench(program, "xlr3")
    test = tapped(at, tester, "1 ? ?", which="0", note="met by meter")
    assert [fault["class"] for fault in test["faults"]] == ["reversed_pair"]
    assert test["note"].endswith("met by meter")


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("pattern", "green", "Bench box has no pattern “green”"),
        ("which", "7", "Choose one of those named"),
        ("which", "x", "Choose one of those named"),
        ("note", "x" * 501, "500 are the most"),
        ("op", "no", "out of date"),
    ],
)
def test_what_cannot_be_logged_is_told(program: Running, field: str, value: str, says: str) -> None:
    tester, [code] = describe(program), bench(program, "xlr3").codes
    data = form_of_a_test() | {"tester": tester, "pattern": "1 ? ?", "which": ""} | {field: value}
    answer = program.crew.post(f"/t/{code}/lamps", data=data)
    assert answer.status_code == 422
    assert says in errors(answer.text)
    assert program.viewer.get("/api/v1/tests").json()["items"] == []


def test_a_pattern_that_was_not_described_is_told(program: Running) -> None:
    tester, [code] = describe(program), bench(program, "xlr3").codes
    page = program.crew.get(f"/t/{code}/lamps", params={"tester": tester, "pattern": "all dark"})
    assert page.status_code == 422
    assert "no pattern “all dark”; it has “1 2 3”" in errors(page.text)


def test_a_tester_is_for_its_wiring_only(program: Running) -> None:
    tester, [code] = describe(program), bench(program, "trs").codes
    assert "No tester is described for this wiring" in program.crew.get(f"/t/{code}/lamps").text
    answer = program.crew.post(f"/t/{code}/lamps", data=form_of_a_test() | {"tester": tester, "pattern": "1 2 3"})
    assert "another wiring" in errors(answer.text)


def test_put_away_it_is_offered_no_longer(program: Running) -> None:
    tester, [code] = describe(program), bench(program, "xlr3").codes
    assert program.lead.post(f"/testers/{tester}/end", data={"op": op()}).status_code == 303
    assert "No tester is described" in program.crew.get(f"/t/{code}/lamps").text
    logged = program.crew.post(f"/t/{code}/lamps", data=form_of_a_test() | {"tester": tester, "pattern": "1 2 3"})
    assert logged.status_code == 409
    assert program.lead.post(f"/testers/{tester}/end", data={"op": op()}).status_code == 409
    assert "put away" in program.viewer.get(f"/testers/{tester}").text
    assert program.viewer.get(f"/testers/{op()}").status_code == 404


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("name", "", "needs a name"),
        ("wiring", "xlr5", "no wiring here"),
        ("sees", "everything", "not “everything”"),
        ("reaches", "A1 A9", "no contact"),
        ("patterns", "", "at least one"),
        ("patterns", "green", "Line 1, “green”, needs"),
        ("patterns", "green = A1-As", "joined but not probed"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field(program: Running, field: str, value: str, says: str) -> None:
    answer = program.lead.post("/testers/new", data={"op": op()} | LAMPS | {field: value})
    assert answer.status_code == 422
    [sentence] = re.findall(f'id="f-{field}-error">.*?<span>(.*?)</span>', answer.text, re.DOTALL)
    assert says in sentence


def test_a_name_is_taken_once_and_only_a_lead_describes(program: Running) -> None:
    describe(program)
    answer = program.lead.post("/testers/new", data={"op": op()} | LAMPS | {"name": "bench BOX"})
    assert "is a tester called" in errors(answer.text)
    assert program.crew.post("/testers/new", data={"op": op()} | LAMPS).status_code == 403
    [code] = bench(program, "xlr3").codes
    assert program.viewer.get(f"/t/{code}/lamps").status_code == 403
