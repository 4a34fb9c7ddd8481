"""Now by role, from the empty book to the day of an event; finding by code; the pages behind More."""

from datetime import date

import pytest

from service.kit.codes import read_code
from service.settings import version
from service.store.backup import Backup
from tests.home.support import truck
from tests.support.program import Running
from tests.testlog.support import OPEN_2


def test_an_empty_book_shows_a_lead_the_first_steps(program: Running) -> None:
    page = program.lead.get("/").text
    steps = ["/settings", "/gear/new", "/season/new", "/tags", "/crew"]
    places = [page.index(f'href="{step}"') for step in steps]
    assert places == sorted(places)
    assert "/find" not in page


def test_an_empty_book_says_so_to_the_crew(program: Running) -> None:
    assert "No gear yet" in program.crew.get("/").text
    assert "First steps" not in program.crew.get("/").text


def test_a_stranger_reads_one_sentence_and_two_ways_in(program: Running) -> None:
    truck(program, ("vibes", "Frame 1", 10))
    page = program.stranger.get("/").text
    assert 'href="/join"' in page
    assert 'href="/sign-in"' in page
    for word in ("vibes", "Frame 1", "Untested", "/due", "/gear"):
        assert word not in page


def test_numbers_lead_to_what_they_count(program: Running) -> None:
    at = truck(program, *[(f"cable {number}", "Frame 1", 10) for number in range(5)])
    at.passes("cable 1", "cable 2")
    at.test(at.tags["cable 3"], OPEN_2)
    at.suspect("cable 1", "")
    page = program.lead.get("/").text
    for link, count in (
        ("/due?state=untested", 2),
        ("/gear?flag=suspect", 1),
        ("/gear?state=quarantined", 1),
    ):
        assert f'<a href="{link}"><b class="num">{count}</b>' in page
    assert "/due?state=overdue" not in page


def test_the_next_event_shows_its_days_and_its_pull_list(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10), ("marimba", "Frame 2", 10))
    at.passes("vibes")
    at.event("Later show", date(2026, 10, 9))
    event = at.event("Lantern Field", date(2026, 9, 25))
    for client in (program.lead, program.crew, program.viewer):
        page = client.get("/").text
        assert f'href="/pull/{event}"' in page
        assert '<b class="num">4</b><span>days</span>' in page
        assert ("1 of 2 items on the pull list" in page) is (client is program.lead)
    program.clock.ahead(days=4)
    assert "<span>today</span>" in program.crew.get("/").text


def test_round_progress_counts_items_that_passed_in_the_round(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10), ("marimba", "Frame 2", 10), ("old", "Frame 2", 10))
    at.passes("vibes", "vibes")
    at.test(at.tags["marimba"], OPEN_2)
    at.retire("old")
    assert "1 of 2 passed" in program.viewer.get("/").text


def test_a_lead_sees_how_old_the_last_backup_is(program: Running) -> None:
    truck(program, ("vibes", "Frame 1", 10))
    assert "No backup yet" in program.lead.get("/").text
    for client in (program.crew, program.viewer):
        assert "backup" not in client.get("/").text.lower()
    with program.store.writing() as db:
        db.add(Backup(at=program.clock.now, file="coilbook-20260921T220000Z.db", rows=1))
    for hours, said in ((1, "Backed up"), (47, "Backed up"), (2, "The last backup is old")):
        program.clock.ahead(hours=hours)
        page = program.lead.get("/").text
        assert said in page
        assert "Sep 21" in page or "21 Sep" in page


def test_a_typed_code_leads_to_its_tag(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10))
    code = at.tags["vibes"]
    # For the crew as if it was scanned: its six characters were read off the tag.
    for client, target in ((program.crew, f"/t/{code}?scanned=1"), (program.stranger, f"/t/{code}")):
        answer = client.get("/find", params={"code": f" {code[:3].lower()} {code[3:]}"})
        assert answer.headers["location"] == target


def test_a_wrong_code_is_told_why_and_a_lead_sees_the_nearest(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10))
    code = at.tags["vibes"]
    wrong = code[:-1] + ("A" if code[-1] != "A" else "C")
    for client, sees in ((program.lead, True), (program.crew, False), (program.stranger, False)):
        answer = client.get("/find", params={"code": wrong})
        assert answer.status_code == 422
        assert f"{wrong} is no code" in answer.text
        assert f'value="{wrong}"' in answer.text
        assert (f'href="/t/{code}"' in answer.text) is sees


def test_a_code_that_is_on_nothing_is_told_on_the_same_page(program: Running) -> None:
    answer = program.crew.get("/find", params={"code": "7K3M9U"})
    assert read_code("7K3M9U") == "7K3M9U"
    assert answer.status_code == 404
    assert "not a tag of this program" in answer.text
    assert 'id="find"' in answer.text


@pytest.mark.parametrize("typed", ["", "7K3", "7K3M9O", "<b>7K3</b>", "7" * 500])
def test_nonsense_is_refused_in_words(program: Running, typed: str) -> None:
    answer = program.crew.get("/find", params={"code": typed})
    assert answer.status_code == 422
    assert "<b>7K3" not in answer.text


def test_more_says_which_version_runs(program: Running) -> None:
    assert f"Coilbook {version()}" in program.viewer.get("/more").text


def test_more_offers_what_the_role_may_do(program: Running) -> None:
    for client, sees in ((program.lead, True), (program.crew, False), (program.viewer, False)):
        page = client.get("/more").text
        assert all((f'href="{address}"' in page) is sees for address in ("/crew", "/settings", "/tags"))
        assert 'href="/cautions"' in page
    assert program.stranger.get("/more").status_code == 401


def test_anyone_may_read_the_cautions(program: Running) -> None:
    page = program.stranger.get("/cautions").text
    for words in (
        "Unplug both ends",
        "mute",
        "Phantom power off",
        "Never mains",
        "energised",
        "Dry hands",
        "licensed",
    ):
        assert words in page


def test_the_json_interface_is_told_to_leads(program: Running) -> None:
    told = program.lead.get("/api/v1/openapi.json").json()
    assert {"/api/v1/due", "/api/v1/pull"} <= told["paths"].keys()
    assert not [path for path in told["paths"] if not path.startswith("/api/v1/")]
    assert program.crew.get("/api/v1/openapi.json").status_code == 403
