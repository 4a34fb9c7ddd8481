"""Moving: every row arrives as it was, from either engine to the other and back, or none does."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import text

from service.app import create_app
from service.crew.actions import make_token
from service.crew.core import Role
from service.exchange import moving
from service.exchange.moving import move
from service.kit.problems import Conflict, NotFound, Problem
from service.settings import Settings
from service.store import rows
from service.store.rows import Content, Differs, row_counts, snapshot
from service.store.sessions import Store
from service.tables import metadata
from tests.support.program import BASE, Running, running
from tests.testlog.support import OPEN_2, bench

AWKWARD = ["", "’“ü 🎺 \\ ' \" %s :x", "1", "true", "2026-09-21", "line\nline\ttab", " spaces "]


@pytest.fixture
def programs(sqlite_url: str, postgres_url: str) -> tuple[str, str]:
    """A program on SQLite with some history and awkward values, and an empty PostgreSQL."""
    with running(sqlite_url) as program:
        at = bench(program, "xlr3", "xlr3", "d25x8")
        at.test(at.codes[0], note=AWKWARD[1])
        at.test(at.codes[1], OPEN_2)
        at.repair(at.codes[1])
        for number, name in enumerate(AWKWARD):
            with program.store.writing() as db:
                detail = {"z": [1, 1.0, None, True, -0.0, 1e300], "a": {"": name}, "n": number}
                rows_of = {
                    "at": program.clock.now,
                    "action": name,
                    "subject": "",
                    "detail": detail if number else None,
                }
                db.execute(metadata.tables["audit_entry"].insert(), rows_of)
    return sqlite_url, postgres_url


def values(url: str) -> dict[str, list[Any]]:
    """Every value of every table, read by the models and so with their types."""
    store = Store(url)
    with store.reading() as db:
        found = {table.name: sorted(map(repr, db.execute(table.select()))) for table in metadata.sorted_tables}
    store.close()
    return found


def test_there_and_back_every_value_is_as_it_was(programs: tuple[str, str], tmp_path: Path) -> None:
    here, there = programs
    back = f"sqlite:///{tmp_path / 'back.db'}"
    before = values(here)
    arrived = move(here, there)
    assert {name: content.rows for name, content in arrived.items()} == {
        name: len(found) for name, found in before.items()
    }
    assert values(there) == before
    assert move(there, back) == arrived
    assert values(back) == before
    assert values(here) == before


def test_a_moved_program_goes_on(programs: tuple[str, str]) -> None:
    here, there = programs
    move(here, there)
    app = create_app(Settings(database_url=there, base_url=BASE))
    store: Store = app.state.store
    with store.writing() as db:  # somebody new: new rows find free numbers
        token = make_token(db, "Rosalind", Role.LEAD, datetime.now(UTC))
    with TestClient(app, BASE, headers={"Authorization": f"Bearer {token}"}) as lead:
        items = lead.get("/api/v1/items").json()["items"]
    assert sorted(item["state"] for item in items) == ["in_repair", "in_service", "in_service"]


def test_a_target_that_is_not_empty_is_left_alone(programs: tuple[str, str], tmp_path: Path) -> None:
    here, there = programs
    other = f"sqlite:///{tmp_path / 'other.db'}"
    with running(other):
        pass
    before = values(other)
    with pytest.raises(Conflict, match="not empty"):
        move(here, other)
    with pytest.raises(Conflict, match="not empty"):
        move(here, here)
    assert values(other) == before
    with pytest.raises(NotFound):
        move(f"sqlite:///{tmp_path / 'nowhere.db'}", there)
    assert not (tmp_path / "nowhere.db").exists()


def empty(url: str) -> bool:
    store = Store(url)
    with store.reader.connect() as connection:
        found = not any(row_counts(connection).values())
    store.close()
    return found


def test_what_does_not_fit_is_named_and_nothing_stays(programs: tuple[str, str]) -> None:
    here, there = programs
    store = Store(here)
    with store.writing() as db:  # SQLite takes a word for a number, and a character that PostgreSQL does not
        db.execute(text("UPDATE item SET price_cents = 'much'"))
    with pytest.raises(Problem, match="table item "):
        move(here, there)
    assert empty(there)
    with store.writing() as db:
        db.execute(text("UPDATE item SET price_cents = 5"))
        db.execute(text("UPDATE repair SET what = 'a' || char(0) || 'b'"))
    with pytest.raises(Problem, match="table repair "):
        move(here, there)
    assert empty(there)
    store.close()


def test_a_row_that_gets_lost_or_changed_on_the_way_is_noticed(
    programs: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    here, there = programs
    rows_copy = rows._copy
    for loss in (
        "DELETE FROM audit_entry WHERE action = 'true'",
        "UPDATE audit_entry SET subject = '1' WHERE id = 2",
    ):

        def copied_badly(source: Any, target: Any, table: Any, loss: str = loss) -> Content:
            sent = rows_copy(source, target, table)
            if table.name == "audit_entry":
                target.execute(text(loss))
            return sent

        monkeypatch.setattr(rows, "_copy", copied_badly)
        with pytest.raises(Differs, match="audit_entry"):
            move(here, there)
        monkeypatch.undo()
        assert empty(there)


def test_a_program_that_is_written_to_meanwhile_is_not_half_left_behind(
    programs: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    here, there = programs

    def carry_while_used(source: Any, target: Any) -> dict[str, Content]:
        arrived = rows.carry(source, target)
        store = Store(here)
        with store.writing() as db:
            db.execute(text("UPDATE program SET name = 'Meadowlark Band Program'"))
        store.close()
        return arrived

    monkeypatch.setattr(moving, "carry", carry_while_used)
    with pytest.raises(Conflict, match="Stop the service"):
        move(here, there)
    assert empty(there)


def test_the_digest_tells_type_from_type_and_once_from_twice(sqlite_url: str, postgres_url: str) -> None:
    seen = set()
    for url in (sqlite_url, postgres_url):
        store = Store(url)
        with store.writer.begin() as connection:
            connection.execute(text("CREATE TABLE reel (name TEXT, turns INTEGER)"))
            digests = []
            for row in ("('1', 1)", "('1', 1)", "('1', NULL)", "('', 1)", "(NULL, 1)"):
                connection.execute(text(f"INSERT INTO reel VALUES {row}"))
                digests.append(rows.contents(connection, rows._tables(connection))["reel"])
        assert len(set(digests)) == 5
        seen.add(tuple(digests))
        store.close()
    assert len(seen) == 1


def test_the_source_cannot_be_written_to(program: Running) -> None:
    with snapshot(program.store) as connection, pytest.raises(Exception, match=r"read-?only"):
        connection.execute(text("DELETE FROM program"))
