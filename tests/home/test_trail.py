"""A lead reads who did what, when: all of it, by person, by action, by day, page by page."""

import re
from datetime import timedelta

import pytest

from service.crew.models import AuditEntry
from service.crew.queries import first_lead, note_in_audit, people_named
from service.gear.queries import places
from service.home.trail.core import action_words, detail_words
from service.store.paging import PAGE
from service.tags.queries import code_of
from tests.support.program import Running, op
from tests.testlog.support import bench


def subjects(page: str) -> list[str]:
    """What the entries on a page are about, in order."""
    return re.findall(r"</b>: (.+?)</p>", page)


def noted(program: Running, count: int) -> None:
    """Entries of the lead and the crew by turns, an hour apart, each about its number."""
    with program.store.writing() as db:
        people = [people_named(db, name)[0] for name in ("Lead", "Crew")]
        for number in range(count):
            person = people[number % 2]
            assert person is not None
            at = program.clock.now + timedelta(hours=number)
            note_in_audit(db, at, person.id, ("tag.replaced", "item.placed")[number % 3 == 0], f"no. {number}")


def test_every_change_stands_there_with_who_and_what(program: Running) -> None:
    program.lead.post("/crew/passes", data={"role": "crew", "label": "Thursdays"})
    program.lead.post("/me/passphrase", data={"passphrase": "copper river lantern"})
    program.stranger.post("/sign-in", data={"name": "Lead", "passphrase": "copper river lantern"})
    page = program.lead.get("/crew/trail").text
    assert subjects(page)[:3] == ["Lead", "Lead", "Thursdays"]
    for words in (
        "Signed in",
        "Passphrase set",
        "Pass made",
        "role: crew",
        "Mon Sep 21, 6:00 pm</span>, Lead",
    ):
        assert words in page


def test_it_is_read_page_by_page_without_a_gap(program: Running) -> None:
    noted(program, 2 * PAGE + 7)
    found, href = [], "/crew/trail"
    while href:
        page = program.lead.get(href).text
        found += subjects(page)
        further = re.search(r'href="(/crew/trail\?[^"]*after=[^"]*)"', page)
        href = further[1].replace("&amp;", "&") if further else ""
    numbers = [subject for subject in found if subject.startswith("no. ")]
    assert numbers == [f"no. {number}" for number in reversed(range(2 * PAGE + 7))]


def test_it_is_narrowed_by_person_action_and_day(program: Running) -> None:
    noted(program, 30)
    with program.store.reading() as db:
        crew = people_named(db, "Crew")[0]
        entries = {f"no. {n}": n for n in range(30)}
        assert db.query(AuditEntry).count() > 30
    assert crew is not None

    def shown(**asked: str) -> set[int]:
        page = program.lead.get("/crew/trail", params=asked).text
        return {entries[subject] for subject in subjects(page) if subject in entries}

    assert shown(person=str(crew.id)) == {n for n in range(30) if n % 2}
    assert shown(action="item.placed") == {n for n in range(30) if n % 3 == 0}
    # the clock starts at 6 pm in the program's zone, so six hours are left of that day
    assert shown(day="2026-09-21") == set(range(6))
    assert shown(day="2026-09-22", person=str(crew.id), action="item.placed") == {9, 15, 21, 27}


@pytest.mark.parametrize(("asked", "field"), [({"day": "tomorrow"}, "day"), ({"person": "me"}, "person")])
def test_what_cannot_be_asked_is_told_beside_its_field(program: Running, asked: dict[str, str], field: str) -> None:
    answer = program.lead.get("/crew/trail", params=asked)
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text


def test_words() -> None:
    assert action_words("calendar.link_made") == "Calendar link made"
    assert detail_words({"codes": ["A", "B"], "return_note": ""}, {}) == "codes: A, B; return note: –"
    assert detail_words(None, {}) == ""


def told(page: str) -> list[tuple[str, str, str]]:
    """The entries on a page, the oldest first: what was done, to what, and what is kept beside it."""
    found = re.findall(r"<b>([^<]+)</b>: (.+?)</p>\s*(?:<p>(.*?)</p>)?\s*<p class=\"soft\">.*, Lead</p>", page)
    return found[::-1]


def test_what_leads_do_to_places_stands_there(program: Running) -> None:
    for name in ("Frame 1", "Frame 2"):
        program.lead.post("/places", data={"op": op(), "name": name, "kind": "frame"})
    with program.store.reading() as db:
        one, two = (place.id for place in places(db))
    for _ in range(2):  # the second time it is the first of the walk already
        program.lead.post(f"/places/{two}/move", data={"op": op(), "to": "earlier"})
        program.lead.post(f"/places/{one}", data={"op": op(), "name": "Rack 1", "kind": "case"})
    program.lead.post(f"/places/{one}", data={"op": op(), "name": "Frame 2", "kind": "case"})
    program.lead.post("/api/v1/items", json={"id": op(), "kind": "hub", "place": "Cart"})
    assert told(program.lead.get("/crew/trail").text)[:-1] == [
        ("Place made", "Frame 1", "kind: frame"),
        ("Place made", "Frame 2", "kind: frame"),
        ("Place moved", "Frame 2", "turn: 2 → 1"),
        ("Place changed", "Rack 1", "name: Frame 1 → Rack 1; kind: frame → case"),
        ("Place made", "Cart", "kind: other"),
    ]


def test_what_leads_do_to_sessions_stands_there(program: Running) -> None:
    at = bench(program, "xlr3", "xlr3", "xlr3")
    session = op()
    opened = {"op": session, "on": "2026-09-21", "title": "Monday", "codes": at.codes[0]}
    assert program.lead.post("/sessions", data=opened).status_code == 303
    same = {"title": "Monday", "on": "2026-09-21", "note": ""}
    for changed in (
        same | {"codes": " ".join(at.codes[1:])},
        same | {"title": "Tuesday", "on": "2026-09-22", "drop": str(at.ids[at.codes[0]])},
        {"title": "Tuesday", "on": "2026-09-22", "note": "Bring the lamps."},
        {"title": "Tuesday", "on": "2026-09-22", "note": "Bring the lamps."},
    ):
        answer = program.lead.post(f"/sessions/{session}/change", data={"op": op()} | changed)
        assert answer.status_code == 303, answer.text
    for _ in range(2):
        program.lead.post(f"/sessions/{session}/close", data={"op": op(), "note": "Cold, and quick."})
    page = program.lead.get("/crew/trail").text
    assert told(page) == [
        ("Session opened", "Monday", "kind: test; on: 2026-09-21; items: 1"),
        ("Session changed", "Monday", "items added: 2"),
        (
            "Session changed",
            "Tuesday",
            "title: Monday → Tuesday; on: 2026-09-21 → 2026-09-22; items dropped: 1",
        ),
        ("Session changed", "Tuesday", "note: another one"),
        ("Session closed", "Tuesday", ""),
    ]
    assert "Bring the lamps" not in page  # what people write stays where it can be found, in one place
    count = op()
    program.lead.post("/sessions", data={"op": count, "on": "2026-09-21", "title": "All", "kind": "count"})
    program.lead.post(f"/sessions/{count}/count/close", data={"op": op()})
    assert told(program.lead.get("/crew/trail").text)[-2:] == [
        ("Session opened", "All", "kind: count; on: 2026-09-21; items: 3"),
        ("Session closed", "All", ""),
    ]


def test_people_that_an_entry_speaks_of_go_by_their_names(program: Running) -> None:
    with program.store.writing() as db:
        lead = first_lead(db)
        assert lead is not None
        note_in_audit(db, program.clock.now, lead.id, "hand_over.taken", "Trip", {"from": str(lead.id)})
    assert told(program.lead.get("/crew/trail").text)[-1] == ("Hand over taken", "Trip", "from: Lead")


def linked(page: str) -> list[tuple[str, str, str]]:
    """What was done to gear, the oldest first: the action, where its link leads, and what the link says."""
    found = re.findall(r"<b>([^<]+)</b>: .*?<a href=\"(/gear/\w+)\">(.*?)</a>", page)
    return [(action, href, re.sub("<[^>]+>", "", says)) for action, href, says in found[::-1]]


def test_what_is_done_to_gear_names_it_by_code_and_label_and_leads_there(program: Running) -> None:
    at = bench(program, "xlr3", "xlr3")
    one, other = at.codes
    edit = {"op": op(), "label": "Lead vocal", "gauge_awg": "", "batch": "", "bought_on": "", "price": ""}
    assert program.lead.post(f"/gear/{one}/edit", data=edit).status_code == 303
    test = at.test(one, through=(other,))["id"]
    for path in (f"/tests/{test}/void", f"/t/{one}/retag"):
        answer = program.lead.post(path, data={"op": op(), "reason": "The wrong cable."})
        assert answer.status_code == 303, answer.text
    page = program.lead.get("/crew/trail").text
    with program.store.reading() as db:
        new = code_of(db, at.ids[one])
    here = [
        ("Item edited", f"/gear/{new}", f"Lead vocal {new}"),
        ("Test voided", f"/gear/{new}", f"Lead vocal {new}"),
    ]
    assert linked(page) == [*here, ("Tag replaced", f"/gear/{new}", f"Lead vocal {new}")]
    assert f'<a href="/gear/{other}">' in page  # the test went through it too
    assert f'<a href="/tests/{test}">' in page
    assert f"{one}, now" in page  # a code that a retag ended
    assert str(test) not in re.sub("<[^>]+>", "", page)
