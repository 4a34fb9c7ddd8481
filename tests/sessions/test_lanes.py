"""A multicore lane by lane: one tap a lane, one test of hub, multicore and fan-out."""

import re
from itertools import product

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from service.diagnosis.diagnosis import diagnose
from service.kit.problems import Invalid
from service.season.core import DueState
from service.season.models import ItemDue
from service.sessions.lanes.core import CONTACTS, TOUCHES, Lane, LaneReading, is_lane_by_lane, readings
from service.testlog.core import Verdict
from service.wiring.builtin import BUILTIN
from service.wiring.faults import FaultClass
from service.wiring.wirings import read
from tests.support.examples import examples
from tests.support.program import Running, form_of_a_test, op
from tests.testlog.support import Bench, bench

EIGHT = BUILTIN["xlr3x8"]
ALL_GOOD = {f"lane-{lane}": "pass" for lane in range(1, 9)}


def found_on(*lanes: Lane) -> tuple[Verdict, list[tuple[str, tuple[str, ...]]]]:
    """What diagnosis says of these lanes, with all others good."""
    told = {lane.name: lane for lane in lanes}
    every = [told.get(name, Lane(name, LaneReading.GOOD)) for name in EIGHT.lanes]
    said = diagnose(EIGHT, read(EIGHT, *readings(EIGHT, every)))
    return Verdict(said.verdict), [(fault.fault_class, fault.conductors) for fault in said.faults]


def test_each_way_to_be_bad_is_diagnosed_as_that() -> None:
    assert found_on() == (Verdict.PASS, [])
    for contact in CONTACTS:
        bad = Lane("5", LaneReading.BAD, frozenset([contact]))
        assert found_on(bad) == (Verdict.FAIL, [(FaultClass.OPEN, (f"5.{contact}",))])
    for one, other in TOUCHES:
        bad = Lane("5", LaneReading.BAD, touching=((one, other),))
        assert found_on(bad) == (Verdict.FAIL, [(FaultClass.SHORT, (f"5.{one}", f"5.{other}"))])
    assert found_on(Lane("5", LaneReading.BAD, reversed=True)) == (
        Verdict.FAIL,
        [(FaultClass.REVERSED_PAIR, ("5.2", "5.3"))],
    )
    dead = [(FaultClass.OPEN, (f"5.{contact}",)) for contact in CONTACTS]
    assert found_on(Lane("5", LaneReading.BAD)) == (Verdict.FAIL, dead)


shown = st.lists(st.sampled_from(LaneReading), min_size=8, max_size=8)


@examples(12)
@given(shown)
@example([LaneReading.LEFT_OUT] * 8)
@example([LaneReading.GOOD] * 8)
@example([*[LaneReading.GOOD] * 5, *[LaneReading.LEFT_OUT] * 3])
@example([*[LaneReading.BAD] * 2, *[LaneReading.GOOD] * 4, *[LaneReading.LEFT_OUT] * 2])
def test_the_verdict_follows_the_taps(taps: list[LaneReading]) -> None:
    lanes = [Lane(name, tap) for name, tap in zip(EIGHT.lanes, taps, strict=True)]
    if set(taps) == {LaneReading.LEFT_OUT}:
        with pytest.raises(Invalid, match="at least one lane"):
            readings(EIGHT, lanes)
        return
    joined, probed = readings(EIGHT, lanes)
    said = diagnose(EIGHT, read(EIGHT, joined, probed))
    if LaneReading.BAD in taps:
        assert said.verdict == Verdict.FAIL
    else:
        assert said.verdict == (Verdict.PARTIAL if LaneReading.LEFT_OUT in taps else Verdict.PASS)
    untested = {lane.name for lane in lanes if lane.shown is LaneReading.LEFT_OUT}
    assert {name.split(".")[0] for name in said.unproven} == untested
    assert len(probed) == 6 * (8 - len(untested))


def test_what_is_ticked_on_a_good_lane_is_not_swallowed() -> None:
    for tap, more in product((LaneReading.GOOD, LaneReading.LEFT_OUT), ({"reversed": True}, {"open": frozenset("1")})):
        with pytest.raises(Invalid, match="lane 2"):
            readings(EIGHT, [Lane("1", LaneReading.GOOD), Lane("2", tap, **more)])  # type: ignore[arg-type]


def test_which_wirings_go_lane_by_lane() -> None:
    assert [key for key, wiring in BUILTIN.items() if is_lane_by_lane(wiring)] == ["xlr3x8", "xlr3x4"]


def chain(program: Running) -> tuple[Bench, str, str, str]:
    at = bench(program, "d25-to-xlr8", "d25x8", "d25-to-xlr8")
    hub, trunk, fan = at.codes
    return at, hub, trunk, fan


def due(at: Bench) -> list[str]:
    with at.program.store.reading() as db:
        return [db.get_one(ItemDue, item_id).state for item_id in at.ids.values()]


def test_eight_taps_prove_all_three(program: Running) -> None:
    at, hub, trunk, fan = chain(program)
    address = f"/t/{hub}/lanes"
    asked = program.crew.get(address).text
    assert "What is it tested through?" in asked
    page = program.crew.get(address, params={"through": f"{trunk} {fan}"}).text
    assert [int(lane) for lane in re.findall(r'name="lane-(\d)" value="pass"', page)] == list(range(1, 9))
    data = form_of_a_test() | {"through": f"{trunk} {fan}"} | ALL_GOOD
    answer = program.crew.post(address, data=data)
    assert program.crew.post(address, data=data).headers["location"] == answer.headers["location"]
    assert "Every connection found" in program.viewer.get(answer.headers["location"]).text
    assert due(at) == [DueState.CURRENT] * 3
    (test,) = program.viewer.get("/api/v1/tests").json()["items"]
    assert (test["wiring"], test["items"], test["verdict"]) == ("xlr3x8", [hub, trunk, fan], "pass")


def test_seven_lanes_and_a_bad_one(program: Running) -> None:
    at, hub, trunk, fan = chain(program)
    data = form_of_a_test() | {"through": f"{trunk} {fan}"} | ALL_GOOD
    partial = program.crew.post(f"/t/{hub}/lanes", data=data | {"lane-8": "skip"})
    assert "Good as far as it was tested" in program.viewer.get(partial.headers["location"]).text
    program.clock.ahead(minutes=1)
    bad = data | {"op": op(), "lane-3": "fail", "open-3": ["2"], "note": "hub socket is loose"}
    failed = program.crew.post(f"/t/{hub}/lanes", data=bad)
    page = program.viewer.get(failed.headers["location"]).text
    assert "One of these pieces is bad" in page
    assert "hub socket is loose" in page
    (test, _) = program.viewer.get("/api/v1/tests").json()["items"]
    assert test["faults"] == [{"class": "open", "conductors": ["3.2"], "end": None}]
    assert all(len(at.flags(code)) == 1 for code in at.codes)


def test_from_a_session(program: Running) -> None:
    _, hub, trunk, fan = chain(program)
    data = {"op": op(), "on": "2026-09-21", "kind": "test", "why": "untested", "place": ""}
    session = program.lead.post("/sessions", data=data).headers["location"]
    assert f"{session}/line" in program.crew.get(session).text
    assert "Name the pieces once" in program.crew.get(f"{session}/line").text
    wrong = program.crew.get(f"{session}/line", params={"codes": "QQQQQQ"})
    assert wrong.status_code == 422
    on = program.crew.get(f"{session}/line", params={"codes": f"{hub}\n{trunk}\n{fan}"}).headers["location"]
    assert on == f"/t/{hub}/lanes?session={session.rsplit('/', 1)[1]}&through={trunk}+{fan}"
    page = program.crew.get(on).text
    hidden = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page.split('id="lanes"')[1]))
    asked = program.crew.post(f"/t/{hub}/lanes", data=hidden | ALL_GOOD)
    assert "Was it tested?" in asked.text  # in the same second
    assert 'name="lane-8" value="pass"' in asked.text
    program.clock.ahead(seconds=2)
    assert program.crew.post(f"/t/{hub}/lanes", data=hidden | ALL_GOOD).status_code == 303
    assert "3 of 3 tested" in program.viewer.get(session).text


def test_what_is_refused_is_shown_again_as_it_was(program: Running) -> None:
    _, hub, trunk, fan = chain(program)
    data = form_of_a_test() | {
        "through": f"{trunk} {fan}",
        "lane-2": "pass",
        "reversed-2": "yes",
        "note": "so far",
    }
    answer = program.crew.post(f"/t/{hub}/lanes", data=data)
    assert answer.status_code == 422
    assert "ticked as found on lane 2" in answer.text
    assert 'name="lane-2" value="pass" checked' in answer.text
    assert 'name="reversed-2" value="yes" checked' in answer.text
    nothing = program.crew.post(f"/t/{hub}/lanes", data=form_of_a_test() | {"through": f"{trunk} {fan}"})
    assert "at least one lane" in nothing.text
    alone = program.crew.post(f"/t/{hub}/lanes", data=form_of_a_test() | ALL_GOOD)
    assert "Name the hub and the fan-out" in alone.text
    assert program.crew.get(f"/t/{hub}/lanes", params={"through": "QQQQQQ"}).status_code == 422
    assert program.viewer.get(f"/t/{hub}/lanes").status_code == 403


def ticked(page: str) -> set[str]:
    return set(re.findall(r'name="(lane-\d)" value="pass" checked', page))


def test_what_the_log_refuses_keeps_the_lanes(program: Running) -> None:
    _, _, trunk, fan = chain(program)
    data = form_of_a_test() | {"through": f"{trunk} {fan}", "note": "so far"} | ALL_GOOD
    answer = program.crew.post(f"/t/{fan}/lanes", data=data)
    assert answer.status_code == 422
    assert f"{fan} is named twice" in answer.text
    assert 'id="f-pieces-error"' in answer.text
    assert ticked(answer.text) == set(ALL_GOOD)
    assert "so far" in answer.text
    assert f'name="op" value="{data["op"]}"' in answer.text


def test_lanes_without_an_id_get_a_new_one_and_stay(program: Running) -> None:
    _, hub, trunk, fan = chain(program)
    data = form_of_a_test() | {"op": "", "through": f"{trunk} {fan}"} | ALL_GOOD
    answer = program.crew.post(f"/t/{hub}/lanes", data=data)
    assert answer.status_code == 422
    assert "out of date" in answer.text
    assert ticked(answer.text) == set(ALL_GOOD)
    [new] = re.findall(r'name="op" value="([^"]+)"', answer.text.split('id="lanes"')[1])
    again = program.crew.post(f"/t/{hub}/lanes", data=data | {"op": new})
    assert again.headers["location"] == f"/tests/{new}"
