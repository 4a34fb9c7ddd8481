"""A count: what is here, what is missing, what was found again, and what a lead makes of it."""

import re
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.counts.core import Seen, outcome
from service.gear.actions import place
from service.gear.core import ItemState
from service.gear.queries import item_facts, place_named, states
from service.tags.actions import tag_places
from service.testlog.actions import change_state
from tests.support.program import START, Running, op
from tests.testlog.support import OPEN_2, ZONE, Bench, bench


def placed(program: Running, *places: str) -> Bench:
    """One cable in each place."""
    at = bench(program, *["xlr3"] * len(places))
    with program.store.writing() as db:
        for code, name in zip(at.codes, places, strict=True):
            place(db, at.ids[code], name, "", None, program.clock.now)
    return at


def counted(program: Running, **more: str) -> str:
    """A count of everything; its address."""
    data = {"op": op(), "on": "2026-09-21", "kind": "count", "title": "Count", "place": ""} | more
    answer = program.lead.post("/sessions", data=data)
    assert answer.status_code == 303, answer.text
    address = str(answer.headers["location"])
    assert program.viewer.get(address).headers["location"] == f"{address}/count"
    return address


def put(at: Bench, code: str, state: ItemState) -> None:
    with at.program.store.writing() as db:
        change_state(db, at.ids[code], state, "so", at.lead, at.program.clock.now, ZONE)


def place_id(program: Running, name: str) -> UUID:
    with program.store.reading() as db:
        found = place_named(db, name)
    assert found is not None
    return found.id


def see(program: Running, address: str, **fields: object) -> str:
    answer = program.crew.post(f"{address}/seen", data={"op": op()} | fields)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def see_code(program: Running, address: str, code: str, where: UUID | None = None) -> str:
    """Type a code, look at what it is, and say where it was seen; the page that asks."""
    page = program.crew.get(see(program, address, code=code, place=str(where or ""))).text
    asked = page.split('id="named"')[1].split("</form>")[0]
    (item,) = re.findall(r'name="item" value="([^"]+)"', asked)
    (place,) = re.findall(r'<option value="([^"]+)" selected', asked)
    see(program, address, item=item, place=place)
    return page


def walk(program: Running, address: str, place: UUID) -> None:
    answer = program.crew.post(f"{address}/walked", data={"op": op(), "place": str(place)})
    assert answer.status_code == 303, answer.text


def test_what_is_no_item_and_no_place_was_not_seen(program: Running) -> None:
    at = placed(program, "Rack")
    address, here = counted(program), str(at.ids[at.codes[0]])
    for fields in ({"item": op()}, {"item": here, "place": op()}):
        answer = program.crew.post(f"{address}/seen", data={"op": op()} | fields)
        assert answer.status_code == 422, answer.text
        assert "out of date" in answer.text
    assert "0 of 1" in program.viewer.get(f"{address}/count").text


def test_place_by_place_line_by_line_and_all_except(program: Running) -> None:
    at = placed(program, "Rack", "Rack", "Rack", "Case")
    one, two, three, case = at.codes
    put(at, two, ItemState.QUARANTINED)  # it should be there all the same
    address = counted(program)
    rack = place_id(program, "Rack")
    assert "0 of 4 seen" in program.viewer.get(f"{address}/count").text
    here = see(program, address, item=str(at.ids[one]), place=str(rack))
    assert here == f"{address}/count/{rack}"
    page = program.crew.get(here).text
    assert "1 of 3 seen" in page
    assert f'aria-label="Seen: {two}"' in page
    assert f'aria-label="Not seen after all: {one}"' in page
    see(program, address, place=str(rack), all="yes", missing=str(at.ids[three]))
    assert "2 of 4 seen" in program.viewer.get("/sessions").text
    page = program.crew.get(here).text
    assert f'aria-label="Seen: {three}"' in page
    assert f'aria-label="Seen: {two}"' not in page
    assert "Next: Case" in page
    program.crew.post(f"{address}/unseen", data={"op": op(), "item": str(at.ids[one]), "place": str(rack)})
    assert "1 of 3 seen" in program.crew.get(here).text
    assert case not in page


def test_codes_scanned_typed_and_of_a_place(program: Running) -> None:
    at = placed(program, "Rack", "Case")
    rack, case = at.codes
    address = counted(program, place=str(place_id(program, "Rack")))
    assert "0 of 1 seen" in program.crew.get(f"{address}/count").text
    asked = see_code(program, address, f"https://cables.test/T/{rack}")
    assert "Is this what you hold?" in asked
    assert "0 of 1 seen" in asked  # it counts once it is confirmed
    see_code(program, address, f"{case[:3]} {case[3:]}".lower())
    page = program.crew.get(f"{address}/count").text
    assert "1 of 1 seen" in page
    assert "in the book it lives at Case" in page
    with program.store.writing() as db:
        (tag,) = tag_places(db, [place_id(program, "Rack")], program.clock.now)
    assert see(program, address, code=tag) == f"{address}/count/{place_id(program, 'Rack')}"
    refused = program.crew.post(f"{address}/seen", data={"op": op(), "code": "QQQQQQ"})
    assert refused.status_code == 422
    assert "QQQQQQ" in refused.text


def test_the_missing_are_lost_as_ticked_and_the_found_are_back(program: Running) -> None:
    at = placed(program, "Rack", "Rack", "Rack", "Rack", "Rack")
    here, lost, kept, found, broken = at.codes
    put(at, found, ItemState.SPARE)
    for code in (found, broken):
        put(at, code, ItemState.LOST)
    at.test(broken, OPEN_2)
    address = counted(program)
    for code in (here, found, broken):
        see_code(program, address, code)
    page = program.lead.get(f"{address}/count/close").text
    assert 'name="lost"' not in page
    assert "2 not seen, and nobody walked their places to the end" in page
    walk(program, address, place_id(program, "Rack"))
    page = program.lead.get(f"{address}/count/close").text
    assert f'name="lost" value="{at.ids[lost]}"' in page
    assert f'name="found" value="{at.ids[found]}" checked' in page
    data = {
        "op": op(),
        "lost": str(at.ids[lost]),
        "found": [str(at.ids[found]), str(at.ids[broken])],
        "note": "The truck was dark.",
    }
    assert program.crew.post(f"{address}/count/close", data=data).status_code == 403
    for _ in "ab":
        assert program.lead.post(f"{address}/count/close", data=data).status_code == 303
    assert [at.state(code) for code in at.codes] == [
        "in_service",
        "lost",
        "in_service",
        "spare",
        "quarantined",
    ]
    with program.store.reading() as db:
        assert states(db, at.ids[lost])[-1].reason == "Missing in Count."
        assert states(db, at.ids[found])[-1].reason == "Found in Count."
    page = program.viewer.get(f"{address}/count").text
    assert "The truck was dark." in page
    assert f"{kept[:3]}</span><span>{kept[3:]}" in page  # missing, and not said to be lost
    assert program.lead.post(f"{address}/count/close", data={"op": op()}).status_code == 409
    assert program.crew.post(f"{address}/seen", data={"op": op(), "code": kept}).status_code == 409


def test_a_lead_brings_a_found_one_back_at_once(program: Running) -> None:
    at = placed(program, "Rack", "Rack")
    lost, other = at.codes
    put(at, lost, ItemState.LOST)
    address = counted(program)
    see_code(program, address, lost)
    page = program.crew.get(f"{address}/count").text
    assert "Found again" in page
    assert "Back in the book" not in page
    assert "Back in the book" in program.lead.get(f"{address}/count").text
    data = {"op": op(), "item": str(at.ids[lost])}
    assert program.crew.post(f"{address}/found", data=data).status_code == 403
    assert program.lead.post(f"{address}/found", data=data).status_code == 303
    assert at.state(lost) == ItemState.IN_SERVICE
    wrong = program.lead.post(f"{address}/found", data={"op": op(), "item": str(at.ids[other])})
    assert wrong.status_code == 422
    assert "not lost any more" in wrong.text


def test_what_is_found_elsewhere_is_kept_with_its_place_and_lives_there_if_a_lead_says_so(
    program: Running,
) -> None:
    at = placed(program, "Rack", "Rack", "Case")
    one, two, _ = at.codes
    address = counted(program)
    case = place_id(program, "Case")
    for code in (one, two):
        see_code(program, address, code, case)
    page = program.lead.get(f"{address}/count").text
    assert page.count("Seen at Case by") == 2
    assert "in the book it lives at Rack" in page
    assert "It lives there now" not in program.crew.get(f"{address}/count").text
    moved = {"op": op(), "item": str(at.ids[one])}
    assert program.crew.post(f"{address}/moved", data=moved).status_code == 403
    assert program.lead.post(f"{address}/moved", data=moved).status_code == 303
    again = program.lead.post(f"{address}/moved", data=moved | {"op": op()})
    assert again.status_code == 422
    assert "lives there already" in again.text
    close = program.lead.get(f"{address}/count/close").text
    assert f'name="moved" value="{at.ids[two]}"' in close
    data = {"op": op(), "moved": str(at.ids[two])}
    assert program.lead.post(f"{address}/count/close", data=data).status_code == 303
    with program.store.reading() as db:
        facts = item_facts(db, at.ids.values())
    assert {facts[at.ids[code]].place for code in (one, two)} == {"Case"}


def test_all_but_what_is_ticked_walks_the_place_and_an_empty_one_too(program: Running) -> None:
    at = placed(program, "Rack", "Case")
    rack, case = at.codes
    address = counted(program)
    see(program, address, place=str(place_id(program, "Rack")), all="yes", missing=str(at.ids[rack]))
    page = program.lead.get(f"{address}/count/close").text
    assert f'name="lost" value="{at.ids[rack]}"' in page
    assert f'name="lost" value="{at.ids[case]}"' not in page
    late = program.lead.post(f"{address}/count/close", data={"op": op(), "lost": str(at.ids[case])})
    assert late.status_code == 422
    assert "nobody walked its place" in late.text
    there = f"{address}/count/{place_id(program, 'Case')}"
    assert "Nothing else is here" in program.crew.get(there).text
    walk(program, address, place_id(program, "Case"))
    assert "Walked to its end" in program.crew.get(there).text
    assert f'name="lost" value="{at.ids[case]}"' in program.lead.get(f"{address}/count/close").text


def test_what_was_seen_meanwhile_is_not_lost(program: Running) -> None:
    at = placed(program, "Rack")
    address = counted(program)
    see(program, address, item=str(at.ids[at.codes[0]]))
    late = program.lead.post(f"{address}/count/close", data={"op": op(), "lost": str(at.ids[at.codes[0]])})
    assert late.status_code == 422
    assert "seen meanwhile" in late.text
    assert at.state(at.codes[0]) == ItemState.IN_SERVICE


def test_a_refused_close_keeps_what_was_ticked(program: Running) -> None:
    at = placed(program, "Rack", "Rack", "Rack", "Rack", "Case")
    lost, found, back, elsewhere, _ = at.codes
    put(at, found, ItemState.LOST)
    put(at, back, ItemState.LOST)
    address = counted(program)
    rack, case = place_id(program, "Rack"), place_id(program, "Case")
    for code, where in ((found, rack), (back, rack), (elsewhere, case)):
        see_code(program, address, code, where)
    walk(program, address, rack)

    def ticked(page: str) -> set[tuple[str, str]]:
        return set(re.findall(r'name="(lost|found|moved)" value="([^"]+)" checked', page))

    assert ticked(program.lead.get(f"{address}/count/close").text) == {
        ("found", str(at.ids[found])),
        ("found", str(at.ids[back])),
    }
    ticks = {"lost": str(at.ids[lost]), "found": str(at.ids[back]), "moved": str(at.ids[elsewhere])}
    sent = ticks | {"op": op(), "note": "x" * 501}
    refused = program.lead.post(f"{address}/count/close", data=sent)
    assert refused.status_code == 422
    assert ticked(refused.text) == set(ticks.items())
    assert f'name="op" value="{sent["op"]}"' in refused.text
    without = program.lead.post(f"{address}/count/close", data={"op": op(), "note": "x" * 501})
    assert ticked(without.text) == set()


def test_a_count_is_no_evening_of_tests(program: Running) -> None:
    at = placed(program, "Rack")
    address = counted(program)
    assert "Count" not in program.crew.get(f"/t/{at.codes[0]}/test").text.split("<form")[0]
    data = {"op": op(), "on": "2026-09-21", "kind": "test", "why": "untested", "place": ""}
    tests = program.lead.post("/sessions", data=data).headers["location"]
    assert program.crew.post(f"{tests}/seen", data={"op": op(), "code": at.codes[0]}).status_code == 409
    assert program.viewer.get(f"{address}/count/{UUID(int=0)}").status_code == 404
    empty = program.lead.post("/places", data={"op": op(), "name": "Attic", "kind": "other"})
    assert empty.status_code == 303
    nothing = {"op": op(), "on": "2026-09-21", "kind": "count", "place": str(place_id(program, "Attic"))}
    assert "nothing to count" in program.lead.post("/sessions", data=nothing).text


items = st.lists(st.integers(1, 12).map(lambda number: UUID(int=number)), unique=True)


@given(items, items, st.data())
def test_everything_counted_ends_in_one_heap(expected: list[UUID], seen: list[UUID], data: st.DataObject) -> None:
    states = {item: data.draw(st.sampled_from(ItemState)) for item in {*expected, *seen}}
    places = st.integers(1, 4).map(lambda number: UUID(int=100 + number))
    somewhere = st.one_of(st.none(), places)
    homes = {item: (data.draw(somewhere), None) for item in states}
    at = {item: data.draw(somewhere) for item in seen}
    walked = data.draw(st.sets(places))
    found = outcome(expected, {item: Seen(START, "", "", at[item]) for item in seen}, states, homes, walked)
    assert sorted([*found.seen, *found.missing, *found.not_walked]) == sorted(expected)
    assert {homes[item][0] for item in found.missing} <= walked
    assert not {homes[item][0] for item in found.not_walked} & walked
    assert set(found.elsewhere) == {item for item in seen if at[item] and at[item] != homes[item][0]}
    assert set(found.found_again) == {item for item in seen if states[item] is ItemState.LOST}
    assert set(seen) == {*found.seen, *found.found_again, *found.besides}
    assert not set(found.besides) & {*found.seen, *found.found_again}


@pytest.mark.parametrize("path", ["count", "count/close", "count/none"])
def test_strangers_see_no_count(program: Running, path: str) -> None:
    placed(program, "Rack")
    assert program.stranger.get(f"{counted(program)}/{path}").status_code == 401


def test_a_scan_in_a_count_comes_back_to_it(program: Running) -> None:
    at = placed(program, "Rack", "Case")
    rack, _ = at.codes
    address = counted(program)
    session = address.removeprefix("/sessions/")
    assert f'href="/scan?session={session}"' in program.crew.get(f"{address}/count").text
    there = program.crew.get("/find", params={"code": rack, "session": session}).headers["location"]
    assert there == f"{address}/count?code={rack}"
    assert f'name="item" value="{at.ids[rack]}"' in program.crew.get(there).text
    with program.store.writing() as db:
        (tag,) = tag_places(db, [place_id(program, "Rack")], program.clock.now)
    there = program.crew.get("/find", params={"code": tag, "session": session}).headers["location"]
    assert there == f"{address}/count/{place_id(program, 'Rack')}"


def test_the_page_of_a_place_leads_to_its_count_and_to_what_crackled(program: Running) -> None:
    placed(program, "Rack", "Case")
    rack = place_id(program, "Rack")
    walk = f"/places/{rack}/walk"
    assert f"/places/{rack}/crackled" in program.crew.get(walk).text
    assert "Count what is here" not in program.crew.get(walk).text
    assert f'href="/sessions/new?kind=count&amp;place={rack}"' in program.lead.get(walk).text
    new = program.lead.get(f"/sessions/new?kind=count&place={rack}").text
    assert f'value="{rack}" selected' in new
    address = counted(program)
    for who in (program.crew, program.lead):
        page = who.get(walk).text
        assert f'href="{address}/count/{rack}"' in page
    assert "crackled" not in program.viewer.get(walk).text
    close = {"op": op()}
    assert program.lead.post(f"{address}/count/close", data=close).status_code == 303
    assert "Count what is here" not in program.crew.get(walk).text
