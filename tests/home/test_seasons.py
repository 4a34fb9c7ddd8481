"""Seasons: making and changing them, events, who answers, and what becomes due by it."""

import re
from datetime import date
from typing import Any
from uuid import UUID

import pytest

from service.season import queries
from service.season.core import Round
from service.season.forms import next_name
from tests.home.support import truck
from tests.support.program import Running, op
from tests.testlog.support import GOOD

FORM = {"name": "Fall 2026", "starts": "2026-08-03", "ends": "2026-11-15", "rounds": "2", "who": "all"}


def made(program: Running, **more: object) -> str:
    answer = program.lead.post("/season/new", data={"op": op()} | FORM | more)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"].rpartition("/")[2])


def counts(program: Running) -> dict[str, int]:
    found: dict[str, int] = program.viewer.get("/api/v1/due").json()["counts"]
    return {state: count for state, count in found.items() if count}


def rounds(program: Running, season: str) -> tuple[Round, ...]:
    with program.store.reading() as db:
        return queries.rules(db)[UUID(season)].rounds


def test_a_season_is_made_once_however_often_it_is_sent(program: Running) -> None:
    truck(program, ("vibes", "Frame 1", 10), ("spare", "Spares Case", 10))
    sent = {"op": op()} | FORM
    first, second = program.lead.post("/season/new", data=sent), program.lead.post("/season/new", data=sent)
    assert first.headers["location"] == second.headers["location"]
    page = program.viewer.get(first.headers["location"]).text
    assert "2 items answer to it" in page
    for words in (
        "Fall 2026",
        "Round 1",
        "Mon Aug 3 to Wed Sep 23",
        "Round 2",
        "Thu Sep 24 to Sun Nov 15",
        "Today",
    ):
        assert words in page


def test_own_round_dates_go_before_the_number(program: Running) -> None:
    season = made(program, opens=["2026-08-03", "2026-10-01", ""], last=["2026-09-10", "2026-11-15", ""])
    assert rounds(program, season) == (
        Round(date(2026, 8, 3), date(2026, 9, 11)),
        Round(date(2026, 10, 1), date(2026, 11, 16)),
    )
    page = program.lead.get(f"/season/{season}/change").text
    assert re.findall(r'name="last" value="([\d-]+)"', page) == ["2026-09-10", "2026-11-15"]


@pytest.mark.parametrize(
    ("more", "field", "words"),
    [
        ({"ends": "2026-08-02"}, "ends", "before it starts"),
        (
            {"ends": "2099-11-15"},
            "ends",
            "from 2026-08-03 to 2099-11-15, which is 26,768 days; 400 are the most",
        ),
        ({"ends": "2027-09-07"}, "ends", "which is 401 days"),
        ({"name": " "}, "name", "Name the season"),
        ({"name": "x" * 61}, "name", "60 are the most"),
        ({"starts": ""}, "starts", "Enter the first day"),
        ({"starts": "next week"}, "starts", "is not a date"),
        ({"rounds": "0"}, "rounds", "from 1 to 105 rounds, not 0"),
        ({"rounds": "106"}, "rounds", "from 1 to 105 rounds, not 106"),
        ({"rounds": "-2"}, "rounds", "not a number of rounds"),
        ({"rounds": "two"}, "rounds", "not a number of rounds"),
        ({"opens": "2026-08-03", "last": ""}, "rounds", "needs both days"),
        ({"opens": "2026-08-03", "last": "2026-08-01"}, "rounds", "before it opens"),
        ({"opens": "2026-08-01", "last": "2026-09-01"}, "rounds", "beyond the season"),
        ({"opens": ["2026-08-03", "2026-08-20"], "last": ["2026-09-01", "2026-10-01"]}, "rounds", "overlaps"),
    ],
)
def test_a_season_that_cannot_be_is_refused_beside_its_field(
    program: Running, more: dict[str, object], field: str, words: str
) -> None:
    answer = program.lead.post("/season/new", data={"op": op()} | FORM | more)
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text
    assert words in answer.text
    with program.store.reading() as db:
        assert queries.seasons(db) == []


def test_what_is_due_follows_a_change_of_rounds(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10))
    at.passes("vibes")
    assert counts(program) == {"current": 1}
    form = FORM | {"op": op(), "starts": "2026-09-01", "ends": "2026-11-30"}
    program.clock.ahead(days=3)
    late = {"opens": ["2026-09-01", "2026-09-23"], "last": ["2026-09-22", "2026-11-30"]}
    assert program.lead.post(f"/season/{at.season}/change", data=form | late).status_code == 303
    assert counts(program) == {"due": 1}
    page = program.crew.get("/gear?flag=due").text
    assert at.tags["vibes"] in page


def test_items_join_and_leave_a_season(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10), ("marimba", "Frame 1", 10), ("timpani", "Frame 2", 10))
    at.passes("vibes", "marimba", "timpani")
    program.clock.ahead(days=40)
    assert counts(program) == {"due": 3}
    shown = [str(at.ids[at.tags[label]]) for label in ("vibes", "marimba")]
    sent = {"op": op(), "shown": " ".join(shown), "chosen": shown[:1]}
    assert program.lead.post(f"/season/{at.season}/items", data=sent).status_code == 303
    assert counts(program) == {"due": 2, "current": 1}
    page = program.lead.get(f"/season/{at.season}/items?saved=1").text
    assert "1 of 2" in page
    assert "Kept." in page
    program.lead.post(f"/season/{at.season}/items", data={"op": op(), "shown": " ".join(shown), "chosen": shown})
    assert counts(program) == {"due": 3}


def test_what_is_no_item_answers_to_no_season(program: Running) -> None:
    at, nothing = truck(program, ("vibes", "Frame 1", 10)), op()
    sent = {"op": op(), "shown": nothing, "chosen": nothing}
    answer = program.lead.post(f"/season/{at.season}/items", data=sent)
    assert answer.status_code == 422, answer.text
    assert "out of date" in answer.text


def test_events_come_change_and_go(program: Running) -> None:
    season = made(program)
    event = {"name": "Lantern Field", "kind": "competition", "on": "2026-10-10"}
    program.lead.post(f"/season/{season}/events", data={"op": op()} | event)
    page = program.viewer.get("/season").text
    (event_id,) = re.findall(r'href="/pull/([0-9a-f-]+)"', page)
    assert "Competition, Sat Oct 10: in 19 days" in page
    changed = {"op": op(), "name": "Lantern Field", "kind": "show", "on": "2026-10-11"}
    assert program.lead.post(f"/season/events/{event_id}", data=changed).status_code == 303
    assert "Show, Sun Oct 11" in program.viewer.get("/season").text
    assert program.lead.post(f"/season/events/{event_id}/drop", data={"op": op()}).status_code == 303
    assert "Lantern Field" not in program.viewer.get("/season").text
    assert program.lead.get(f"/season/events/{event_id}").status_code == 404


@pytest.mark.parametrize(
    ("more", "field"),
    [({"on": "2026-11-16"}, "on"), ({"on": ""}, "on"), ({"name": ""}, "name"), ({"kind": "x"}, "kind")],
)
def test_an_event_that_cannot_be_is_refused_beside_its_field(
    program: Running, more: dict[str, str], field: str
) -> None:
    season = made(program)
    event = {"op": op(), "name": "Lantern Field", "kind": "show", "on": "2026-10-10"}
    answer = program.lead.post(f"/season/{season}/events", data=event | more)
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text
    program.lead.post(f"/season/{season}/events", data=event | {"op": op()})
    (event_id,) = re.findall(r'href="/pull/([0-9a-f-]+)"', program.viewer.get("/season").text)
    answer = program.lead.post(f"/season/events/{event_id}", data=event | more | {"op": op()})
    assert answer.status_code == 422
    assert f'id="f-{field}-error"' in answer.text


def test_a_season_may_last_a_year_and_some_weeks(program: Running) -> None:
    assert program.lead.post("/season/new", data={"op": op()} | FORM | {"ends": "2027-09-06"}).status_code == 303


def test_the_same_event_again_is_asked_about_first(program: Running) -> None:
    season = made(program)
    event = {"name": "Lantern Field", "kind": "competition", "on": "2026-10-10"}
    again = event | {"name": "lantern  field", "kind": "show"}

    def add(sent: dict[str, str], **more: str) -> Any:
        return program.lead.post(f"/season/{season}/events", data={"op": op()} | sent | more)

    assert add(event).status_code == 303
    asked = add(again)
    assert asked.status_code == 422
    assert "Lantern Field is on 2026-10-10 already." in asked.text
    assert 'name="sure" value="lantern  field 2026-10-10"' in asked.text
    assert add(again, sure="lantern  field 2026-10-11").status_code == 422  # asked about something else
    assert add(again | {"on": "2026-10-11"}).status_code == 303  # a second day
    assert add(again, sure="lantern  field 2026-10-10").status_code == 303
    with program.store.reading() as db:
        assert [event.kind for event in queries.events(db, UUID(season))] == ["competition", "show", "show"]


def test_an_event_that_becomes_like_another_is_asked_about_first(program: Running) -> None:
    season = made(program)
    event = {"name": "Lantern Field", "kind": "show", "on": "2026-10-10"}
    for on in ("2026-10-10", "2026-10-11"):
        program.lead.post(f"/season/{season}/events", data={"op": op()} | event | {"on": on})
    with program.store.reading() as db:
        first, second = (str(each.id) for each in queries.events(db, UUID(season)))
    change = f"/season/events/{second}"
    asked = program.lead.post(change, data={"op": op()} | event)
    assert (asked.status_code, 'name="sure"' in asked.text) == (422, True)
    sure = {"sure": "Lantern Field 2026-10-10"}
    assert program.lead.post(change, data={"op": op()} | event | sure).status_code == 303
    kind = {"op": op()} | event | {"kind": "competition"}  # neither name nor day changes
    assert program.lead.post(f"/season/events/{first}", data=kind).status_code == 303


def test_a_season_does_not_shrink_away_from_its_events(program: Running) -> None:
    season = made(program)
    event = {"op": op(), "name": "Finale", "kind": "show", "on": "2026-11-15"}
    program.lead.post(f"/season/{season}/events", data=event)
    answer = program.lead.post(f"/season/{season}/change", data=FORM | {"op": op(), "ends": "2026-11-14"})
    assert answer.status_code == 422
    assert "Finale is on 2026-11-15" in answer.text
    assert 'id="f-ends-error"' in answer.text


def test_the_running_season_is_shown_and_the_others_linked(program: Running) -> None:
    assert "No season yet" in program.viewer.get("/season").text
    coming = made(program, name="Indoor", starts="2026-12-01", ends="2027-04-01")
    assert "<h1>Indoor</h1>" in program.viewer.get("/season").text
    made(program)
    page = program.viewer.get("/season").text
    assert "<h1>Fall 2026</h1>" in page
    assert f'href="/season/{coming}"' in page


def test_only_a_lead_changes_a_season(program: Running) -> None:
    season = made(program)
    for address in ("/season/new", f"/season/{season}/change", f"/season/{season}/items"):
        assert program.crew.get(address).status_code == 403
        assert program.crew.post(address, data={"op": op()}).status_code == 403
        assert program.stranger.get(address).status_code == 401
    assert "/change" not in program.crew.get("/season").text
    assert program.stranger.get("/season").status_code == 401


@pytest.mark.parametrize("address", ["/season/none", "/season/5b0a2b9e-0000-4000-8000-000000000000"])
def test_a_season_that_is_not_there_is_told(program: Running, address: str) -> None:
    assert program.viewer.get(address).status_code == 404
    assert "no such season" in program.viewer.get(address).text


def test_a_season_is_made_like_another_once(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10), ("marimba", "Frame 1", 10), ("old", "Frame 2", 10))
    at.event("Lantern Field", date(2026, 10, 10))
    at.retire("old")
    proposed = program.lead.get(f"/season/{at.season}/copy").text
    assert 'value="2027-08-31"' in proposed  # 52 weeks after Tuesday, September 1, 2026
    assert 'name="name" type="text" value=""' in proposed  # "Fall" has no year in it
    named = program.lead.post(f"/season/{at.season}/copy", data={"op": op(), "name": "fall", "starts": "2027-09-07"})
    assert named.status_code == 422
    assert "There is a season called fall already" in named.text
    sent = {"op": op(), "name": "Next fall", "starts": "2027-09-07"}
    first = program.lead.post(f"/season/{at.season}/copy", data=sent)
    again = program.lead.post(f"/season/{at.season}/copy", data=sent)
    assert first.status_code == again.status_code == 303
    assert first.headers["location"] == again.headers["location"]
    made_id = first.headers["location"].rpartition("/")[2]
    assert rounds(program, made_id) == (
        Round(date(2027, 9, 7), date(2027, 10, 22)),
        Round(date(2027, 10, 22), date(2027, 12, 7)),
    )
    page = program.viewer.get(first.headers["location"]).text
    assert "2 items answer to it" in page
    assert "Lantern Field" not in page
    for wrong, field in (({"starts": "soon"}, "starts"), ({"starts": ""}, "starts"), ({"name": " "}, "name")):
        answer = program.lead.post(f"/season/{at.season}/copy", data=sent | {"op": op()} | wrong)
        assert answer.status_code == 422
        assert f'id="f-{field}-error"' in answer.text
    assert program.crew.post(f"/season/{at.season}/copy", data=sent).status_code == 403


@pytest.mark.parametrize(
    ("name", "years", "following"),
    [
        ("Fall 2026", 1, "Fall 2027"),
        ("2026 and 2027", 1, "2027 and 2028"),
        ("Indoor", 1, "Indoor"),
        ("12026", 1, "12026"),
    ],
)
def test_the_next_seasons_name_follows_its_year(name: str, years: int, following: str) -> None:
    assert next_name(name, years) == following


def test_a_pass_counts_in_every_season_that_the_item_answers_to(program: Running) -> None:
    at = truck(program, ("vibes", "Frame 1", 10), ("marimba", "Frame 1", 10))
    outdoor = {"starts": "2026-09-14", "ends": "2026-10-04", "rounds": "1"}
    second = made(program, name="Indoor camp", **outdoor)
    at.passes("vibes", "marimba")
    assert counts(program) == {"current": 2}
    shown = str(at.ids[at.tags["marimba"]])
    sent = {"op": op(), "shown": shown, "chosen": []}
    assert program.lead.post(f"/season/{second}/items", data=sent).status_code == 303

    # A third season opens a round of its own: who answers to it is due again, whoever does not is not.
    program.clock.ahead(days=3)
    camp = made(program, name="Show week", starts="2026-09-23", ends="2026-09-27", rounds="1", who="none")
    vibes = at.tags["vibes"]
    choice = {"op": op(), "shown": str(at.ids[vibes]), "chosen": str(at.ids[vibes])}
    assert program.lead.post(f"/season/{camp}/items", data=choice).status_code == 303
    state = program.viewer.get(f"/api/v1/items/{vibes}").json()
    assert (state["due"]["state"], state["due"]["due_by"]) == (
        "due",
        "2026-09-28",
    )  # the soonest of the three
    assert program.viewer.get(f"/api/v1/items/{at.tags['marimba']}").json()["due"]["state"] == "current"

    test: dict[str, Any] = {"id": op(), "item": vibes, "session": None, "tested_at": program.clock.now.isoformat()}
    test |= {"method": "two_ended", "joined": GOOD, "probed": "all", "evidence": [], "note": ""}
    assert program.crew.post("/api/v1/tests", json=test).status_code == 201
    assert counts(program) == {"current": 2}
    for season, words in ((at.season, "2 of 2 passed"), (second, "1 of 1 passed"), (camp, "1 of 1 passed")):
        assert words in program.viewer.get(f"/season/{season}").text
