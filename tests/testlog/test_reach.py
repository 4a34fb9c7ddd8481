"""What a test proves of each piece that it went through: its lanes and no more; what a fail leaves suspect."""

from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.diagnosis.diagnosis import diagnose
from service.kit.dates import local_date
from service.kit.problems import Invalid
from service.season.core import DueState, What, due_of_lanes
from service.season.models import ItemDue
from service.season.queries import seasons
from service.sessions import queries as session_queries
from service.testlog.core import FaultStatus, LogEntry, Verdict, days_by_lane, event_of, fault_of, has_passed
from service.testlog.housekeeping import verify
from service.testlog.reach import ONE_LINE, Reach, lane_names, of_piece, of_test, through_wiring
from service.testlog.rounds import open_round, progress
from service.wiring.builtin import BUILTIN
from service.wiring.wirings import read
from tests.support.examples import examples
from tests.support.program import Running, form_of_a_test, op
from tests.testlog.support import FALL, GOOD, ZONE, Bench, bench

EIGHT = BUILTIN["xlr3x8"]
LANES = lane_names(EIGHT)


def due_of(at: Bench, code: str) -> str:
    with at.program.store.reading() as db:
        return db.get_one(ItemDue, at.ids[code]).state


def wires(*lanes: int) -> list[list[str]]:
    return [[f"A{lane}.{contact}", f"B{lane}.{contact}"] for lane in lanes for contact in (1, 2, 3)]


def contacts(*lanes: int) -> list[str]:
    return [contact for pair in wires(*lanes) for contact in pair]


@examples(12)
@given(st.sets(st.integers(1, 8), min_size=1), st.data())
def test_a_lane_is_proven_if_all_of_it_was_reached_and_nothing_is_wrong_with_it(
    reached: set[int], data: st.DataObject
) -> None:
    bad = data.draw(st.sets(st.sampled_from(sorted(reached))))
    joined = [pair for lane in sorted(reached) for pair in wires(lane)[1 if lane in bad else 0 :]]
    said = diagnose(EIGHT, read(EIGHT, joined, contacts(*sorted(reached))))
    found = of_test(EIGHT, said.verdict, said.unproven, [(each.conductors, each.lanes or ()) for each in said.faults])
    assert found == Reach(frozenset(map(str, reached - bad)), frozenset(map(str, bad)))
    hub = of_piece(EIGHT, found, BUILTIN["d25-to-xlr8"], None)
    assert hub == found


def test_a_single_line_proves_one_lane_or_where_nobody_said_which_none() -> None:
    line, hub = BUILTIN["xlr3"], BUILTIN["8p8c-to-xlr4"]
    passed, failed = (of_test(line, verdict, (), ()) for verdict in ("pass", "fail"))
    assert of_piece(line, passed, hub, "3") == Reach(frozenset("3"), frozenset())
    assert of_piece(line, failed, hub, "3") == Reach(frozenset(), frozenset("3"))
    assert of_piece(line, passed, hub, None) == Reach(frozenset(), frozenset())
    assert of_piece(line, failed, hub, None) == Reach(frozenset(), frozenset("1234"))
    assert of_piece(line, passed, BUILTIN["trs"], None).proves == frozenset(ONE_LINE)


def test_pairs_without_lanes_count_as_lanes_and_a_screen_belongs_to_none() -> None:
    trunk = BUILTIN["8p8c-screened"]
    assert lane_names(trunk) == ("1", "2", "3", "4")
    open_screen = of_test(trunk, "fail", (), [(("s",), ())])
    assert open_screen == Reach(frozenset(), frozenset("1234"))


def test_the_wiring_of_a_chain_is_that_of_the_single_line_in_it() -> None:
    def key(*keys: str) -> str:
        return through_wiring([(each, BUILTIN[each]) for each in keys])

    assert key("d25-to-xlr8", "d25x8", "d25-to-xlr8") == "xlr3x8"
    assert key("8p8c-to-xlr4", "8p8c") == "xlr3x4"
    assert key("d25-to-xlr8", "d25x8", "d25-to-xlr8", "xlr3") == "xlr3"
    assert key("d25x8") == "d25x8"


def chain(program: Running) -> Bench:
    """A cable, the hub that it goes into, the multicore, and the hub at its other end."""
    return bench(program, "xlr3", "d25-to-xlr8", "d25x8", "d25-to-xlr8")


def test_one_lane_does_not_prove_eight(program: Running) -> None:
    at = chain(program)
    cable, hub, trunk, fan = at.codes
    body = {"id": op(), "item": cable, "through": [hub, trunk, fan], "joined": GOOD}
    assert program.crew.post("/api/v1/tests", json=body).status_code == 201
    assert [due_of(at, code) for code in at.codes] == ["current", "untested", "untested", "untested"]
    for lane in range(1, 9):
        assert due_of(at, trunk) == DueState.UNTESTED
        assert passed_in_round(program) == 1
        program.clock.ahead(days=1)
        answer = program.crew.post("/api/v1/tests", json=body | {"id": op(), "lane": str(lane)})
        assert answer.status_code == 201, answer.text
        page = program.viewer.get(f"/t/{trunk}").text
        assert f"{lane} of 8 lanes proven" in page
        assert f"Pass, lane {lane}" in " ".join(page.replace("<b>", "").replace("</b>", "").split())
        assert f"{lane} of 8 lanes proven" in program.viewer.get(f"/gear/{trunk}").text
    assert [due_of(at, code) for code in at.codes] == ["current"] * 4
    assert passed_in_round(program) == 4
    (newest, *_) = program.viewer.get("/api/v1/tests").json()["items"]
    assert newest["lane"] == "8"
    assert verify(program.store, program.clock.now) == []
    # Each lane has to pass again in the next round, whatever the others do.
    program.clock.now = datetime(2026, 10, 17, 12, tzinfo=UTC)
    program.crew.post("/api/v1/tests", json=body | {"id": op(), "lane": "1"})
    assert due_of(at, trunk) == DueState.DUE
    assert "1 of 8 lanes proven" in program.viewer.get(f"/t/{trunk}").text


def passed_in_round(program: Running) -> int:
    with program.store.reading() as db:
        (season,) = seasons(db)
        rounds, today = progress(db, season.id, ZONE), local_date(program.clock.now, ZONE)
        assert open_round(db, season.id, today, ZONE) == next((each for each in rounds if each.is_open(today)), None)
        return rounds[0].passed


def test_four_lanes_do_not_prove_eight(program: Running) -> None:
    at = bench(program, "d25x8")
    (trunk,) = at.codes
    at.test(trunk, wires(1, 2, 3, 4), wiring="xlr3x4")
    assert (due_of(at, trunk), passed_in_round(program)) == (DueState.UNTESTED, 0)


def evening(program: Running) -> UUID:
    """A session of tests, opened today."""
    data = {"op": op(), "on": "2026-09-21", "kind": "test", "why": "untested", "place": ""}
    return UUID(program.lead.post("/sessions", data=data).headers["location"].removeprefix("/sessions/"))


def verdicts(at: Bench, session: UUID) -> list[Verdict]:
    with at.program.store.reading() as db:
        done = session_queries.tested(db, session)
    return [done[item_id].verdict for item_id in at.ids.values()]


def test_what_a_fail_alone_leaves_of_a_piece_passes_again_after_the_repair(program: Running) -> None:
    at = bench(program, "8p8c-to-xlr4")
    (hub,) = at.codes
    session = evening(program)
    at.test(hub, wires(1, 2, 3, 4)[1:], wiring="xlr3x4", session=session)
    program.clock.ahead(minutes=1)
    at.repair(hub)
    program.clock.ahead(minutes=1)
    at.test(hub, GOOD, wiring="xlr3", lane="1", session=session)
    assert (at.state(hub), passed_in_round(program)) == ("in_repair", 0)
    assert verdicts(at, session) == [Verdict.PARTIAL]


def test_a_session_takes_no_piece_for_good_that_failed_on_a_lane_since(program: Running) -> None:
    at = bench(program, "8p8c-to-xlr4", "8p8c")
    hub, trunk = at.codes
    session = evening(program)
    at.test(hub, wires(1, 2, 3, 4), through=(trunk,), session=session)
    assert verdicts(at, session) == [Verdict.PASS] * 2
    for lane, joined, then in (("3", GOOD[1:], Verdict.FAIL), ("4", GOOD, Verdict.PARTIAL), ("3", GOOD, Verdict.PASS)):
        program.clock.ahead(minutes=1)
        at.test(hub, joined, through=(trunk,), wiring="xlr3", lane=lane, session=session)
        assert verdicts(at, session) == [then] * 2


def test_a_session_does_not_take_one_lane_for_the_whole_piece(program: Running) -> None:
    at = chain(program)
    cable, *others = at.codes
    session = evening(program)
    for lane in range(1, 9):
        at.test(cable, through=tuple(others), lane=str(lane), session=session)
        with program.store.reading() as db:
            done = session_queries.tested(db, session)
        verdict = Verdict.PASS if lane == 8 else Verdict.PARTIAL
        assert [done[at.ids[code]].verdict for code in at.codes] == [Verdict.PASS, verdict, verdict, verdict]


def test_which_lane_is_asked_on_the_form(program: Running) -> None:
    at = chain(program)
    cable, hub, trunk, fan = at.codes
    others = f"{hub} {trunk} {fan}"
    address = f"/t/{cable}/test"
    page = program.crew.get(address, params={"through": others}).text
    assert "Which lane did it go through?" in page
    data = form_of_a_test() | {"through": others, "verdict": "pass"}
    asked = program.crew.post(address, data=data)
    assert asked.status_code == 422
    assert "Say which lane it went through" in asked.text
    assert program.crew.post(address, data=data | {"through_lane": "5"}).status_code == 303
    assert "1 of 8 lanes proven" in program.viewer.get(f"/t/{trunk}").text
    alone = program.crew.get(address).text
    assert "Which lane" not in alone
    assert "One lane at a time" in program.crew.get(f"/t/{cable}/lanes", params={"through": others}).text


@pytest.mark.parametrize(
    ("more", "field", "says"),
    [
        ({"lane": "9"}, "lane", "one of 1, 2, 3, 4, 5, 6, 7 and 8"),
        ({"through": (), "lane": "1"}, "lane", "Leave it out"),
        ({"wiring": "xlr3x8", "joined": wires(1)}, "wiring", "single line"),
    ],
)
def test_a_lane_that_is_none_is_refused(program: Running, more: dict[str, Any], field: str, says: str) -> None:
    at = chain(program)
    cable, *others = at.codes
    with pytest.raises(Invalid) as refused:
        at.test(cable, **({"joined": GOOD, "through": tuple(others)} | more))
    assert says in refused.value.errors[field]


def test_a_fail_makes_suspect_what_lies_on_its_lane(program: Running) -> None:
    at = bench(program, "d25-to-xlr8", "d25x8", "d25-to-xlr8")
    hub, trunk, fan = at.codes
    through = (trunk, fan)
    at.test(hub, wires(*range(1, 9)), through=through)
    program.clock.ahead(minutes=1)
    failed = at.test(hub, wires(*range(1, 9))[:6] + wires(*range(3, 9))[1:], through=through)  # 1 of lane 3 is open
    assert [due_of(at, code) for code in at.codes] == [DueState.BLOCKED] * 3
    listed = program.viewer.get("/api/v1/due").json()
    assert listed["counts"]["blocked"] == 3
    page = program.viewer.get(f"/t/{trunk}").text
    assert "7 of 8 lanes proven" in page
    assert "failed on lane 3, and one of them is bad. Test it alone" in page
    program.clock.ahead(minutes=1)
    at.test(fan, [], probed=[], evidence=())  # nothing was tested: nothing follows
    program.clock.ahead(minutes=1)
    at.test(trunk, wires(3), wiring="xlr3x8", probed=contacts(3))  # alone, on that lane: it is not the one
    assert [due_of(at, code) for code in at.codes] == [DueState.BLOCKED, DueState.CURRENT, DueState.BLOCKED]
    assert [at.flags(code) for code in at.codes] == [[failed["id"]], [], [failed["id"]]]
    program.clock.ahead(minutes=1)
    at.test(fan, wires(*range(1, 9))[:-1], wiring="xlr3x8")  # it has a fault, but on lane 8
    assert due_of(at, hub) == DueState.BLOCKED
    assert verify(program.store, program.clock.now) == []
    at.void(failed["id"])
    assert [due_of(at, code) for code in at.codes] == [DueState.CURRENT, DueState.CURRENT, DueState.BLOCKED]
    assert verify(program.store, program.clock.now) == []


def test_the_bad_piece_is_known_by_each_of_its_open_faults(program: Running) -> None:
    at = bench(program, "8p8c-to-xlr4", "8p8c")
    hub, trunk = at.codes
    for joined in (wires(1, 2, 3, 4)[1:], wires(1, 2, 3, 4)[:-1]):
        at.test(hub, joined, wiring="xlr3x4")
        program.clock.ahead(minutes=1)
    at.test(hub, wires(1, 2, 3, 4)[1:], through=(trunk,))
    assert at.flags(trunk) == []


def test_after_a_repair_every_lane_passes_again(program: Running) -> None:
    at = bench(program, "8p8c-to-xlr4")
    (hub,) = at.codes
    at.test(hub, [])
    program.clock.ahead(minutes=1)
    at.repair(hub)
    for lane in "1234":
        assert at.state(hub) == "in_repair"
        program.clock.ahead(minutes=1)
        at.test(hub, GOOD, wiring="xlr3", lane=lane)
    assert at.state(hub) == "in_service"
    assert due_of(at, hub) == DueState.CURRENT


# A history of a piece with three lanes: hours, what happened, and the lanes that a test proved.
steps = st.lists(
    st.tuples(st.integers(0, 1000), st.sampled_from(["test", "fail", "repair"]), st.sets(st.sampled_from("abc")))
)


@given(steps)
def test_the_worst_lane_speaks_for_the_piece(happened: list[tuple[int, str, set[str]]]) -> None:
    start = datetime(2026, 9, 1, 12, tzinfo=UTC)
    history, alone = [], {lane: list[LogEntry]() for lane in "abc"}
    for hour, what, proves in sorted(happened, key=lambda each: each[0]):
        at, entry = start + timedelta(hours=hour), uuid4()
        history.append(as_event(at, what, entry, tuple("abc"), proves))
        for lane in "abc":
            alone[lane].append(as_event(at, what, entry, ONE_LINE, {""} if lane in proves else set()))
    on = date(2026, 10, 10)
    states = {
        lane: due_of_lanes([FALL], FALL.starts, days_by_lane(events, (), ZONE), on) for lane, events in alone.items()
    }
    worst = min(states.values(), key=lambda due: list(DueState).index(due.state))
    assert due_of_lanes([FALL], FALL.starts, days_by_lane(history, (), ZONE), on).state == worst.state
    faults = {fault_of(events) for events in alone.values()}
    assert fault_of(history) == next(
        each for each in (FaultStatus.OPEN, FaultStatus.REPAIRED, FaultStatus.NONE) if each in faults
    )
    assert has_passed(start, history) == all(has_passed(start, events) for events in alone.values())


def as_event(at: datetime, what: str, entry: UUID, lanes: tuple[str, ...], proves: set[str]) -> LogEntry:
    if what == "repair":
        return LogEntry(at, What.REPAIR, entry)
    reach = Reach(frozenset(proves) if what == "test" else frozenset(), frozenset(lanes if what == "fail" else ()))
    verdict = Verdict.FAIL if what == "fail" else Verdict.PARTIAL
    return event_of(at, verdict, entry, lanes, reach, alone=True, flexed=False)
