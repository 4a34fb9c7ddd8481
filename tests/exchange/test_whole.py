"""The whole program as JSON: what is brought into an empty program is the same program."""

import io
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from service.crew.actions import add_person, make_pass, start_sign_in
from service.crew.core import Role
from service.crew.models import Person
from service.exchange.whole import queries
from service.exchange.whole.actions import export, import_program
from service.exchange.whole.core import VERSION, FileRow, Reader
from service.gear.models import Item, Note
from service.kit.problems import Conflict, Problem
from service.lines.checks.core.kinds import CheckKind
from service.lines.checks.models import LineCheck
from service.serving import first_link
from service.store.sessions import Store
from service.tables import metadata
from tests.support.demo import demo_file
from tests.support.program import START, migrated

EXPORTED_AT = re.compile(r'"exported_at": "[^"]*"')
HEAD = '{"coilbook": 1, "revision": "0001", "exported_at": "x", "tables": {'
SMALL = HEAD + '"person": [\n{"id": 1},\n{"id": 2}\n], "place": []}}\n'


def exported(store: Store, days: int = 0) -> str:
    """The export as of some day, without its moment."""
    with store.reading() as db:
        return EXPORTED_AT.sub('"exported_at": ""', "".join(export(db, START + timedelta(days))))


def empty(url: str) -> Store:
    """An empty database at head, which the service has been started on."""
    migrated(url)
    store = Store(url)
    first_link(store, "http://cables.test", START)
    return store


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The demo's export, with somebody who has a passphrase, a pass and a token."""
    file = tmp_path_factory.mktemp("demo") / "demo.db"
    shutil.copy(demo_file(), file)
    store = Store(f"sqlite:///{file}")
    with store.writing() as db:
        kit = add_person(db, "Kit", Role.LEAD, START)
        kit.passphrase_hash = "$argon2id$kept-here"
        start_sign_in(db, kit, START, None, "a token")
        make_pass(db, Role.CREW, "Thursdays", None, START)
    yield exported(store)
    store.close()


def test_what_comes_in_goes_out_the_same(demo: str, database_url: str) -> None:
    store = empty(database_url)
    with store.writing() as db:
        counts = import_program(db, io.StringIO(demo))
    assert counts["item"] > 80
    assert counts["test"] > 100
    assert exported(store, days=9) == demo
    with store.writing() as db:  # keys that count themselves up go on after the highest
        last = max(db.scalars(select(Note.id)), default=0)
        note = Note(item_id=db.scalars(select(Item.id)).first(), at=START, person_id=None, text="new")
        db.add(note)
        db.flush()
        assert note.id > last
    store.close()


def test_an_export_is_json_that_anybody_reads(demo: str) -> None:
    read = json.loads(demo)
    assert read["coilbook"] == VERSION
    assert set(read["tables"]) == {table.name for table in queries.tables()}
    for name, rows in read["tables"].items():
        assert all(list(row) == list(queries.kinds(metadata.tables[name])) for row in rows)
    # laid out otherwise, it is the same export
    assert len(list(_rows(json.dumps(read, indent=3)))) == len(list(_rows(demo)))


def test_nothing_that_signs_in_leaves(demo: str) -> None:
    assert "kept-here" not in demo
    left_out = re.compile(r"hash|secret|token|passphrase|cookie")
    columns = [(table.name, name) for table in queries.tables() for name in queries.kinds(table)]
    assert [column for column in columns if left_out.search(".".join(column))] == []


def test_every_table_is_known_to_a_process_that_only_exports() -> None:
    asked = "from service.exchange.whole import queries as q; print(*[t.name for t in q.tables()], *q.LEFT_OUT)"
    said = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert set(said.stdout.split()) == set(metadata.tables)  # which this process knows all, by its fixtures


def test_a_program_with_something_in_it_is_refused(demo: str, sqlite_url: str) -> None:
    store = empty(sqlite_url)
    with store.writing() as db:
        add_person(db, "Kit", Role.LEAD, START)
    with pytest.raises(Conflict, match="COILBOOK_DATABASE_URL"), store.writing() as db:
        import_program(db, io.StringIO(demo))
    with store.reading() as db:
        assert db.scalars(select(Person.display_name)).all() == ["Kit"]
    store.close()


def _changed(text: str, table: str, old: str, new: str) -> str:
    at = text.index(f'"{table}": [')
    return text[:at] + text[at:].replace(old, new, 1)


@pytest.mark.parametrize(
    ("table", "old", "new", "said"),
    [
        ("item", '"length_mm": 3048', '"length_mm": "ten"', r'table item, row \d+: “length_mm” is "ten"'),
        (
            "item",
            '"length_mm": 3048',
            '"length_mm": -1',
            r"table item, row \d+: the database does not take it",
        ),
        ("item", '"created_at": "2', '"created_at": "x', "must be a moment"),
        ("item", '"kind": "cable", ', "", "“kind” is missing"),
        ("item", '"kind"', '"sort"', "there is no column “sort”"),
        ("place", '"place": [', '"plaice": [', "table plaice, row 1: a program has no such table"),
        ("test_item", '"item_id": "', '"item_id": "0', "must be an id"),
        ("tag", '"until": null', '"until": NaN', "not JSON"),
        ("place", '"name": "Marimba 1"', '"name": "Marimba 2"', r"row \d+: the database does not take it"),
    ],
)
def test_what_is_wrong_is_told_by_line_table_and_row(
    demo: str, tmp_path: Path, table: str, old: str, new: str, said: str
) -> None:
    store = empty(f"sqlite:///{tmp_path}/a.db")
    with pytest.raises(Problem, match=rf"Line \d+.*{said}"), store.writing() as db:
        import_program(db, io.StringIO(_changed(demo, table, old, new)))
    with store.reading() as db:
        assert queries.filled(db) is None
    store.close()


def test_columns_that_came_after_an_export_have_their_defaults(demo: str, tmp_path: Path) -> None:
    store = empty(f"sqlite:///{tmp_path}/a.db")
    earlier = json.loads(demo)
    for table, name in (("line_check", "kind"), ("item", "revision")):
        for row in earlier["tables"][table]:
            del row[name]
    with store.writing() as db:
        import_program(db, io.StringIO(json.dumps(earlier)))
    with store.reading() as db:
        assert set(db.scalars(select(LineCheck.kind))) == {CheckKind.CHECK}
        assert set(db.scalars(select(Item.revision))) == {0}
    store.close()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (SMALL.replace('"coilbook": 1', '"coilbook": 2'), "Bring Coilbook up to date"),
        (SMALL.replace('"coilbook": 1, ', ""), "no export of a program"),
        ("[]", "opening brace"),
        ("", "ends too early"),
        (SMALL[:-20], "ends too early"),
        (SMALL + "x", "something follows"),
    ],
)
def test_what_is_no_export_is_told(text: str, said: str) -> None:
    with pytest.raises(Problem, match=said):
        list(_rows(text))


def test_a_revision_of_the_future_is_refused(sqlite_url: str) -> None:
    store = empty(sqlite_url)
    with pytest.raises(Problem, match="Bring Coilbook up to date"), store.writing() as db:
        import_program(db, io.StringIO(SMALL.replace('"0001"', '"9999"')))
    store.close()


def test_rows_know_their_lines() -> None:
    assert [(row.table, row.number, row.line) for row in _rows(SMALL)] == [("person", 1, 2), ("person", 2, 3)]


@settings(max_examples=30)
@given(st.text(max_size=60), st.integers(0, len(SMALL)), st.integers(0, 40))
@example("[" * 60, len(HEAD), 0)
@example('{"a": ' * 10, len(HEAD), 0)
def test_any_text_is_read_or_refused(noise: str, at: int, cut: int) -> None:
    with suppress(Problem):
        list(_rows(SMALL[:at] + noise + SMALL[at + cut :]))


def _rows(text: str) -> Iterator[FileRow]:
    reader = Reader(io.StringIO(text))
    reader.head()
    return reader.rows()
