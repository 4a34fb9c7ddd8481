"""A program's own wirings: entered as text, shown before they are kept, never changed, ended."""

import re

import pytest

from service.gear import queries as gear
from service.gear.wirings import find_wiring, wiring_choices
from service.wiring.builtin import BUILTIN
from tests.support.program import Running, op

SNAKE = "1 A1.1 B1.1 shield lane 1\n2 A1.2 B1.2 hot pair 1 lane 1\n3 A1.3 B1.3 cold pair 1 lane 1"
TYPED = {"name": "Short  snake", "conductors": SNAKE, "others": "A1.s B1.s", "bonds": "A1.1-A1.s"}


def seen(html: str) -> str:
    """What a page says was seen, to be sent back with the order to keep it."""
    found = re.search('name="seen" value="(.*?)"', html)
    assert found
    return found[1]


def make(program: Running, **changed: str) -> str:
    """Enter a wiring, look at it and keep it; its address."""
    asked = {"op": op()} | TYPED | changed
    shown = program.lead.post("/wirings/new", data=asked | {"do": "show"})
    assert shown.status_code == 200, shown.text
    kept = program.lead.post("/wirings/new", data=asked | {"do": "keep", "seen": seen(shown.text)})
    assert kept.status_code == 303, kept.text
    return str(kept.headers["location"]).partition("?")[0]


def test_it_is_shown_in_words_before_it_is_kept(program: Running) -> None:
    asked = {"op": op()} | TYPED
    shown = program.lead.post("/wirings/new", data=asked | {"do": "keep"})
    assert shown.status_code == 200
    assert "<td>contact 2 of connector 1</td>" in shown.text
    assert "The shell of connector 1 at end A" not in shown.text
    assert "ontact 1 of connector 1 at end A is bonded to the shell of connector 1 at end A" in shown.text
    with program.store.reading() as db:
        assert gear.own_wirings(db) == []


def test_what_was_changed_after_it_was_seen_is_shown_again(program: Running) -> None:
    asked = {"op": op()} | TYPED
    token = seen(program.lead.post("/wirings/new", data=asked | {"do": "show"}).text)
    other = asked | {"bonds": "", "do": "keep", "seen": token}
    answer = program.lead.post("/wirings/new", data=other)
    assert answer.status_code == 200
    assert "changed it since" in answer.text
    assert seen(answer.text) != token
    with program.store.reading() as db:
        assert gear.own_wirings(db) == []


def test_kept_it_can_be_added_tested_and_is_offered(program: Running) -> None:
    assert make(program) == "/wirings/own-short-snake"
    page = program.viewer.get("/wirings/own-short-snake")
    assert "Short snake" in page.text
    assert "Short snake" in program.viewer.get("/wirings").text
    with program.store.reading() as db:
        assert ("own-short-snake", "Short snake") in wiring_choices(db)
        assert find_wiring(db, "own-short-snake").bonds
    [item] = program.lead.post(
        "/api/v1/items", json={"id": op(), "kind": "trunk", "wiring": "own-short-snake", "length": "10 m"}
    ).json()
    test = {"id": op(), "item": item["code"], "joined": [["A1.1", "A1.s", "B1.1"], ["A1.3", "B1.3"]]}
    told = program.crew.post("/api/v1/tests", json=test).json()
    assert [(fault["class"], fault["conductors"]) for fault in told["faults"]] == [("open", ["2"])]
    assert "1 item has it" in program.viewer.get("/wirings/own-short-snake").text


def test_sent_twice_it_is_kept_once(program: Running) -> None:
    asked = {"op": op()} | TYPED
    token = seen(program.lead.post("/wirings/new", data=asked).text)
    first, again = (program.lead.post("/wirings/new", data=asked | {"do": "keep", "seen": token}) for _ in range(2))
    assert first.headers["location"] == again.headers["location"] == "/wirings/own-short-snake?said=made"
    with program.store.reading() as db:
        assert len(gear.own_wirings(db)) == 1


def test_names_that_look_alike_get_keys_of_their_own(program: Running) -> None:
    assert make(program, name="Schlange Ä") == "/wirings/own-schlange-a"
    assert make(program, name="Schlange A") == "/wirings/own-schlange-a-2"
    assert make(program, name="蛇") == "/wirings/own-wiring"


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("name", "", "needs a name"),
        ("name", "x" * 61, "1 to 60"),
        ("name", "quarter-inch balanced (trs)", "is a wiring called"),
        ("conductors", "", "no conductor"),
        ("conductors", "1 A1 B1 earth", "Line 1: “earth” is no role"),
        ("others", "shell", "“shell” is no contact"),
        ("bonds", "A1.1-B1.1", "joins the two ends"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field(program: Running, field: str, value: str, says: str) -> None:
    answer = program.lead.post("/wirings/new", data={"op": op(), "do": "show"} | TYPED | {field: value})
    assert answer.status_code == 422
    [sentence] = re.findall(f'id="f-{field}-error">.*?<span>(.*?)</span>', answer.text, re.DOTALL)
    assert says in sentence.replace("&#39;", "'")
    assert "A1.1 B1.1" in answer.text or field == "conductors"


def test_a_name_is_taken_once(program: Running) -> None:
    make(program)
    answer = program.lead.post("/wirings/new", data={"op": op()} | TYPED | {"name": "short SNAKE"})
    assert "is a wiring called" in answer.text


def test_ended_it_is_offered_no_longer_and_stays_what_it_was(program: Running) -> None:
    at = make(program)
    assert program.lead.post(f"{at}/end", data={"op": op()}).status_code == 303
    with program.store.reading() as db:
        assert "own-short-snake" not in dict(wiring_choices(db))
        assert find_wiring(db, "own-short-snake").by_name["2"].role == "hot"
    assert "no longer offered" in program.viewer.get(at).text
    again = program.lead.post(f"{at}/end", data={"op": op()})
    assert again.status_code == 409
    assert program.lead.post("/wirings/own-none/end", data={"op": op()}).status_code == 404


@pytest.mark.parametrize("key", BUILTIN)
def test_every_built_in_wiring_has_its_page(program: Running, key: str) -> None:
    page = program.viewer.get(f"/wirings/{key}").text
    assert page.count("<tr>") == 1 + len(BUILTIN[key].conductors)


def test_only_a_lead_enters_or_ends_one(program: Running) -> None:
    assert program.crew.get("/wirings/new").status_code == 403
    assert program.crew.post("/wirings/new", data={"op": op()} | TYPED).status_code == 403
    assert program.crew.post("/wirings/xlr3/end", data={"op": op()}).status_code == 403
    assert program.viewer.get("/wirings/own-none").status_code == 404
