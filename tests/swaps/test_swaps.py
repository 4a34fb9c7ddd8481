"""Swap now: a spare takes the place of what went bad, and how such a quarantine ends."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.gear.actions import place
from service.gear.core import ItemState
from service.gear.queries import item_facts, states
from service.season.core import What
from service.tags.actions import tag_places
from service.testlog.actions import call_suspect, change_state
from service.testlog.core import FaultStatus, LogEntry, fault_of, state_after
from tests.support.program import START, Running, op
from tests.testlog.support import OPEN_2, ZONE, Bench, bench

URL = "/api/v1/swaps"


def stage(program: Running, *wirings: str) -> tuple[Bench, str, str]:
    """What is in use between a frame and a hub, and a spare in the case."""
    at = bench(program, *(wirings or ("xlr3", "xlr3")))
    bad, spare = at.codes
    with program.store.writing() as db:
        place(db, at.ids[bad], "Frame 1", "Hub 1", None, program.clock.now)
        place(db, at.ids[spare], "Case", "", None, program.clock.now)
        change_state(db, at.ids[spare], ItemState.SPARE, "bought as one", at.lead, program.clock.now, ZONE)
    program.clock.ahead(minutes=1)
    return at, bad, spare


def send(program: Running, bad: str, spare: str, **more: Any) -> tuple[int, Any]:
    answer = program.crew.post(URL, json={"id": op(), "bad": bad, "spare": spare} | more)
    return answer.status_code, answer.json()


def lives(at: Bench, code: str) -> tuple[str, str]:
    with at.program.store.reading() as db:
        item = item_facts(db, [at.ids[code]])[at.ids[code]]
        return item.place, item.place_b


def test_the_spare_takes_place_and_state_and_the_bad_one_is_quarantined(program: Running) -> None:
    at, bad, spare = stage(program)
    page = program.crew.get("/swap", params={"bad": bad.lower()}).text
    assert f'name="spare" value="{spare}"' in page
    form = {"op": op(), "bad": bad, "spare": spare}
    first = program.crew.post("/swap", data=form)
    assert first.status_code == 303, first.text
    assert program.crew.post("/swap", data=form).headers["location"] == first.headers["location"]
    shown = program.crew.get(first.headers["location"]).text
    assert "Put a strip of tape round the bad one" in shown
    assert (lives(at, spare), lives(at, bad)) == (("Frame 1", "Hub 1"), ("", ""))
    assert (at.state(spare), at.state(bad)) == (ItemState.IN_SERVICE, ItemState.QUARANTINED)
    with program.store.reading() as db:
        steps = [(step.to_state, step.reason) for step in states(db, at.ids[bad])]
    assert steps[-2:] == [("spare", f"{spare} took its place."), ("quarantined", "Swapped out, not tested.")]


def test_a_later_pass_alone_ends_it_and_a_void_brings_it_back(program: Running) -> None:
    at, bad, spare = stage(program)
    send(program, bad, spare)
    early = at.test(bad, tested_at=program.clock.now - timedelta(minutes=30))
    assert early["state"] == "quarantined"  # tested before it was swapped out
    program.clock.ahead(minutes=1)
    assert at.test(bad, [], probed=[])["state"] == "quarantined"  # partial: it proves nothing
    program.clock.ahead(minutes=1)
    passed = at.test(bad)
    assert passed["state"] == "spare"  # its place is taken
    at.void(passed["id"])
    assert at.state(bad) == ItemState.QUARANTINED


def test_a_fail_makes_it_a_fault_that_only_a_repair_and_a_pass_end(program: Running) -> None:
    at, bad, spare = stage(program)
    send(program, bad, spare)
    program.clock.ahead(minutes=1)
    assert at.test(bad, OPEN_2)["state"] == "quarantined"
    program.clock.ahead(minutes=1)
    assert at.test(bad)["state"] == "quarantined"
    program.clock.ahead(minutes=1)
    at.repair(bad)
    assert at.state(bad) == ItemState.IN_REPAIR
    program.clock.ahead(minutes=1)
    assert at.test(bad)["state"] == "spare"


def test_a_lead_may_end_it_and_what_proves_nothing_does_not_undo_that(program: Running) -> None:
    at, bad, spare = stage(program)
    send(program, bad, spare)
    program.clock.ahead(minutes=1)
    data = {"op": op(), "state": "in_service", "reason": "It was the desk."}
    assert program.lead.post(f"/t/{bad}/state", data=data).status_code == 303
    program.clock.ahead(minutes=1)
    assert at.test(bad, [], probed=[])["state"] == "in_service"
    assert at.test(bad)["state"] == "in_service"


def test_lost_and_found_again_it_still_waits_for_its_test(program: Running) -> None:
    at, bad, spare = stage(program)
    send(program, bad, spare)
    with program.store.writing() as db:
        change_state(db, at.ids[bad], ItemState.LOST, "so", at.lead, program.clock.now, ZONE)
    data = {"op": op(), "on": "2026-09-21", "kind": "count", "place": ""}
    count = program.lead.post("/sessions", data=data).headers["location"]
    program.crew.post(f"{count}/seen", data={"op": op(), "item": str(at.ids[bad])})
    program.lead.post(f"{count}/found", data={"op": op(), "item": str(at.ids[bad])})
    assert at.state(bad) == ItemState.QUARANTINED
    program.clock.ahead(minutes=1)
    assert at.test(bad)["state"] == "spare"


def test_what_was_found_bad_before_stays_what_it_is(program: Running) -> None:
    at, bad, spare = stage(program)
    at.test(bad, OPEN_2)
    program.clock.ahead(minutes=1)
    status, answer = send(program, bad, spare)
    assert (status, answer["bad_state"], answer["place"]) == (201, "quarantined", "Frame 1")
    at.repair(bad)
    program.clock.ahead(minutes=1)
    assert at.test(bad)["state"] == "spare"


def test_it_arrives_late_from_a_phone_with_a_wrong_clock(program: Running) -> None:
    at, bad, spare = stage(program)
    phone = program.clock.now - timedelta(days=1000)
    body = {"id": op(), "bad": bad, "spare": spare, "at": phone.isoformat(), "sent_at": phone.isoformat()}
    program.clock.ahead(minutes=20)
    at.test(bad)  # passed before its swap came in
    body |= {"sent_at": (phone + timedelta(minutes=20)).isoformat()}
    answers = [program.crew.post(URL, json=body) for _ in "ab"]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].json() == answers[1].json()
    assert answers[0].json()["bad_state"] == "spare"  # so it is good, and its place is taken
    assert program.crew.post(URL, json=body | {"spare": bad}).status_code == 422
    future = (program.clock.now + timedelta(hours=1)).isoformat()
    assert "in the future" in send(program, spare, bad, at=future)[1]["detail"]


@pytest.mark.parametrize(
    ("prepare", "sentence"),
    [
        ("retired", "is retired. Take another spare."),
        ("lost", "is lost in the book: you found it"),
        ("quarantined", "must not be plugged in"),
        ("in_repair", "no test proves it yet"),
    ],
)
def test_a_spare_that_cannot_be_used_is_refused(program: Running, prepare: str, sentence: str) -> None:
    at, bad, spare = stage(program)
    with program.store.writing() as db:
        change_state(db, at.ids[spare], ItemState(prepare), "so", at.lead, program.clock.now, ZONE)
    status, answer = send(program, bad, spare, anyway=True)
    assert status == 409
    assert sentence in answer["detail"]
    assert sentence in program.crew.post("/swap", data={"op": op(), "bad": bad, "spare": spare}).text
    assert at.state(bad) == ItemState.IN_SERVICE


def test_what_cannot_be_swapped_is_told_in_a_sentence(program: Running) -> None:
    at, bad, spare = stage(program)
    assert "is the bad one itself" in send(program, bad, bad)[1]["detail"]
    place_id = lead_place(program)
    tag = tag_of_place(program, place_id)
    assert "tag of a place" in send(program, tag, spare)[1]["detail"]
    assert "tag of a place" in program.crew.get("/swap", params={"bad": tag}).text
    with program.store.writing() as db:
        change_state(db, at.ids[bad], ItemState.LOST, "so", at.lead, program.clock.now, ZONE)
    assert "holds no place" in send(program, bad, spare)[1]["detail"]
    assert program.viewer.get("/swap").status_code == 403
    assert "Scan or type one code" in program.crew.post("/swap", data={"op": op(), "bad": bad}).text


def lead_place(program: Running) -> UUID:
    data = {"op": op(), "name": "Rack", "kind": "frame"}
    assert program.lead.post("/places", data=data).status_code == 303
    return UUID(data["op"])


def tag_of_place(program: Running, place_id: UUID) -> str:
    with program.store.writing() as db:
        return tag_places(db, [place_id], program.clock.now)[0]


def test_what_does_not_fit_is_told_and_may_be_done_anyway(program: Running) -> None:
    at, bad, spare = stage(program, "xlr3", "trs")
    form = {"op": op(), "bad": bad, "spare": "", "typed": spare}
    warned = program.crew.post("/swap", data=form)
    assert warned.status_code == 422
    assert "is wired trs" in warned.text
    assert "Swap them anyway" in warned.text
    assert f'name="spare" value="{spare}"' not in program.crew.get("/swap", params={"bad": bad}).text
    assert program.crew.post("/swap", data=form | {"op": op(), "anyway": "yes"}).status_code == 303
    assert at.state(spare) == ItemState.IN_SERVICE


def test_what_is_in_use_or_suspect_is_told_too(program: Running) -> None:
    at, bad, spare = stage(program)
    with program.store.writing() as db:
        call_suspect(db, at.ids[spare], UUID(op()), "", at.lead, program.clock.now)
    assert "is suspect itself" in send(program, bad, spare)[1]["detail"]
    status, answer = send(program, bad, spare, anyway=True)
    assert (status, len(answer["against"])) == (201, 1)
    other = bench_cable(program)
    warned = send(program, other, spare)[1]["detail"]
    assert "it is in service at Frame 1, and would leave a gap there" in warned


def bench_cable(program: Running) -> str:
    body = {"id": op(), "kind": "cable", "wiring": "xlr3", "length": "10 ft"}
    return str(program.lead.post("/api/v1/items", json=body).json()[0]["code"])


whats = st.lists(st.sampled_from([What.PASS, What.FAIL, What.PARTIAL, What.REPAIR]), max_size=8)


@given(whats, st.integers(-1, 8))
def test_states_by_history(order: list[What], swapped_after: int) -> None:
    """Whatever happens around a swap: a fault goes first, then it is a pass since that counts."""
    history = [
        LogEntry(START + timedelta(minutes=2 * minute), what, UUID(int=minute)) for minute, what in enumerate(order)
    ]
    swapped_at = START + timedelta(minutes=2 * swapped_after + 1)
    stands = fault_of(history, swapped_at)
    plain = fault_of(history)
    if plain is not FaultStatus.NONE:
        assert stands is plain
    else:
        assert (stands is FaultStatus.NONE) == (What.PASS in order[swapped_after + 1 :])
    after = state_after(ItemState.SPARE, ItemState.SPARE, FaultStatus.NONE, stands)
    assert (after is ItemState.SPARE) == (stands is FaultStatus.NONE)


@given(st.sampled_from(ItemState), st.sampled_from(FaultStatus), st.sampled_from(FaultStatus))
def test_state_after_is_steady(current: ItemState, before: FaultStatus, after: FaultStatus) -> None:
    """Nothing new, nothing changed; and what was reached once does not move by being asked again."""
    home = ItemState.SPARE
    reached = state_after(current, home, before, after)
    assert state_after(reached, home, after, after) in (reached, ItemState.QUARANTINED, ItemState.IN_REPAIR)
    if current in (ItemState.RETIRED, ItemState.LOST):
        assert reached is current
    if before is after is FaultStatus.SWAPPED:
        assert reached is current
