"""Where along the cable, and whether a loop is too high: entered, answered in place, logged only when it is a fault."""

import re
from typing import Any

import pytest

from service.gear.models import Item
from service.testers.meter import START, loop_judged, open_place, short_place
from tests.support.program import Running, op
from tests.testlog.support import Bench, bench

OPEN = {
    "about": "open",
    "open_a": "230 pF",
    "open_b": "0.83 nF",
    "stray_a": "30 pF",
    "stray_b": "30 pF",
    "open_off": "1",
    "open_fixed": "1 pF",
}
SHORT = {
    "about": "short",
    "touching": "cores",
    "short_a": "0.2",
    "short_b": "0.5",
    "short_gauge": "24",
    "short_warmth": "20 C",
}
LOOP = {"about": "loop", "loop": "0.62", "loop_gauge": "24", "loop_warmth": "68 F", "ways": "2"}


def asked(at: Bench, **typed: str) -> Any:
    [code] = at.codes
    return at.program.crew.post(f"/t/{code}/where", data={"op": op(), "do": "find"} | typed)


def wrong(html: str, field: str) -> str:
    [sentence] = re.findall(f'id="f-{field}-error">.*?<span>(.*?)</span>', html, re.DOTALL)
    return str(sentence)


def test_a_break_is_placed_in_the_programs_units_with_its_band(program: Running) -> None:
    at = bench(program, "xlr3")
    page = asked(at, **OPEN)
    assert page.status_code == 200
    # 200 of 1000 pF at end A: a fifth of 10 ft (ratio of the pieces, Murray).
    assert "About 2 ft from end A" in page.text
    assert "<svg viewBox" in page.text
    kept = program.lead.post("/settings", data={"name": "F", "zone": "UTC", "unit": "meters", "return_note": ""})
    assert kept.status_code == 303
    assert "About 0.6 m from end A" in asked(at, **OPEN).text


def test_ten_meters_as_the_handbook_has_it() -> None:
    # Murray's ratio by hand: 200 / (200 + 800) of 10 m is 2 m.
    assert open_place(10_000, {**START, **OPEN}).at_mm == 2000
    # Varley's difference by hand: half of 10 m, less 0.3 ohm over twice 2 x 84.2 milliohm/m.
    assert short_place(10_000, {**START, **SHORT, "short_a": "0.9", "short_b": "1.2"}).at_mm == pytest.approx(
        5000 - 300 / (2 * 2 * 84.2) * 1000, abs=5
    )


def test_a_short_to_the_shield_counts_the_shield() -> None:
    cores = short_place(10_000, {**START, **SHORT, "short_a": "0.9", "short_b": "1.0"})
    shield = short_place(
        10_000, {**START, **SHORT, "short_a": "0.9", "short_b": "1.0", "touching": "shield", "shield": "0.3"}
    )
    # By hand: 842 milliohm of core and 300 of shield over 10 m, so 100 milliohm are 0.44 m from the middle.
    assert shield.at_mm == pytest.approx(5000 - 100 / (2 * 114.2) * 1000, abs=5)
    assert shield.at_mm != cores.at_mm


def test_a_loop_that_is_right_is_not_logged(program: Running) -> None:
    at = bench(program, "xlr3")
    page = asked(at, **LOOP | {"loop": "0.55"})
    assert "As it should be" in page.text
    assert 'value="log"' not in page.text
    assert asked(at, **LOOP | {"loop": "0.55"}, do="log").status_code == 409
    assert program.viewer.get("/api/v1/tests").json()["items"] == []


def test_a_loop_that_is_too_high_is_logged_with_one_tap(program: Running) -> None:
    at = bench(program, "xlr3")
    page = asked(at, **LOOP | {"loop": "1.9 ohm"})
    assert "Too high" in page.text
    assert 'value="log"' in page.text
    answer = asked(at, **LOOP | {"loop": "1.9 ohm"}, do="log")
    assert answer.status_code == 303
    [test] = program.viewer.get("/api/v1/tests").json()["items"]
    assert (test["verdict"], test["method"], test["joined"], test["probed"]) == ("fail", "meter", [], [])
    assert [fault["class"] for fault in test["faults"]] == ["high_resistance"]
    assert "1900 milliohms" in test["note"]
    assert at.state(at.codes[0]) == "quarantined"


def test_a_loop_without_an_id_gets_a_new_one_and_stays(program: Running) -> None:
    at = bench(program, "xlr3")
    answer = asked(at, **LOOP | {"loop": "1.9 ohm"}, op="", do="log")
    assert answer.status_code == 422
    assert "out of date" in answer.text
    assert 'value="1.9 ohm"' in answer.text
    [new] = re.findall(r'name="op" value="([^"]+)"', answer.text.split('id="loop"')[1])
    again = asked(at, **LOOP | {"loop": "1.9 ohm"}, op=new, do="log")
    assert again.headers["location"] == f"/tests/{new}"


def test_a_loop_that_is_too_low_says_that_the_record_is_wrong(program: Running) -> None:
    assert "Lower than can be" in asked(bench(program, "xlr3"), **LOOP | {"loop": "0.1"}).text


def test_warm_copper_reads_more() -> None:
    cold, warm = (loop_judged(3048, {**START, **LOOP, "loop_warmth": warmth}) for warmth in ("20 C", "50 C"))
    assert warm.expected / cold.expected == pytest.approx(1 + 0.00393 * 30)  # IEC 60028


@pytest.mark.parametrize(
    ("question", "field", "value", "says"),
    [
        (OPEN, "open_a", "230", "needs its unit"),
        (OPEN, "open_b", "OL", "no measured value"),
        (OPEN, "stray_a", "300 pF", "less with the cable than without"),
        (OPEN, "whole", "3 nF", "broken in two places"),
        (OPEN, "whole", "some", "no measured value"),
        (OPEN, "open_off", "120", "a share from 0 to below 1"),
        (SHORT, "short_a", "", "Write what the meter shows"),
        (SHORT, "short_a", "5", "beyond end"),
        (SHORT, "short_gauge", "thick", "gauge of the conductors"),
        (SHORT, "short_gauge", "60", "no wire gauge"),
        (SHORT, "short_warmth", "20", "needs its unit"),
        (LOOP, "loop_warmth", "300 F", "is not cable weather"),
        (LOOP, "loop", "-1", "no resistance"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field(
    program: Running, question: dict[str, str], field: str, value: str, says: str
) -> None:
    answer = asked(bench(program, "xlr3"), **question | {field: value})
    assert answer.status_code == 422
    assert says in wrong(answer.text, field)


def test_a_shield_needs_its_resistance(program: Running) -> None:
    answer = asked(bench(program, "xlr3"), **SHORT | {"touching": "shield"})
    assert "Write what the meter shows" in wrong(answer.text, "shield")


def test_without_a_length_no_place_is_told(program: Running) -> None:
    at = bench(program, "xlr3")
    with program.store.writing() as db:
        db.get_one(Item, at.ids[at.codes[0]]).length_mm = 0
    assert "no length on record" in program.crew.get(f"/t/{at.codes[0]}/where").text
    for question in (OPEN, LOOP, SHORT | {"touching": "shield", "shield": "1"}):
        answer = asked(at, **question)
        assert answer.status_code == 422
        assert "needs a length" in answer.text


def test_the_items_own_gauge_is_there_already(program: Running) -> None:
    at = bench(program, "xlr3")
    with program.store.writing() as db:
        db.get_one(Item, at.ids[at.codes[0]]).gauge_awg = 22
    assert 'name="loop_gauge" type="text" value="22"' in program.crew.get(f"/t/{at.codes[0]}/where").text
    assert program.viewer.get(f"/t/{at.codes[0]}/where").status_code == 403
