"""The pages of the log, as a phone without script uses them: what is on the page is sent, as it is or as changed."""

import re
from datetime import timedelta
from html.parser import HTMLParser
from typing import Any

import pytest

from service.gear.core import ItemState
from service.gear.queries import lengths
from service.wiring.builtin import BUILTIN
from service.wiring.wirings import lanes_of
from tests.support.program import Running, form_of_a_test
from tests.testlog.support import OPEN_2, bench


class Filled(HTMLParser):
    """What a browser would send of the form with this id: hidden, ticked and chosen values."""

    def __init__(self, form_id: str, html: str) -> None:
        super().__init__()
        self.form_id, self.inside, self.select, self.sent = form_id, False, "", dict[str, list[str]]()
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        got = dict(attrs)
        if tag == "form":
            self.inside = got.get("id") == self.form_id
        elif self.inside and tag == "select":
            self.select = got["name"] or ""
        elif self.inside and tag == "option" and "selected" in got:
            self.sent[self.select] = [got["value"] or ""]
        elif self.inside and tag == "input" and self._counts(got):
            self.sent.setdefault(got["name"] or "", []).append(got.get("value") or "")

    def handle_endtag(self, tag: str) -> None:
        self.inside = self.inside and tag != "form"

    def _counts(self, got: dict[str, str | None]) -> bool:
        return got.get("type") not in ("radio", "checkbox") or "checked" in got


def send(program: Running, code: str, page: str, verdict: str, **changed: Any) -> Any:
    """Send the form on a page, changed, by one of its two buttons."""
    data = Filled("test", page).sent | {"verdict": verdict} | changed
    program.clock.ahead(seconds=2)  # sooner it would be asked about
    return program.crew.post(f"/t/{code}/test", data=data)


def result(program: Running, answer: Any) -> str:
    assert answer.status_code == 303, answer.text
    page = program.viewer.get(answer.headers["location"])
    assert page.status_code == 200
    return str(page.text)


def test_a_good_cable_is_two_taps(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    page = program.crew.get(f"/t/{code}/test").text
    answer = send(program, code, page, "pass")
    shown = result(program, answer)
    assert "<h1>Pass</h1>" in shown
    assert "Not ruled out by this test: a short to a shell" in shown
    again = send(program, code, page, "pass")
    assert again.headers["location"] == answer.headers["location"]
    assert len(program.viewer.get("/api/v1/tests").json()["items"]) == 1


@pytest.mark.parametrize("key", BUILTIN)
def test_the_page_as_it_comes_is_a_pass_on_every_wiring(program: Running, key: str) -> None:
    (code,) = bench(program, key).codes
    for lane in lanes_of(BUILTIN[key]):
        page = program.crew.get(f"/t/{code}/test", params={"lane": lane} if lane else {}).text
        assert "<h1>Pass</h1>" in result(program, send(program, code, page, "pass"))


def test_a_reversed_pair_is_two_taps_and_told_with_what_it_means(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    page = program.crew.get(f"/t/{code}/test").text
    shown = result(program, send(program, code, page, "fail", c1="B3", c2="B2", note="at the truck"))
    assert "Conductor 2 (hot) and conductor 3 (cold) are swapped" in shown
    assert "Do not plug it in." in shown
    assert "Look first:" in shown
    assert "at the truck" in shown
    assert at.state(code) == ItemState.QUARANTINED


def test_the_button_must_say_what_the_marks_say(program: Running) -> None:
    (code,) = bench(program, "xlr3").codes
    page = program.crew.get(f"/t/{code}/test").text
    nothing = send(program, code, page, "fail")
    assert nothing.status_code == 422
    assert "Mark what the tester showed" in nothing.text
    for wrong in ({"c0": "-"}, {"evidence": "crackles"}, {"touch": "A2+A3"}):
        answer = send(program, code, page, "pass", **wrong)
        assert answer.status_code == 422
        assert "so this is no pass" in answer.text
    kept = send(program, code, page, "pass", c1="B3", evidence=["cut"])
    assert Filled("test", kept.text).sent["c1"] == ["B3"]
    assert Filled("test", kept.text).sent["evidence"] == ["cut"]
    assert program.viewer.get("/api/v1/tests").json()["items"] == []


def test_what_was_seen_is_evidence(program: Running) -> None:
    (code,) = bench(program, "xlr3").codes
    page = program.crew.get(f"/t/{code}/test").text
    shown = result(program, send(program, code, page, "fail", evidence=["bent", "crackles"], at_end="B"))
    assert "Damage at end B (bent contact)" in shown
    assert "comes and goes at end B" in shown


def test_lanes_left_out_make_it_partial(program: Running) -> None:
    (code,) = bench(program, "d25x8").codes
    page = program.crew.get(f"/t/{code}/test").text
    shown = result(program, send(program, code, page, "pass", skip_lane="3"))
    assert "<h1>Partial</h1>" in shown
    assert "of lane 3" in shown


def test_a_multicore_is_tested_through_its_hub(program: Running) -> None:
    at = bench(program, "d25x8", "d25-to-xlr8")
    trunk, hub = at.codes
    page = program.crew.get(f"/t/{trunk}/test", params={"through": hub.lower(), "lane": "4"}).text
    shown = result(program, send(program, trunk, page, "fail", c10="-"))
    assert "One of these pieces is bad" in shown
    assert [len(at.flags(code)) for code in at.codes] == [1, 1]
    wrong = program.crew.get(f"/t/{trunk}/test", params={"through": "7K3M9U"})
    assert wrong.status_code == 422
    assert "7K3M9U is not a tag of this program" in wrong.text


def test_wrong_pieces_are_told_with_what_was_entered_whatever_was_marked(program: Running) -> None:
    at = bench(program, "d25-to-xlr8", "xlr3")
    hub, cable = at.codes
    marked = {"verdict": "fail", "note": "so far", "lane": "3"}
    for touching in ("1+2", "A.1+A.2"):  # contacts of neither, or of the pieces that are wrong
        sent = form_of_a_test() | marked | {"through": "7K3M9U", "touch": touching}
        for more in ({}, {"show": "4"}):
            refused = program.crew.post(f"/t/{hub}/test", data=sent | more)
            assert refused.status_code == 422
            assert "7K3M9U is not a tag of this program" in refused.text
            assert "your marks contact by contact were not carried over" in refused.text
            assert "so far" in refused.text
            assert 'name="pieces"' in refused.text
            assert 'value="7K3M9U"' in refused.text
            assert f'name="op" value="{sent["op"]}"' in refused.text
    twice = program.crew.post(f"/t/{cable}/test", data=form_of_a_test() | marked | {"through": cable, "touch": "1+2"})
    assert twice.status_code == 422
    shown = program.crew.post(f"/t/{hub}/test", data=form_of_a_test() | marked | {"touch": "x+y", "show": "4"})
    assert shown.status_code == 422
    assert "are no two contacts of this wiring" in shown.text
    assert "so far" in shown.text


def test_only_a_lead_voids_and_says_why(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    test_id = at.test(code, OPEN_2)["id"]
    op = re.findall(r'name="op" value="([^"]+)"', program.lead.get(f"/tests/{test_id}").text)[0]
    assert program.crew.post(f"/tests/{test_id}/void", data={"op": op, "reason": "x"}).status_code == 403
    assert program.lead.post(f"/tests/{test_id}/void", data={"op": op, "reason": " "}).status_code == 422
    assert program.lead.post(f"/tests/{test_id}/void", data={"op": op, "reason": "wrong cable"}).status_code == 303
    shown = program.viewer.get(f"/tests/{test_id}").text
    assert "voided" in shown
    assert "wrong cable" in shown
    assert at.state(code) == ItemState.IN_SERVICE


def test_a_repair_leads_to_the_test_that_proves_it(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    at.test(code, OPEN_2)
    program.clock.ahead(minutes=5)
    page = program.crew.get(f"/t/{code}/repair")
    assert "Conductor 2 (hot) is open" in page.text
    sent = Filled("repair", page.text).sent
    wrong = program.crew.post(f"/t/{code}/repair", data=sent | {"what": "cut back", "length": "12 ft", "cost": "x"})
    assert wrong.status_code == 422
    answer = program.crew.post(
        f"/t/{code}/repair",
        data=sent | {"what": "cut back", "end": "B", "length": "9'6\"", "cost": "4.50"},
    )
    assert answer.headers["location"] == f"/t/{code}/test?repaired=1"
    assert at.state(code) == ItemState.IN_REPAIR
    with program.store.reading() as db:
        assert [row.length_mm for row in lengths(db, at.ids[code])] == [3048, 2896]
    program.clock.ahead(minutes=5)
    retest = program.crew.get(answer.headers["location"]).text
    assert "waits for the test that proves it" in retest
    result(program, send(program, code, retest, "pass"))
    assert at.state(code) == ItemState.IN_SERVICE


def test_a_state_is_changed_with_a_reason_but_not_past_a_fault(program: Running) -> None:
    at = bench(program, "xlr3")
    (code,) = at.codes
    at.test(code, OPEN_2)
    page = program.lead.get(f"/t/{code}/state").text
    assert 'value="in_service"' not in page
    sent = Filled("state", page).sent
    refused = program.lead.post(f"/t/{code}/state", data=sent | {"state": "spare", "reason": "looks fine"})
    assert refused.status_code == 409
    assert "Log its repair" in refused.text
    assert program.lead.post(f"/t/{code}/state", data=sent | {"state": "lost"}).status_code == 422
    done = program.lead.post(f"/t/{code}/state", data=sent | {"state": "lost", "reason": "left at the field"})
    assert done.status_code == 303
    assert at.state(code) == ItemState.LOST
    assert program.crew.get(f"/t/{code}/state").status_code == 403


def test_the_log_page_is_narrowed_down_and_says_what_is_wrong(program: Running) -> None:
    at = bench(program, "xlr3", "xlr3")
    one, other = at.codes
    at.test(one, OPEN_2)
    at.test(other)
    assert program.viewer.get("/tests").text.count("/tests/") == 2
    assert program.viewer.get("/tests", params={"fault": "open", "conductor": "2"}).text.count("/tests/") == 1
    assert "No test here" in program.viewer.get("/tests", params={"fault": "short"}).text
    wrong = program.viewer.get("/tests", params={"item": "nope"})
    assert wrong.status_code == 422
    assert program.viewer.get("/tests/nope").status_code == 404


def test_who_may_test(program: Running) -> None:
    (code,) = bench(program, "xlr3").codes
    assert program.viewer.get(f"/t/{code}/test").status_code == 403
    assert program.stranger.get(f"/t/{code}/test").status_code == 401


@pytest.mark.parametrize(
    ("seconds", "told"), [(0, False), (0.2, False), (-30, False), (119, False), (-120, False), (-121, True)]
)
def test_a_phones_clock_is_spoken_of_only_where_it_was_wrong(program: Running, seconds: float, told: bool) -> None:
    at = bench(program, "xlr3")
    phone = program.clock.now + timedelta(seconds=seconds)
    test = at.test(at.codes[0], tested_at=phone - timedelta(minutes=5), sent_at=phone)["id"]
    page = program.viewer.get(f"/tests/{test}").text
    assert ("The phone said" in page) is told


def test_a_form_without_a_verdict_logs_nothing(program: Running) -> None:
    at = bench(program, "xlr3")
    nothing: dict[str, str] = {}
    for verdict in (nothing, {"verdict": ""}, {"verdict": "perhaps"}):
        answer = program.crew.post(f"/t/{at.codes[0]}/test", data=form_of_a_test() | verdict)
        assert answer.status_code == 422
        assert "press one of the two buttons" in answer.text
    assert program.viewer.get("/api/v1/tests").json()["items"] == []
