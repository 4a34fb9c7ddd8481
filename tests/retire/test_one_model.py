"""Ready for the day beside the pull list, the risk page and the spares: they never contradict one another."""

import math
import re
from collections.abc import Iterator
from datetime import date, timedelta
from random import Random
from uuid import UUID, uuid4

import pytest
from sqlalchemy.orm import Session

from service.retire.decisions.core import COMES_OUT, Action
from service.retire.lists.actions import pull_list
from service.retire.readiness.actions import EventReadiness, ready_for
from service.retire.readiness.core import ActKind
from service.season.models import Event
from service.season.queries import get_event
from service.sessions.actions import NewSession, open_session
from service.testlog.housekeeping import CHORES, keep_house
from service.wear.event_risk import prospects
from tests.home.support import truck
from tests.support.program import Running, op, running
from tests.testlog.support import GOOD, OPEN_2, ZONE


def words(html: str) -> str:
    return " ".join(re.sub("<[^>]*>", " ", html).split())


@pytest.fixture
def program(sqlite_url: str) -> Iterator[Running]:
    with running(sqlite_url) as found:
        yield found


def season_of(program: Running, seed: int) -> UUID:
    """A truck with a season behind it: tests of which some fail, repairs, what crackles; an event, an evening."""
    random = Random(seed)
    in_use = [(f"cable {number}", f"Frame {1 + number % 3}", random.choice((10, 25))) for number in range(9)]
    at = truck(program, *in_use, *[(f"spare {number}", "Spares Case", 10 + 15 * (number % 2)) for number in range(4)])
    for _ in range(3):
        for label, code in at.tags.items():
            if random.random() < 0.85:
                at.test(code, OPEN_2 if random.random() < (0.05 if "spare" in label else 0.2) else GOOD)
        program.clock.ahead(days=6)
    for label, code in at.tags.items():
        if at.state(code).value == "quarantined" and random.random() < 0.4:
            at.repair(code)
        elif random.random() < 0.1:
            at.suspect(label, "it crackled")
    today = program.clock.now.date()
    listed = [code for code in at.tags.values() if at.state(code).value == "in_service" and random.random() < 0.3]
    if listed:
        with program.store.writing() as db:
            new = NewSession(uuid4(), "Tests", today + timedelta(days=2), codes=listed)
            open_session(db, new, at.lead, program.clock.now)
    event = at.event("Lantern Field", today + timedelta(days=8))
    keep_house(program.store, program.clock.now, CHORES)
    return event


def look(db: Session, program: Running, event: UUID) -> tuple[Event, date, EventReadiness]:
    today, found = program.clock.now.astimezone(ZONE).date(), get_event(db, str(event))
    return found, today, ready_for(db, found, today, ZONE)


@pytest.mark.parametrize("seed", range(4))
def test_one_model_is_under_all_of_them(program: Running, seed: int) -> None:
    event_id = season_of(program, seed)
    with program.store.reading() as db:
        event, today, ready = look(db, program, event_id)
        pull = pull_list(db, event, today, ZONE, whole=True)
        risk = prospects(db, ZONE, today, event.on)
    told = {each.item.id: each.chance for each in [*risk.first, *risk.others]}
    assert {item_id: pull.judged_gear.chances[item_id] for item_id in told} == told
    assert all(pull.judged_gear.gear[item_id].risk == chance.failed for item_id, chance in told.items())
    assert (ready.now.items, ready.now.gaps) == (risk.outlook.items + risk.outlook.unknown, risk.outlook.unknown)
    assert math.isclose(ready.now.others, risk.outlook.works)
    lines = {line.item.id: line for line in pull.open}
    goes_in = {line.spare.id: line.item.id for line in pull.open if line.spare}
    for act in ready.now.acts:
        line = lines.get(act.item)
        if act.kind is ActKind.TEST:
            assert line is None or line.action in (Action.TEST_FIRST, Action.WATCH)
            assert line is not None or act.item in told
        else:
            assert line is not None
            assert line.action in COMES_OUT
        if act.kind is ActKind.SWAP:
            assert goes_in[act.spare] == act.item  # type: ignore[index]
        if act.kind is ActKind.TEST_AND_SWAP:
            assert act.spare not in goes_in
            assert act.spare in {piece.id for piece in pull.waiting}
    tests = [act.item for act in ready.now.acts if act.kind is ActKind.TEST and act.item not in ready.doubted]
    gains = [told[item_id].gain for item_id in tests if item_id in told]
    first = [each.chance.gain for each in risk.first if each.item.id in tests]
    assert gains[: len(first)] == pytest.approx(first)
    assert risk.doubted == ready.doubted & told.keys()
    crackled = [each.item.id for each in risk.first if each.item.id in risk.doubted]
    assert [each.item.id for each in risk.first[: len(crackled)]] == crackled
    assert ready.left.chance >= ready.now.chance
    page = words(program.viewer.get(f"/season/events/{event_id}").text)
    assert f"chance that all {ready.now.items} items in use work at Lantern Field" in page
    assert "if nothing more is done" in words(program.viewer.get(f"/season/events/{event_id}?by=minute").text)
    assert words(program.lead.get("/").text).count("if nothing more is done") == 1
    assert "if nothing more is done" not in words(program.crew.get("/").text)


def test_what_a_spare_gives_is_what_it_gave_once_it_is_in(program: Running) -> None:
    """The promise is the page's own figure afterwards, but for its class: on a frame it is strapped from now on."""
    at = truck(program, ("broken", "Frame 1", 10), ("good", "Frame 1", 10), ("spare", "Spares Case", 10))
    at.passes("good", "spare")
    at.test(at.tags["broken"], OPEN_2)
    program.clock.ahead(days=3)
    event = at.event("Lantern Field", program.clock.now.date() + timedelta(days=8))
    with program.store.reading() as db:
        before = look(db, program, event)[2].now
    act = before.acts[0]
    assert (act.kind, act.item, act.spare) == (ActKind.SWAP, at.ids[at.tags["broken"]], at.ids[at.tags["spare"]])
    assert (before.chance, before.gaps) == (0, 1)
    line = {"op": op(), "item": at.tags["broken"], "action": "repair_first", "spare": at.tags["spare"]}
    assert program.crew.post(f"/pull/{event}/ticks", data=line).status_code == 303
    with program.store.reading() as db:
        after = look(db, program, event)[2].now
    assert math.isclose(after.chance, act.after, rel_tol=0.01)
    assert 0 < after.chance < 1
    assert after.gaps == 0


def test_what_a_lead_declines_is_told_with_the_reason_and_not_advised_before_the_day(program: Running) -> None:
    at = truck(program, ("worn", "Frame 1", 10), ("other", "Frame 1", 10))
    at.passes("worn", "other")
    program.clock.ahead(days=20)
    at.suspect("worn", "it crackled")
    today, code = program.clock.now.date(), at.tags["worn"]
    event = at.event("Lantern Field", today + timedelta(days=8))
    page, line = f"/season/events/{event}", f"/pull/{event}/items/{code}"
    assert f"/t/{code}" in program.crew.get(page).text
    assert "Decline" not in program.crew.get(page).text
    kept = r"Keep it as it is [\d.]+ % chance that it is bad at the event, [\d.]+ % if it passes a test today \$"
    assert re.search(kept, words(program.crew.get(line).text))
    until = today + timedelta(days=4)
    declined = {"op": op(), "action": "watch", "reason": "we test it at the truck", "until": str(today)}
    assert "is here already" in program.lead.post(f"{line}/overrule", data=declined).text
    declined |= {"until": str(until)}
    assert [program.lead.post(f"{line}/overrule", data=declined).status_code for _ in range(2)] == [303, 303]
    told = words(program.crew.get(page).text)
    assert f"/t/{code}" not in program.crew.get(page).text
    assert re.search(r"Nothing is advised about these before the day that is said.*Lead.*we test it at the truck", told)
    [word] = [one["overruled"] for one in program.viewer.get(f"/api/v1/pull?event={event}").json()["items"]]
    assert (word["action"], word["until"]) == ("watch", str(until))
    later = at.event("Finale", today + timedelta(days=20))
    assert f"/t/{code}" not in program.crew.get(f"/season/events/{later}").text
    program.clock.ahead(days=4)
    assert f"/t/{code}" in program.crew.get(page).text
    assert "we test it at the truck" not in program.crew.get(page).text
    assert "we test it at the truck" in program.crew.get(line).text  # kept, never changed


def test_a_word_is_taken_back(program: Running) -> None:
    at = truck(program, ("worn", "Frame 1", 10))
    at.passes("worn")
    program.clock.ahead(days=20)
    at.suspect("worn", "it crackled")
    event, code = at.event("Lantern Field", program.clock.now.date() + timedelta(days=8)), at.tags["worn"]
    for action, advised in (("watch", False), ("decided", True)):
        word = {"op": op(), "action": action, "reason": "so"}
        assert program.lead.post(f"/pull/{event}/items/{code}/overrule", data=word).status_code == 303
        assert (f"/t/{code}" in program.crew.get(f"/season/events/{event}").text) is advised


def test_before_a_season_and_after_an_event_the_sensible_thing_is_said(program: Running) -> None:
    at = truck(program, ("one", "Frame 1", 10))
    assert "No event is coming." in words(program.lead.get("/").text)
    event = at.event("Opening Show", program.clock.now.date())
    assert "Your log does not tell yet of one that failed with use" in words(
        program.viewer.get(f"/season/events/{event}").text
    )
    program.clock.ahead(days=2)
    assert "It is over" in program.viewer.get(f"/season/events/{event}").text
    assert "Ready for the day?" not in program.lead.get("/").text
