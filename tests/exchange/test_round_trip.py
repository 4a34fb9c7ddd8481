"""What `coilbook export --csv` writes, `coilbook import` brings into an empty database as it was."""

import json
import shutil
from collections.abc import Iterator
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from service.crew.actions import found_program
from service.exchange.files import export_files, import_file
from service.exchange.sheets.actions import Answers
from service.exchange.sheets.core.readings_cell import EnteredReadings, read_entered, write_entered
from service.gear.core import End, ItemState
from service.gear.models import Item
from service.kit.problems import Invalid, Problem
from service.season import actions as season
from service.season import queries as seasons
from service.season.models import ItemDue
from service.store.sessions import Store
from service.tags.models import Tag
from service.testlog.actions import change_state
from service.testlog.core import Evidence, Method
from service.testlog.housekeeping import CHORES, keep_house, verify
from service.testlog.marks.actions import mark
from service.testlog.models import FaultRow, Repair, Test, TestItem, Void, WrongMark
from service.wiring.faults import EVIDENCE_CLASSES, FaultClass
from tests.support.demo import demo_file
from tests.support.program import START, migrated, running
from tests.testlog.support import FLEXED, GOOD, OPEN_2, ZONE, bench

DUE = (ItemDue.state, ItemDue.due_by, ItemDue.last_tested_at, ItemDue.last_verdict, ItemDue.last_passed_at)
TESTED = (
    Test.tested_at,
    Test.wiring,
    Test.method,
    Test.joined,
    Test.probed,
    Test.evidence,
    Test.verdict,
    Test.unproven,
    Test.note,
)
FAULTS = (
    FaultRow.test_id,
    FaultRow.position,
    FaultRow.fault_class,
    FaultRow.end,
    FaultRow.conductors,
    FaultRow.detail,
)


def told(store: Store) -> dict[str, Any]:
    """All that the two sheets are of, by the codes on the tags."""
    with store.reading() as db:
        tagged = (Tag.item_id == Item.id) & Tag.until.is_(None)
        items = select(Tag.code, Item.state, Item.in_service_on, Item.length_mm, *DUE).join(Tag, tagged)
        tests = select(Test.id, *TESTED).outerjoin(Void, Void.test_id == Test.id).where(Void.at.is_(None))
        went = select(TestItem.test_id, TestItem.position, TestItem.lane, Tag.code).join(
            Tag, (Tag.item_id == TestItem.item_id) & Tag.until.is_(None)
        )
        repairs = select(
            Repair.id, Tag.code, Repair.end, Repair.what, Repair.length_mm, Repair.cost_cents, Repair.at
        ).join(Tag, (Tag.item_id == Repair.item_id) & Tag.until.is_(None))
        stand = {row[0] for row in db.execute(tests)}
        return {
            "items": {row[0]: tuple(row) for row in db.execute(items.outerjoin(ItemDue, ItemDue.item_id == Item.id))},
            "tests": {row[0]: tuple(row) for row in db.execute(tests)},
            "items of tests": {tuple(row) for row in db.execute(went) if row[0] in stand},
            "faults": {repr(tuple(row)) for row in db.execute(select(*FAULTS)) if row[0] in stand},
            "marks": {tuple(row) for row in db.execute(select(WrongMark.test_id, WrongMark.at, WrongMark.note))},
            "repairs": {row[0]: tuple(row) for row in db.execute(repairs)},
        }


def carried(source: Store, folder: Path, now: datetime) -> Iterator[Store]:
    """The program after its gear and tests went through CSV into an empty database with the same seasons."""
    export_files(source, now, None, str(folder))
    url = f"sqlite:///{folder}/other.db"
    migrated(url)
    with closing(Store(url)) as other:
        with source.reading() as db, other.writing() as into:
            found_program(into, "Fernhollow Band Program", ZONE.key, now)
            for season_id, rule in seasons.rules(db).items():
                season.add_season(into, season_id, str(season_id), rule, [], now)
        for name in ("gear", "tests"):
            for _ in range(2):  # the second time nothing is new
                said = [*import_file(other, now, str(folder / f"{name}.csv"), Answers(), dry=False)]
            assert "new" not in said[-1], said[-1]
        yield other


def test_the_demo_comes_back_as_it_was(tmp_path: Path) -> None:
    shutil.copy(demo_file(), tmp_path / "demo.db")
    with closing(Store(f"sqlite:///{tmp_path}/demo.db")) as source:
        for other in carried(source, tmp_path, START):
            assert told(other) == told(source)
            assert verify(other, START) == []


def test_what_no_words_tell_comes_back_too(sqlite_url: str, tmp_path: Path) -> None:
    with running(sqlite_url) as program:
        gear = bench(program, *["xlr3"] * 8, "d25x8", "8p8c-to-xlr4")
        one, two, three, four, five, six, on_bench, _untested, trunk, hub = gear.codes
        odd = Evidence(FaultClass.DAMAGE, End.B, "=1+1, “cut”; worn")
        gear.test(one, OPEN_2, note="first line\n  second, with a comma", evidence=(odd, *FLEXED))
        gear.test(two, GOOD, evidence=(Evidence(FaultClass.INTERMITTENT, None, "Damage (nested)"),))
        gear.test(two, GOOD, through=(three,), note="in a chain")
        gear.test(three, GOOD, through=(hub,), lane="3")
        gear.test(three, [["A1", "B1"]], probed=["A1", "B1"])
        gear.test(four, None, method=Method.LISTENING, evidence=(Evidence(FaultClass.INTERMITTENT),))
        gear.repair(four, "new plug", end=End.A, length_mm=3000, cost_cents=450)
        gear.void(gear.test(five, OPEN_2)["id"])
        for joined in (OPEN_2, GOOD):
            marked = gear.test(three, joined)["id"]
            with program.store.writing() as db:
                mark(db, uuid4(), UUID(marked), "wrong cable", gear.lead, program.clock.now, ZONE)
        gear.test(six, OPEN_2)
        gear.test(six)  # with no repair in between, and nobody asks: it is the log's own word
        gear.test(on_bench, OPEN_2)
        gear.test(trunk, [])
        program.clock.ahead(minutes=5)
        with program.store.writing() as db:
            change_state(
                db,
                gear.ids[on_bench],
                ItemState.IN_REPAIR,
                "on the bench",
                gear.lead,
                program.clock.now,
                ZONE,
            )
        keep_house(program.store, program.clock.now, CHORES)
        before = told(program.store)
        assert before["items"][six][1] == "quarantined"
        assert before["items"][on_bench][1] == "in_repair"
        for other in carried(program.store, tmp_path, program.clock.now):
            assert told(other) == before
            assert verify(other, program.clock.now) == []


names = st.text(min_size=1, max_size=4)
groups = st.lists(st.lists(names, min_size=1, max_size=3), max_size=3)
evidence = st.builds(Evidence, st.sampled_from(EVIDENCE_CLASSES), st.sampled_from([None, *End]), st.text(max_size=9))


@given(st.none() | groups, st.just("all") | st.lists(names, min_size=1), st.lists(evidence).map(tuple))
def test_what_was_entered_is_read_as_it_was_written(joined: Any, probed: Any, found: Any) -> None:
    kept = [] if joined is None else probed  # as the log keeps it
    cell = write_entered(joined or [], kept, [{"class": one.kind, "end": one.end, "note": one.note} for one in found])
    read = read_entered(cell)
    assert read == EnteredReadings(joined, "all" if joined is None else probed, found)


@given(
    st.text()
    | st.recursive(
        st.none() | st.text(),
        lambda inner: (
            st.lists(inner) | st.dictionaries(st.sampled_from(["joined", "probed", "evidence", "class", "end"]), inner)
        ),
    ).map(lambda said: json.dumps(said))
)
def test_any_other_cell_is_read_or_refused(cell: str) -> None:
    with suppress(Invalid):
        assert isinstance(read_entered(cell), EnteredReadings)


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ('{"joined":[["A1","B1"]]}', "these readings are a fail, and the verdict is pass"),
        ('{"joined":[["A9","B1"]]}', "has no contact"),
        ("good", "this is not as an export has it"),
    ],
)
def test_readings_that_cannot_be_are_told(sqlite_url: str, tmp_path: Path, cell: str, said: str) -> None:
    with running(sqlite_url) as program:
        gear = bench(program, "xlr3")
        sheet = tmp_path / "tests.csv"
        quoted = cell.replace('"', '""')
        sheet.write_text(
            f'test id,code,date,verdict,as entered\n{uuid4()},{gear.codes[0]},2026-09-01,pass,"{quoted}"\n'
        )
        lines = list[str]()
        with pytest.raises(Problem, match="1 of 1 rows is wrong"):
            lines.extend(import_file(program.store, program.clock.now, str(sheet), Answers(), dry=True))
        assert any(said in line for line in lines), lines
