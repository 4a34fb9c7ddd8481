"""Housekeeping: due states and flags follow the calendar, once, and days off are caught up with."""

from datetime import UTC, date, datetime, timedelta
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from service.__main__ import main
from service.chores import CHORES
from service.crew import queries as crew
from service.gear.actions import NewItem, add_items, change_state
from service.gear.core import FlagKind, ItemState
from service.gear.models import Flag, Item
from service.season.actions import add_season, enlist
from service.season.core import Round, Season
from service.season.models import ItemDue
from service.testlog import effects
from service.testlog.housekeeping import keep_house, verify
from tests.support.program import Running, op
from tests.testlog.support import GOOD, bench

FALL = Season(
    date(2026, 9, 1),
    date(2026, 11, 30),
    (Round(date(2026, 9, 1), date(2026, 10, 16)), Round(date(2026, 10, 16), date(2026, 12, 1))),
)


def items_in_season(program: Running, count: int) -> list[UUID]:
    ids = [uuid4() for _ in range(count)]
    with program.store.writing() as db:
        add_items(db, NewItem("cable", "xlr3", 3048), ids, None, program.clock.now, FALL.starts)
        season = add_season(db, uuid4(), "Fall", FALL, (), program.clock.now)
        enlist(db, ids, [season.id])
    return ids


def flags(program: Running) -> list[tuple[str, str, bool]]:
    with program.store.reading() as db:
        rows = db.scalars(select(Flag).order_by(Flag.id))
        return [(row.flag, row.period, row.cleared_at is None) for row in rows]


def test_it_catches_up_raises_once_and_then_finds_nothing_to_do(program: Running) -> None:
    items_in_season(program, 3)
    said = keep_house(program.store, program.clock.now, CHORES)
    assert said.startswith("due states refreshed: 3; flags raised or cleared: 3")
    assert flags(program) == [(FlagKind.UNTESTED, "untested", True)] * 3
    program.clock.ahead(days=40)
    said = keep_house(program.store, program.clock.now, CHORES)
    assert "standings stored: 3" in said  # they are of the day
    assert said.count(": 0") == len(CHORES) - 1
    assert keep_house(program.store, program.clock.now, CHORES).count(": 0") == len(CHORES)
    assert len(flags(program)) == 3
    with program.store.reading() as db:
        facts = crew.program_facts(db)
    assert facts is not None
    assert facts.housekept_on == date(2026, 10, 31)


def test_a_retired_item_has_no_due_state_and_no_due_flag(program: Running) -> None:
    (item_id,) = items_in_season(program, 1)
    keep_house(program.store, program.clock.now, CHORES)
    with program.store.writing() as db:
        change_state(db, db.get_one(Item, item_id), ItemState.RETIRED, None, program.clock.now, "worn")
        effects.refresh_due_states(db, [item_id], program.clock.now.date(), ZoneInfo("America/New_York"))
    keep_house(program.store, program.clock.now + timedelta(days=1), CHORES)
    with program.store.reading() as db:
        assert db.get(ItemDue, item_id) is None
    assert flags(program) == [(FlagKind.UNTESTED, "untested", False)]


def test_in_another_time_zone_all_days_are_looked_at_anew(program: Running) -> None:
    """At 11 pm in New York it is the next day in Paris already: a pass of the last day falls into the next round."""
    ((code, item_id),) = bench(program, "xlr3").ids.items()
    passed = {"id": op(), "item": code, "joined": GOOD, "probed": "all", "method": "two_ended"}
    program.clock.now = datetime(2026, 10, 16, 3, tzinfo=UTC)
    assert program.lead.post("/api/v1/tests", json=passed).status_code == 201
    program.clock.ahead(days=1)
    program.viewer.get("/due")
    settings = {"name": "Fernhollow", "unit": "feet", "return_note": ""}
    for zone, state in (("America/New_York", "due"), ("Europe/Paris", "current"), ("America/Chicago", "due")):
        assert program.lead.post("/settings", data=settings | {"zone": zone}).status_code == 303
        program.viewer.get("/due")
        assert verify(program.store, program.clock.now) == []
        with program.store.reading() as db:
            assert db.get_one(ItemDue, item_id).state == state, zone


def test_verify_finds_a_cache_that_lies_and_changes_nothing(program: Running) -> None:
    (item_id, _) = items_in_season(program, 2)
    keep_house(program.store, program.clock.now, CHORES)
    assert verify(program.store, program.clock.now) == []
    with program.store.writing() as db:
        db.get_one(ItemDue, item_id).state = "current"
    for _ in range(2):
        (difference,) = verify(program.store, program.clock.now)
        assert difference == f"{item_id}: cached current; recomputed untested"


def test_the_command_keeps_house_and_verifies(
    program: Running, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COILBOOK_DATABASE_URL", program.store.url)
    (item_id,) = items_in_season(program, 1)
    assert main(["housekeeping", "--verify"]) == 1
    assert f"{item_id}: cached nothing; recomputed untested" in capsys.readouterr().out
    assert main(["housekeeping"]) == 0
    assert "due states refreshed: 1" in capsys.readouterr().out
    assert main(["housekeeping", "--verify"]) == 0
