"""The page of wear, over a program's own history."""

import re
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import pytest

from service.gear.actions import NewItem, add_items
from service.gear.core import ItemState
from service.season.actions import add_season
from service.season.core import Season, split
from service.testlog.actions import change_state
from service.wear.core.classes import judged
from service.wear.core.lives import Life
from service.wear.queries import PER_MILLE_USUAL, known_lives, lives_by_class, records, risks, target
from tests.home.support import truck
from tests.support.program import Running, op, running
from tests.testlog.support import GOOD, OPEN_2, ZONE
from tests.wear.support import item, lives, worn_out


def lives_of(program: Running, item_id: UUID) -> list[Life]:
    with program.store.reading() as db:
        record = records(db, ZONE)[item_id]
    return list(lives(record.history, record.exposure))


def test_lives_come_from_the_log(program: Running) -> None:
    """In service since September 1; the clock starts on September 21, the 21st day of the season."""
    at = truck(program, ("bad", "Frame 1", 10), ("good", "Frame 1", 10), ("spare", "Spares Case", 10))
    at.passes("bad", "good", "spare")
    program.clock.ahead(days=9)
    at.test(at.tags["bad"], OPEN_2)
    program.clock.ahead(days=2)
    at.repair(at.tags["bad"])
    program.clock.ahead(minutes=5)
    at.passes("bad")
    program.clock.ahead(days=10)
    at.passes("bad", "good")
    assert lives_of(program, item(at, "bad")) == [Life(21, 30), Life(10, None)]
    assert lives_of(program, item(at, "good")) == [Life(42, None)]
    assert lives_of(program, item(at, "spare")) == []  # no day in service, so nothing is known of use


def test_what_is_voided_or_failed_together_is_left_out(program: Running) -> None:
    at = truck(program, ("one", "Frame 1", 10), ("other", "Frame 1", 10))
    at.passes("one", "other")
    program.clock.ahead(days=5)
    wrong = at.test(at.tags["one"], OPEN_2)
    at.void(wrong["id"])
    at.test(at.tags["one"], OPEN_2, through=(at.tags["other"],))
    program.clock.ahead(days=5)
    at.test(at.tags["one"], GOOD, through=(at.tags["other"],))
    assert lives_of(program, item(at, "one")) == lives_of(program, item(at, "other")) == [Life(31, None)]


def test_days_as_a_spare_do_not_count(program: Running) -> None:
    at = truck(program, ("one", "Frame 1", 10))
    program.clock.ahead(days=1)
    with program.store.writing() as db:
        change_state(db, item(at, "one"), ItemState.SPARE, "goes into the case", at.lead, program.clock.now, ZONE)
    program.clock.ahead(days=10)
    at.passes("one")
    assert lives_of(program, item(at, "one")) == [Life(22, None)]


def page_of(program: Running) -> str:
    answer = program.viewer.get("/wear")
    assert answer.status_code == 200, answer.text
    return re.sub(r"\s+", " ", answer.text)


def test_too_little_data_is_said_with_its_counts_and_what_is_assumed(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        worn_out(program, 2, 4)
        page = page_of(program)
    assert "Is twice enough?" in page
    assert "Cables, XLR, strapped to a frame" in page
    assert "Too little data: 2 failures in 6 lives; 4 items in use." in page
    assert "taken to wear as such gear mostly does, lasting some 250 to 950 days of season" in page


def test_a_class_is_answered_for_this_season_and_the_next_ones(sqlite_url: str) -> None:
    with running(sqlite_url) as program:
        worn_out(program, 5, 12)
        page = page_of(program)
    assert "<b>For 1 of 1 class it is not enough</b>" in page
    assert re.search(r"The rest of Fall, until Mon Nov 30: <b class=\"num\">\d+</b>", page)
    assert re.search(r"The next season: <b class=\"num\">\d+</b>, <span class=\"soft\">likely \d+ to \d+</span>", page)
    assert "The season after that: " in page
    assert re.search(r"It takes <b>\d+ rounds</b>|Not even a round a week is enough", page)
    assert "5 failures in 17 lives; 12 items in use." in page
    assert "91 days, two rounds" in page


def test_the_target_is_the_programs_own(program: Running) -> None:
    worn_out(program, 1, 3)
    sent = {"op": op(), "per_mille": "500"}
    for _ in range(2):
        assert program.lead.post("/wear", data=sent).status_code == 303
    page = page_of(program)
    assert "It is enough</b>, as far as your log tells: in each of these seasons no more than 500 of 1,000" in page
    assert "It takes" not in page
    assert program.lead.post("/wear", data={"op": op(), "per_mille": "1"}).status_code == 303
    assert "not enough</b>, if no more than 1 of 1,000" in page_of(program)


@pytest.mark.parametrize("typed", ["", "0", "501", "-1", "1.5", "ten", "99999"])
def test_a_wrong_target_is_refused_beside_its_field(program: Running, typed: str) -> None:
    truck(program, ("one", "Frame 1", 10))
    answer = program.lead.post("/wear", data={"op": op(), "per_mille": typed})
    assert answer.status_code == 422
    assert "from 1 to 500" in answer.text.split('id="f-per_mille-error"')[1]
    with program.store.reading() as db:
        assert target(db) == PER_MILLE_USUAL


def test_the_target_is_the_leads_to_set(program: Running) -> None:
    truck(program, ("one", "Frame 1", 10))
    assert program.crew.post("/wear", data={"op": op(), "per_mille": "20"}).status_code == 403
    assert 'name="per_mille"' not in page_of(program)
    assert program.stranger.get("/wear").status_code == 401
    assert "Nothing to tell yet" in page_of(program)


def test_without_a_season_there_is_nothing_to_ask(program: Running) -> None:
    assert "No season yet" in page_of(program)


def test_risk_grows_with_use_since_the_last_pass(program: Running) -> None:
    at = worn_out(program, 5, 12)
    at.passes("cable 9")
    program.clock.ahead(days=20)
    with program.store.reading() as db:
        found = risks(db, ZONE, date(2026, 11, 5))
    assert 0 < found[item(at, "cable 9")] < found[item(at, "cable 8")] < 1
    assert item(at, "cable 0") not in found  # it has failed, so nobody asks


def test_two_seasons_are_counted_and_the_break_is_not(program: Running) -> None:
    now = datetime(2026, 12, 20, 22, tzinfo=ZoneInfo("UTC"))
    at = truck(program, ("one", "Frame 1", 10))  # fall ends on November 30
    at.passes("one")
    program.clock.now = now + timedelta(days=20)
    rule = Season(date(2027, 1, 4), date(2027, 2, 28), split(date(2027, 1, 4), date(2027, 2, 28), 2))
    with program.store.writing() as db:
        add_season(db, uuid4(), "Winter", rule, [item(at, "one")], program.clock.now)
    at.test(at.tags["one"], OPEN_2)  # on January 9: 91 days of fall and 6 of winter
    assert lives_of(program, item(at, "one")) == [Life(21, 97)]


def test_lots_and_places_are_classes(program: Running) -> None:
    now, ids = program.clock.now, [uuid4() for _ in range(4)]
    told: list[dict[str, Any]] = [
        {"place": "Frame 1", "batch": "Lot 1"},
        {"place": "Frame 1"},
        {"place": "", "wiring": "xlr3-to-trs"},
        {"place": "", "kind": "hub", "wiring": "d25-to-xlr8", "length_mm": 0},
    ]
    truck(program, ("one", "Frame 1", 10))
    with program.store.writing() as db:
        for item_id, more in zip(ids, told, strict=True):
            fields: dict[str, Any] = {"kind": "cable", "wiring": "xlr3", "length_mm": 3048}
            new = NewItem(**fields | more)
            add_items(db, new, [item_id], None, now, date(2026, 9, 1))
    with program.store.reading() as db:
        found = records(db, ZONE)
        assert [found[item_id].path for item_id in ids] == [
            ("cable", "XLR", "strapped to a frame", "Lot 1"),
            ("cable", "XLR", "strapped to a frame"),
            ("cable", "XLR and quarter-inch (TRS)", "not strapped"),
            ("hub", "25-way D and XLR", "not strapped"),
        ]
        assert {each.path for each in judged(lives_by_class(known_lives(found).values()))} == {
            record.path for record in found.values()
        }
