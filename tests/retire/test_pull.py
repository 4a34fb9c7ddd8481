"""The pull list as page and JSON: walking order, reasons, spares, and who may see it."""

from datetime import date
from uuid import uuid4

import pytest

from tests.home.support import truck
from tests.support.program import Running
from tests.testlog.support import OPEN_2


def loaded(program: Running):  # type: ignore[no-untyped-def]
    """Vibes walk first, then marimba; one broken, one suspect, one never tested, one in order; two spares."""
    found = truck(
        program,
        ("vibes", "Frame 1", 10),
        ("broken", "Frame 1", 15),
        ("fresh", "Frame 2", 5),
        ("shaky", "Frame 2", 10),
        ("long spare", "Spares Case", 25),
        ("short spare", "Spares Case", 15),
        ("raw spare", "Spares Case", 15),
    )
    found.passes("vibes", "shaky", "long spare", "short spare")
    found.test(found.tags["broken"], OPEN_2)
    found.suspect("shaky", "crackled at the show")
    return found


def test_lines_come_in_walking_order_with_reasons_and_spares(program: Running) -> None:
    at = loaded(program)
    event = at.event("Lantern Field", date(2026, 10, 3))
    answer = program.viewer.get("/api/v1/pull").json()
    assert answer["event"] == {"id": str(event), "name": "Lantern Field", "kind": "competition", "on": "2026-10-03"}
    assert answer["judged"] == 4
    assert answer["counts"] == {"retire": 0, "repair_first": 1, "test_first": 2, "watch": 0}
    told = [(line["code"], line["place"], line["reasons"], line["action"], line["spare"]) for line in answer["items"]]
    assert told == [
        (at.tags["broken"], "Frame 1", ["blocked", "repair_or_replace"], "repair_first", at.tags["short spare"]),
        (at.tags["fresh"], "Frame 2", ["untested"], "test_first", None),
        (at.tags["shaky"], "Frame 2", ["suspect"], "test_first", at.tags["long spare"]),
    ]


def test_the_page_says_what_why_and_what_fits(program: Running) -> None:
    at = loaded(program)
    event = at.event("Lantern Field", date(2026, 10, 3))
    assert program.crew.get("/pull").headers["location"] == f"/pull/{event}"
    page = program.crew.get(f"/pull/{event}").text
    order = [
        page.index(words)
        for words in ("Frame 1", "<b>broken", "<p>It failed and is not repaired.", "Frame 2", "<b>fresh")
    ]
    assert order == sorted(order)
    assert "Suspect: crackled at the show." in page
    assert at.tags["vibes"] not in page


def test_a_round_that_closes_before_the_event_is_told_today(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10))
    program.clock.ahead(days=-30)
    at.passes("vibes")  # in August, before the first round opens
    program.clock.ahead(days=30)
    event = at.event("Late show", date(2026, 10, 20))
    (line,) = program.viewer.get(f"/api/v1/pull?event={event}").json()["items"]
    assert (line["due"], line["due_at_event"]) == ("due", "overdue")
    assert line["why"] == ["Overdue at the event, unless it passes by Thu Oct 15."]


def test_an_event_today_is_the_next_one_until_midnight(program: Running) -> None:
    at = loaded(program)
    event = at.event("Home show", date(2026, 9, 21))
    assert program.crew.get("/pull").headers["location"] == f"/pull/{event}"
    assert "<b>today</b>" in program.crew.get(f"/pull/{event}").text
    program.clock.ahead(hours=6)  # midnight in the program's zone
    assert program.crew.get("/pull").status_code == 200
    assert "No event is coming" in program.crew.get("/pull").text
    assert program.crew.get(f"/pull/{event}").status_code == 200


def test_an_item_in_a_case_that_waits_for_a_repair_is_not_in_use(program: Running) -> None:
    at = truck(program, ("old", "Spares Case", 10))
    at.test(at.tags["old"], OPEN_2)
    at.event("Lantern Field", date(2026, 10, 3))
    assert program.viewer.get("/api/v1/pull").json()["judged"] == 0


@pytest.mark.parametrize("address", ["/pull/{}", "/api/v1/pull?event={}"])
@pytest.mark.parametrize("event", [uuid4(), "tomorrow"])
def test_an_event_that_is_not_there_is_told(program: Running, address: str, event: object) -> None:
    answer = program.viewer.get(address.format(event))
    assert answer.status_code == 404
    assert "no such event" in answer.text


def test_without_an_event_the_way_out_is_told(program: Running) -> None:
    assert "Add the event" in program.lead.get("/pull").text
    assert program.viewer.get("/api/v1/pull").status_code == 404


def test_strangers_see_no_list(program: Running) -> None:
    for address in ("/pull", f"/pull/{uuid4()}", "/api/v1/pull"):
        assert program.stranger.get(address).status_code == 401
