"""An import is worked out while others write, and then there all at once or not at all."""

from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from service.crew.queries import note_in_audit
from service.exchange.files import import_file
from service.exchange.sheets import actions
from service.exchange.sheets.actions import Answers
from service.gear.models import Item
from service.kit.problems import Busy
from service.store.drafts import ROUNDS_MOST, Draft
from service.store.sessions import Store
from service.testlog.bulk_logging import TOGETHER
from service.testlog.housekeeping import CHORES, keep_house, verify
from service.testlog.models import Test
from tests.support.program import Running, running
from tests.testlog.support import GOOD, OPEN_2, Bench, bench

ROWS = 60


@pytest.fixture
def at(sqlite_url: str) -> Any:
    """On SQLite, where whoever writes keeps all others from writing."""
    with running(sqlite_url) as program:
        gear = bench(program, "xlr3", "xlr3")
        keep_house(program.store, program.clock.now, CHORES)
        yield gear


def meanwhile(monkeypatch: pytest.MonkeyPatch, do: Callable[[], object], times: int = 1) -> list[int]:
    """Do something once an import is worked out and before it is carried over, so many times; how often it was."""
    worked_out = list[int]()

    def and_then(*args: Any, **named: Any) -> Any:
        result = actions.import_sheet(*args, **named)
        worked_out.append(len(worked_out))
        if len(worked_out) <= times:
            do()
        return result

    monkeypatch.setattr("service.exchange.sheets.importing.import_sheet", and_then)
    return worked_out


def import_sheet(program: Running, folder: Path, text: str) -> list[str]:
    (folder / "sheet.csv").write_text(text)
    return list(import_file(program.store, program.clock.now, str(folder / "sheet.csv"), Answers(), dry=False))


def counted(store: Store, model: type[Item | Test]) -> int:
    with store.reading() as db:
        return db.scalar(select(func.count()).select_from(model)) or 0


def sheet_of_gear(label: str) -> str:
    lines = [f"cable,xlr3,10 ft,{label} {number},Frame 1" for number in range(ROWS)]
    return "\n".join(["Kind,Wiring,Length,Label,Place", *lines])


def sheet_of_tests(at: Bench) -> str:
    days = [f"{at.codes[0]},2026-09-{day:02},pass" for day in range(1, 20)]
    return "\n".join(["Code,Date,Verdict", *days])


def test_others_write_and_see_nothing_of_it_while_it_is_worked_out(
    at: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen, items = list[int](), counted(at.program.store, Item)

    def log() -> None:  # by the very service: without a wait, or it would be refused as busy
        at.test(at.codes[0], OPEN_2)
        seen.append(counted(at.program.store, Item))

    worked_out = meanwhile(monkeypatch, log)
    assert import_sheet(at.program, tmp_path, sheet_of_gear("Row"))[-1].startswith("Brought in a sheet of gear: 60 new")
    assert (seen, worked_out) == ([items], [0])
    assert counted(at.program.store, Item) == items + ROWS
    assert at.state(at.codes[0]) == "quarantined"
    assert verify(at.program.store, at.program.clock.now) == []


def test_what_phones_log_of_its_items_meanwhile_is_taken_in(
    at: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    worked_out = meanwhile(monkeypatch, lambda: at.test(at.codes[0], OPEN_2))
    import_sheet(at.program, tmp_path, sheet_of_tests(at))
    assert worked_out == [0]
    assert counted(at.program.store, Test) == 20
    assert at.state(at.codes[0]) == "quarantined"
    assert verify(at.program.store, at.program.clock.now) == []


def test_what_it_rests_on_changed_meanwhile_so_it_is_worked_out_anew(
    at: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    among_its_days = datetime(2026, 9, 2, tzinfo=UTC)
    log = partial(at.test, at.codes[0], GOOD, tested_at=among_its_days)
    worked_out = meanwhile(monkeypatch, log)
    import_sheet(at.program, tmp_path, sheet_of_tests(at))
    assert worked_out == [0, 1]
    assert counted(at.program.store, Test) == 20
    assert verify(at.program.store, at.program.clock.now) == []


def test_it_finishes_though_phones_never_stop_testing_its_items(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rounds = list[int]()
    catch_up = Draft.catch_up
    with running(sqlite_url) as program:
        at = bench(program, *["xlr3"] * 3 * TOGETHER)

        of_each = sorted(at.codes, key=at.ids.__getitem__)[::TOGETHER]  # one of all that follow up together

        def log_some() -> None:
            for code in of_each:
                at.test(code, GOOD)

        def and_again(draft: Draft[Any]) -> None:
            catch_up(draft)
            rounds.append(len(rounds))
            log_some()

        monkeypatch.setattr(Draft, "catch_up", and_again)
        worked_out = meanwhile(monkeypatch, log_some)
        sheet = "\n".join(["Code,Date,Verdict", *(f"{code},2026-09-07,pass" for code in at.codes)])
        import_sheet(program, tmp_path, sheet)
        assert (worked_out, len(rounds)) == ([0], ROUNDS_MOST)
        logged = len(of_each) * (ROUNDS_MOST + 1)
        assert counted(program.store, Test) == len(at.codes) + logged
        assert verify(program.store, program.clock.now) == []


def test_one_that_finds_no_moment_is_refused_and_nothing_of_it_is_there(
    at: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def edit() -> None:
        with at.program.store.writing() as db:
            note_in_audit(db, at.program.clock.now, at.lead.id, "item.edited", at.codes[0])

    meanwhile(monkeypatch, edit, times=9)
    with pytest.raises(Busy):
        import_sheet(at.program, tmp_path, sheet_of_tests(at))
    assert counted(at.program.store, Test) == 0
