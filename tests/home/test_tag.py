"""The tag page: lean, by role, and honest about codes that are wrong, ended or on nothing."""

import gzip

import pytest
from sqlalchemy import Engine, event

from service.gear.queries import place_named
from service.tags.actions import retag
from service.tags.models import Tag
from tests.home.support import Truck, truck
from tests.support.program import Running, op
from tests.testlog.support import FLEXED, OPEN_2

GZIPPED_MOST = 14_000  # bytes: what a first flight holds (RFC 6928: ten segments)
QUERIES_MOST = 6


@pytest.fixture
def at(program: Running) -> Truck:
    return truck(program, ("Marimba, lower", "Frame 1", 10), ("vibes", "Frame 2", 15))


def test_crew_see_how_it_stands_and_what_to_do(at: Truck) -> None:
    code = at.tags["Marimba, lower"]
    at.test(code, OPEN_2)
    at.program.clock.ahead(hours=1)
    page = at.program.crew.get(f"/t/{code}").text
    for words in (
        "Marimba, lower",
        code[:3],
        "Frame 1",
        "Quarantined",
        "Blocked",
        "Do not plug it in",
        "Conductor 2",
    ):
        assert words in page
    lead = at.program.lead.get(f"/t/{code}").text
    for way, crew_too in (("test?scanned=1", True), ("repair", True), ("state", False)):
        assert f'href="/t/{code}/{way}"' in lead
        assert (f'href="/t/{code}/{way}"' in page) is crew_too
    assert f'href="/gear/{code}"' in page


def test_the_tag_of_a_place_leads_to_its_gear(at: Truck) -> None:
    code = "7K3M9U"
    with at.program.store.writing() as db:
        place = place_named(db, "Frame 1")
        assert place is not None
        db.add(Tag(code=code, item_id=None, place_id=place.id, since=at.program.clock.now, until=None))
    walk = at.program.crew.get(f"/t/{code}").headers["location"]
    assert walk == f"/places/{place.id}/walk"
    assert "Marimba, lower" in at.program.crew.get(walk).text
    assert "Frame" not in at.program.stranger.get(f"/t/{code}").text


def test_a_phone_that_types_capitals_gets_the_same_page(at: Truck) -> None:
    code = at.tags["vibes"]
    assert "vibes" in at.program.crew.get(f"/T/{code}").text
    assert "vibes" in at.program.crew.get(f"/t/{code.lower()}").text


def test_a_viewer_sees_it_and_can_do_nothing(at: Truck) -> None:
    page = at.program.viewer.get(f"/t/{at.tags['vibes']}").text
    assert "vibes" in page
    assert "<form" not in page
    assert "/test" not in page


def test_a_stranger_sees_nothing_of_the_item(at: Truck) -> None:
    code = at.tags["Marimba, lower"]
    at.test(code, OPEN_2)
    page = at.program.stranger.get(f"/t/{code}")
    assert page.status_code == 200
    assert "Please hand it to any member of our band." in page.text
    assert f'href="/join?next=/t/{code}"' in page.text
    for word in ("Marimba", "Frame 1", "cable", "10 ft", "Quarantined", "Fail", "Conductor"):
        assert word not in page.text


@pytest.mark.parametrize("role", ["crew", "stranger"])
def test_codes_that_lead_nowhere_are_told_apart(at: Truck, role: str) -> None:
    client = getattr(at.program, role)
    code = at.tags["vibes"]
    wrong = code[:-1] + ("A" if code[-1] != "A" else "C")
    assert client.get(f"/t/{wrong}").status_code == 422
    assert "is no code" in client.get(f"/t/{wrong}").text
    assert client.get("/t/7K3M9U").status_code == 404
    with at.program.store.writing() as db:
        retag(db, code, at.actor)
    ended = client.get(f"/t/{code}")
    assert ended.status_code == 410
    assert "scan the new one" in ended.text
    assert "vibes" not in ended.text


def test_it_crackled_is_one_tap_and_a_flex_test_clears_it(at: Truck) -> None:
    code = at.tags["vibes"]
    at.passes("vibes")
    sent = {"op": op()}
    for _ in range(2):  # a retry changes nothing
        assert at.program.crew.post(f"/t/{code}/crackled", data=sent).headers["location"] == f"/t/{code}?crackled=1"
    assert len(at.flags(code)) == 1
    page = at.program.crew.get(f"/t/{code}?crackled=1").text
    assert "Somebody heard it crackle. Test it and flex both ends." in page
    at.program.clock.ahead(minutes=5)
    at.test(code, evidence=FLEXED)
    assert "Suspect" not in at.program.crew.get(f"/t/{code}").text


def test_only_crew_may_say_that_it_crackled(at: Truck) -> None:
    address = f"/t/{at.tags['vibes']}/crackled"
    assert at.program.viewer.post(address, data={"op": op()}).status_code == 403
    assert at.program.stranger.post(address, data={"op": op()}).status_code == 401


def test_the_due_state_is_of_today_without_anybody_keeping_house(at: Truck) -> None:
    code = at.tags["vibes"]
    at.passes("vibes")
    assert ">Current<" in at.program.crew.get(f"/t/{code}").text
    at.program.clock.ahead(days=30)  # into the second round
    assert "Due <" in at.program.crew.get(f"/t/{code}").text
    at.program.clock.ahead(days=60)  # beyond the season
    assert "Overdue" in at.program.crew.get(f"/t/{code}").text


def test_the_page_is_lean(at: Truck) -> None:
    code = at.tags["Marimba, lower"]
    for _ in range(6):
        at.test(code, OPEN_2)
        at.repair(code)
        at.program.clock.ahead(hours=1)
    at.program.crew.get(f"/t/{code}")
    asked: list[str] = []

    def count(_connection: object, _cursor: object, statement: str, *_: object) -> None:
        asked.append(statement)

    event.listen(Engine, "before_cursor_execute", count)
    try:
        page = at.program.crew.get(f"/t/{code}")
    finally:
        event.remove(Engine, "before_cursor_execute", count)
    assert len([statement for statement in asked if statement.startswith("SELECT")]) <= QUERIES_MOST
    assert 0 < len(gzip.compress(page.content)) < GZIPPED_MOST
