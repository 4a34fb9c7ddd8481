"""Phantom volts: what they may mean is all named, and no more is logged than they prove."""

import re
from typing import Any

import pytest

from service.diagnosis.diagnosis import diagnose
from service.kit.problems import Invalid
from service.testers.volts import carries_phantom, diagnosed, possible
from service.wiring.builtin import BUILTIN
from service.wiring.phantom import PhantomDiagnosis, State
from tests.support.program import Running, op
from tests.testlog.support import Bench, bench

XLR3 = BUILTIN["xlr3"]
SOUND = {"v21": "47.9", "v31": "48.0 V", "l21": "24", "l31": "32.0"}


def page(at: Bench, **typed: str) -> Any:
    [code] = at.codes
    return at.program.crew.post(f"/t/{code}/phantom", data={"op": op(), "do": "read"} | typed)


def log(at: Bench, **typed: str) -> Any:
    """Have the volts read, then send what the page says was seen, to be logged."""
    seen = re.search('name="seen" value="(.*?)"', page(at, **typed).text)
    return page(at, do="log", seen=seen[1] if seen else "", **typed)


def logged(at: Bench, **typed: str) -> dict[str, Any]:
    answer = log(at, **typed)
    assert answer.status_code == 303, answer.text
    return dict(at.program.viewer.get("/api/v1/tests").json()["items"][0])


def test_all_that_reads_alike_is_named_before_anything_is_logged(program: Running) -> None:
    at = bench(program, "xlr3")
    shown = page(at, v21="47.9", v31="48.0").text
    for words in ("A cable without a fault", "are swapped", "Conductor 2 (hot) and conductor 3 (cold) touch"):
        assert words in shown
    assert "cautio" in shown
    assert program.viewer.get("/api/v1/tests").json()["items"] == []


def test_the_best_volts_are_partial_and_never_a_pass(program: Running) -> None:
    test = logged(bench(program, "xlr3"), **SOUND)
    assert (test["method"], test["verdict"], test["faults"]) == ("phantom", "partial", [])
    assert test["unproven"] == ["2", "3"]
    assert "2 to 1, no load: 47.9 V" in test["note"]
    assert "are swapped" in test["note"]


def test_one_cable_only_is_that_fault(program: Running) -> None:
    at = bench(program, "xlr3-bonded")
    test = logged(at, l21="27.4", l31="27.4")
    assert [(fault["class"], fault["conductors"]) for fault in test["faults"]] == [("short", ["2", "3"])]
    assert test["unproven"] == ["As", "Bs"]  # volts say nothing of shells
    assert at.state(at.codes[0]) == "quarantined"


def test_faults_that_read_alike_fail_and_are_all_named(program: Running) -> None:
    test = logged(bench(program, "xlr3"), v21="0", v31="48")
    assert (test["verdict"], [fault["class"] for fault in test["faults"]]) == ("fail", ["damage"])
    assert "Conductor 2 (hot) is open" in test["note"]
    assert "Conductor 1 (shield) and conductor 2 (hot) touch" in test["note"]


def test_whoever_looked_inside_says_which(program: Running) -> None:
    at = bench(program, "xlr3")
    shown = page(at, v21="0", v31="48").text
    found = re.findall(r'name="which" value="(\d+)".*?<span>(.*?)</span>', shown, re.DOTALL)
    [open_2] = [value for value, words in found if words == "Conductor 2 (hot) is open"]
    test = logged(at, v21="0", v31="48", which=open_2)
    assert [(fault["class"], fault["conductors"]) for fault in test["faults"]] == [("open", ["2"])]


def test_no_volts_at_all_asks_whether_phantom_is_on(program: Running) -> None:
    at = bench(program, "xlr3")
    assert "Phantom is on: a good cable" in page(at, v21="0", v31="0").text
    refused = log(at, v21="0", v31="0")
    assert refused.status_code == 422
    assert "Check it with a good cable first" in refused.text
    assert logged(at, v21="0", v31="0", power="yes")["verdict"] == "fail"


def test_a_leak_or_a_joint_is_named_asks_for_a_second_reading_and_is_logged(program: Running) -> None:
    at = bench(program, "xlr3")
    shown = page(at, l21="13.85", l31="32").text
    assert "A leak or a joint of high resistance" in shown
    assert "A leak between conductor 1 (shield) and conductor 2 (hot), 3.9 to 5.5 kilohm" in shown
    assert "A joint of high resistance in conductor 2 (hot), 8.6 to 12 kilohm" in shown
    assert "Read it without the load too" in shown
    told = page(at, l21="13.85", l31="32", v21="47.9", v31="48").text
    assert "Read it" not in told
    assert "A leak between" not in told
    test = logged(at, l21="13.85", l31="32", v21="47.9", v31="48")
    assert (test["method"], test["verdict"]) == ("phantom", "fail")
    [fault] = test["faults"]
    assert (fault["class"], fault["end"]) == ("high_resistance", None)
    assert fault["note"].startswith("a joint of high resistance in conductor 2 (hot), 8.6 to 12 kilohm")
    assert at.state(at.codes[0]) == "quarantined"
    assert "High resistance (a joint of high resistance in conductor 2" in program.crew.get(f"/tests/{test['id']}").text


LEAK = "a leak between conductor 1 (shield) and conductor 2 (hot), 4.5 to 5.5 kilohm"


@pytest.mark.parametrize(("which", "note"), [("", f"one of: {LEAK}; or a joint of "), ("0", LEAK)])
def test_what_may_be_either_is_logged_as_either_or_as_the_one_that_was_found(
    program: Running, which: str, note: str
) -> None:
    at = bench(program, "xlr3")
    assert log(at, v21="20.3", v31="48", which="7").status_code == 422
    [fault] = logged(at, v21="20.3", v31="48", which=which)["faults"]
    assert fault["note"].startswith(note)
    assert ("or a joint" in fault["note"]) is (which == "")


def test_volts_low_everywhere_ask_for_the_supply_first(program: Running) -> None:
    at = bench(program, "xlr3")
    assert "a good cable on this channel reads 44 to 52 V" in page(at, v21="30", v31="30").text
    assert log(at, v21="30", v31="30").status_code == 422
    [fault] = logged(at, v21="30", v31="30", power="yes")["faults"]
    assert fault["class"] == "high_resistance"


def test_the_meters_impedance_is_entered_and_kept(program: Running) -> None:
    at = bench(program, "xlr3")
    assert 'value="10 Mohm"' in program.crew.get(f"/t/{at.codes[0]}/phantom").text
    test = logged(at, v21="35.8", v31="35.8", meter="20 kohm")
    assert (test["verdict"], test["faults"]) == ("partial", [])
    assert "by a meter of 20 kohm" in test["note"]
    wrong = page(at, v21="48", v31="48", meter="10")
    assert wrong.status_code == 422
    assert "needs its unit: write 10 Mohm" in wrong.text


def test_volts_that_changed_since_they_were_seen_are_shown_again(program: Running) -> None:
    at = bench(program, "xlr3")
    seen = re.search('name="seen" value="(.*?)"', page(at, v21="0", v31="48").text)
    assert seen
    answer = page(at, do="log", seen=seen[1], **SOUND)
    assert answer.status_code == 200
    assert "A cable without a fault" in answer.text
    assert program.viewer.get("/api/v1/tests").json()["items"] == []


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ({}, "v21", "Read the volts"),
        ({"v21": "48"}, "v31", "Read 3 to 1, no load too"),
        ({"v23": "0"}, "v21", "Read 2 to 1, no load too"),
        ({"l31": "32"}, "l21", "Read 2 to 1, with the load too"),
        ({"v21": "lots", "v31": "48"}, "v21", "no measured value"),
        ({"v21": "48", "v31": "48 ohm"}, "v31", "unit that is not known"),
        ({"v21": "12", "v31": "7"}, "v21", "No cable with one or two faults gives these volts"),
        ({"l21": "-5", "l31": "61"}, "l21", "No cable with one or two faults gives these volts"),
    ],
)
def test_what_cannot_be_is_said_beside_its_field(
    program: Running, typed: dict[str, str], field: str, says: str
) -> None:
    answer = page(bench(program, "xlr3"), **typed)
    assert answer.status_code == 422
    [sentence] = re.findall(f'id="f-{field}-error">.*?<span>(.*?)</span>', answer.text, re.DOTALL)
    assert says in sentence


@pytest.mark.parametrize(("which", "note", "says"), [("9", "", "Choose one"), ("", "x" * 501, "500 are the most")])
def test_what_cannot_be_logged_is_told(program: Running, which: str, note: str, says: str) -> None:
    answer = log(bench(program, "xlr3"), which=which, note=note, **SOUND)
    assert answer.status_code == 422
    assert says in answer.text


def test_volts_without_an_id_get_a_new_one_and_stay(program: Running) -> None:
    at = bench(program, "xlr3")
    seen = re.search('name="seen" value="(.*?)"', page(at, **SOUND).text)
    assert seen
    typed = SOUND | {"seen": seen[1], "note": "cold", "which": ""}
    answer = page(at, op="", do="log", **typed)
    assert answer.status_code == 422
    assert "out of date" in answer.text
    assert 'name="v31" type="text" value="48.0 V"' in answer.text
    assert 'value="cold"' in answer.text
    [new] = re.findall(r'name="op" value="([^"]+)"', answer.text.split('id="volts"')[1])
    assert page(at, op=new, do="log", **typed).headers["location"] == f"/tests/{new}"


def test_a_multicore_is_sent_to_the_two_ended_test(program: Running) -> None:
    at = bench(program, "d25-to-xlr8")
    assert "Not for this wiring" in program.crew.get(f"/t/{at.codes[0]}/phantom").text
    assert "Not for this wiring" in page(at, do="log", **SOUND).text
    assert program.viewer.get(f"/t/{at.codes[0]}/phantom").status_code == 403


def test_only_a_single_line_straight_through_carries_it() -> None:
    assert [key for key, wiring in BUILTIN.items() if carries_phantom(wiring)] == ["xlr3", "xlr3-bonded"]


def test_what_is_told_from_the_fed_end_is_turned_round() -> None:
    # Fed at end B: B1 to A2, B2 to A3, B3 to A1 is seen from there as 1 to 2, 2 to 3, 3 to 1.
    [readings] = possible(XLR3, PhantomDiagnosis((State(lands=(2, 3, 1)).faults(),), no_power=False))
    [fault] = diagnose(XLR3, readings).faults
    assert fault.destinations == (("1", "B3"), ("2", "B1"), ("3", "B2"))


def test_values_are_told_all_at_once() -> None:
    with pytest.raises(Invalid) as refusal:
        diagnosed({"v21": "x", "l21": "24"})
    assert set(refusal.value.errors) == {"v21", "l31"}
